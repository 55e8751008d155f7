"""Locks by which runs of our own keep out of each other's way.

A lock ends with its process, however that ends.  Where the system or the file system has no such
locks, `held` says yes and `alone` doesn't wait.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path


def held(descriptor: int, wait: bool = False) -> bool:
    """Takes the lock of an open file for this process; False where another process has it."""
    try:
        import fcntl
    except ImportError:  # Windows: an open file can't be removed by others, which serves as well
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except OSError:
        return True  # this file system knows no locks
    return True


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Waits until no other run is inside `alone` for the same folder."""
    try:
        descriptor = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    except OSError:  # Windows can't open a folder
        yield
        return
    try:
        held(descriptor, wait=True)
        yield
    finally:
        os.close(descriptor)


def flush_names(folder: Path) -> None:
    """Asks the file system to keep a folder's names (where it can be asked)."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
