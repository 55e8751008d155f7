"""What a run is doing just now: one line on standard error that is written over.

Only where standard error is a terminal that can write over a line; else nothing is told.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from foamwright.names import readable

#: Back to the line's start, and clear it (ECMA-48).
ANEW = "\r\x1b[K"


def looked_at() -> bool:
    """Whether somebody sees standard error as it comes."""
    return sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


@contextmanager
def steps_told() -> Iterator[Callable[[str], None] | None]:
    """What tells of each step as it begins; None where nobody looks on. Leaves the line clear."""
    if not looked_at():
        yield None
        return
    try:
        yield tell
    finally:
        sys.stderr.write(ANEW)
        sys.stderr.flush()


def tell(line: str) -> None:
    """The line in the place of the last, no longer than the terminal is wide."""
    width = shutil.get_terminal_size().columns - 1
    sys.stderr.write(ANEW + readable(line)[:width])
    sys.stderr.flush()
