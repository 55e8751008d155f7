"""Loops over numbers compiled to machine code.

Modules of compiled functions are imported inside the functions that call them, since the compiler
takes its time to load.  What is compiled is kept beside the module, or in the user's cache folder
where that can't be written.  Strict IEEE arithmetic: results are those of the same lines in Python,
but a division by nought gives inf or nan instead of an error.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., object])


def compiled(function: F) -> F:
    """The function in machine code, made at its first call with arguments of a kind."""
    return cast(F, numba.njit(cache=True, error_model="numpy")(function))
