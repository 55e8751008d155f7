"""Loops over numbers compiled to machine code.

Modules of compiled functions are imported inside the functions that call them, since the compiler
takes its time to load.  What is compiled is kept beside the module, or in the user's cache folder
where that can't be written, and made anew when any module of the geometry has changed.  Strict IEEE
arithmetic: results are those of the same lines in Python, but a division by nought gives inf or nan
instead of an error.
"""

from __future__ import annotations

import pathlib
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., object])


def compiled(function: F) -> F:
    """The function in machine code, made at its first call with arguments of a kind, and kept.

    It runs without the interpreter's lock.
    """
    if cast(Any, numba.config).DISABLE_JIT:
        return function
    try:
        made = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # nowhere to keep it
        return within(function)
    # numba tells by the function's own file alone whether what it kept is stale; what the
    # function calls in other modules is compiled into it
    file: Any = cast(Any, made)._cache._cache_file
    file._source_stamp = (file._source_stamp, sources(pathlib.Path(__file__).parent))
    return cast(F, made)


def within(function: F) -> F:
    """A function that compiled ones call: compiled with them, not kept by itself."""
    return cast(F, numba.njit(error_model="numpy")(function))


def sources(folder: pathlib.Path) -> tuple[tuple[str, int, int], ...]:
    """Name, size and time of change of each module in a folder and below."""
    return tuple(
        (str(p.relative_to(folder)), p.stat().st_size, p.stat().st_mtime_ns)
        for p in sorted(folder.rglob("*.py"))
    )
