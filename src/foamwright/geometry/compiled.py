"""Loops over numbers compiled to machine code.

Modules of compiled functions are imported inside the functions that call them, since the compiler
takes its time to load.  What is compiled is kept beside the module, or in the user's cache folder
where that can't be written, anew when the function's module has changed: so a compiled function
calls none of other modules.  Strict IEEE arithmetic: results are those of the same lines in Python,
but a division by nought gives inf or nan instead of an error.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., object])


def compiled(function: F) -> F:
    """The function in machine code, made at its first call with arguments of a kind."""
    try:
        return cast(F, numba.njit(cache=True, error_model="numpy")(function))
    except RuntimeError:  # nowhere to keep it
        return cast(F, numba.njit(error_model="numpy")(function))
