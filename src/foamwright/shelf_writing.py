"""Writing on a shelf: entries added to a profile's file, and a file of a shop's own.

Entries are added at the end, so that every comment and every earlier value stays as it is.  A
file is replaced whole or not at all, and one recorder writes at a time: a lock goes with its
process, however that ends.  Does not know what entries mean.
"""

from __future__ import annotations

import contextlib
import os
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from foamwright.findings import Refused, fault
from foamwright.names import readable

#: The file in a shelf's folder that recorders lock.
LOCK = ".recording"


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Waits until no other recorder is at work on this shelf. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / LOCK).open("a+b") as file:
        _take(file.fileno())
        yield  # closing the file, or the end of the process, gives the lock back


def _take(descriptor: int) -> None:
    try:
        import fcntl
    except ImportError:  # Windows, from memory: waits ten seconds at a time
        _take_on_windows(descriptor)
        return
    with contextlib.suppress(OSError):  # a file system that knows no locks
        fcntl.flock(descriptor, fcntl.LOCK_EX)


def _take_on_windows(descriptor: int) -> None:
    import importlib

    windows: Any = importlib.import_module("msvcrt")
    while True:
        with contextlib.suppress(OSError):
            os.lseek(descriptor, 0, os.SEEK_SET)
            windows.locking(descriptor, windows.LK_LOCK, 1)
            return


def add_entries(
    file: Path, shelf: Path, entries: Sequence[tuple[str, Mapping[str, Any]]], head: str
) -> None:
    """Adds tables, each (its array's name, its values), at the end of a profile's file.

    shelf: the folder that is locked meanwhile.  head: text of the file where there is none yet.
    Raises Refused (J543) where it can't be written, or where it would no longer be read.
    """
    try:
        with locked(shelf):
            file.parent.mkdir(parents=True, exist_ok=True)
            target = file.resolve()
            old = target.read_text("utf-8") if target.exists() else head
            new = _with_entries(old, entries, file.name)
            _replace(target, new)
    except (OSError, UnicodeDecodeError) as e:
        raise Refused([_unwritten(file, e)]) from None


def _with_entries(text: str, entries: Sequence[tuple[str, Mapping[str, Any]]], name: str) -> str:
    before = _read(text, name)
    parts = [text if text.endswith("\n") else f"{text}\n"]
    for table, values in entries:
        one = tomlkit.item(dict(values))
        array = tomlkit.aot()
        array.append(one)
        document = tomlkit.document()
        document.add(table, array)
        parts.append("\n" + tomlkit.dumps(document).lstrip("\n"))
        before[table] = [*before.get(table, ()), dict(values)]
    new = "".join(parts)
    if _read(new, name) != before:
        what = "the new entry would change what it says"
        raise Refused([fault("J543", name, what, "write its lists as [[tables]]")])
    return new


def _read(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        what = f"nothing can be added to what is not TOML: {readable(str(e))}"
        raise Refused([fault("J543", name, what, "mend the file first")]) from None


def new_file(file: Path, shelf: Path, text: str) -> None:
    """A file that must not be there yet. Raises Refused (J543)."""
    try:
        with locked(shelf):
            if os.path.lexists(file):
                what = "there is such a profile already"
                raise Refused([fault("J543", readable(str(file)), what, "choose another id")])
            file.parent.mkdir(parents=True, exist_ok=True)
            _replace(file, text)
    except OSError as e:
        raise Refused([_unwritten(file, e)]) from None


def _replace(file: Path, text: str) -> None:
    """The whole file in the place of the old one, kept by the disk before it is named."""
    for stale in file.parent.glob(f".{file.name}.*.part"):
        stale.unlink(missing_ok=True)  # of a recorder that was killed: we hold the lock
    draft = file.with_name(f".{file.name}.{os.getpid()}.part")
    with draft.open("x", encoding="utf-8", newline="\n") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    draft.replace(file)
    with contextlib.suppress(OSError):  # where a folder can be asked to keep its names
        descriptor = os.open(file.parent, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _unwritten(file: Path, why: OSError | UnicodeDecodeError) -> Any:
    reason = why.strerror if isinstance(why, OSError) else "it is not UTF-8 text"
    mend = "make the shelf writable, or name another in FOAMWRIGHT_PROFILES"
    return fault("J543", readable(str(file)), f"can't be written ({reason})", mend)
