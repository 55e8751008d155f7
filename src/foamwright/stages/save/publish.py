"""How a run's files come to bear their final names: all of them or none.

Staging: everything is written into a folder beside the target and proven there.  Publishing then
replaces only files that the target's old record names: the new files are moved into a folder inside
the target, a journal of what to drop and what to put is written, and the renames are done.  A run
that is killed before the journal stands is rolled back by the next one, after it is finished.
A file that the old record does not name is a stranger's, and is never touched.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from pydantic import ValidationError

from foamwright.findings import Finding, Refused, fault
from foamwright.record import Record, checksum_of

RECORD = "record.json"
JOURNAL = ".foamwright-journal.json"
INCOMING = ".foamwright-incoming"
_STAGING = ".foamwright-staging"
_LOCK = "lock"


@contextlib.contextmanager
def staging(target: Path) -> Iterator[Path]:
    """A fresh folder beside the target, gone afterwards whatever happens.

    Folders that killed runs left for the same target are cleared first.  Raises Refused where the
    place can't be written.
    """
    target = Path(os.path.abspath(target))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _must_be_ours(target)
        _clear_left_over(target)
        folder = Path(tempfile.mkdtemp(prefix=f".{target.name}{_STAGING}-", dir=target.parent))
    except OSError as why:
        raise Refused([_cannot_write(target, why)]) from why
    with (folder / _LOCK).open("w") as lock:
        _hold(lock.fileno())
        try:
            inside = folder / "files"
            inside.mkdir()
            yield inside
        finally:
            shutil.rmtree(folder, ignore_errors=True)


def write_file(folder: Path, name: str, text: str | bytes) -> None:
    """A file written whole and flushed to the disk. Raises Refused where the disk won't."""
    data = text.encode("utf-8") if isinstance(text, str) else text
    try:
        with (folder / name).open("wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
    except OSError as why:
        raise Refused([_cannot_write(folder / name, why)]) from why


def publish(staged: Path, target: Path) -> None:
    """Gives the staged files their final names in target. Raises Refused, changing nothing,
    where a stranger's file stands in the way."""
    try:
        recover(target)
        if not target.exists():
            with contextlib.suppress(OSError):
                staged.rename(target)
                return
            target.mkdir()
        _replace(staged, target)
    except OSError as why:
        raise Refused([_cannot_write(target, why)]) from why


def _replace(staged: Path, target: Path) -> None:
    new = sorted(p.name for p in staged.iterdir())
    old = files_of(target)
    strangers = [n for n in new if n not in old and os.path.lexists(target / n)]
    links = [n for n in new if (target / n).is_symlink()]
    in_the_way = sorted({*strangers, *links})
    if in_the_way:
        raise Refused(
            fault(
                "W701",
                f"{target.name}/{n}",
                "this file is not from an earlier cut, so it is not replaced",
                "move it away or choose another --out",
            )
            for n in in_the_way
        )
    incoming = target / INCOMING
    shutil.copytree(staged, incoming)
    _flush(incoming)
    drop = sorted(set(old) - set(new))
    put = [n for n in new if n != RECORD] + [RECORD]
    draft = target / f"{JOURNAL}.part"
    write_file(target, draft.name, json.dumps({"drop": drop, "put": put}))
    draft.replace(target / JOURNAL)  # from here on the next run finishes what this one may not
    _flush(target)
    _finish(target)


def recover(target: Path) -> None:
    """Finishes a publication that was broken off after its journal stood, else rolls it back."""
    if not target.is_dir():
        return
    if (target / JOURNAL).is_file():
        _finish(target)
    elif (target / INCOMING).is_dir() and not (target / INCOMING).is_symlink():
        shutil.rmtree(target / INCOMING)
    (target / f"{JOURNAL}.part").unlink(missing_ok=True)


def _finish(target: Path) -> None:
    plan = json.loads((target / JOURNAL).read_text("utf-8"))
    incoming = target / INCOMING
    for name in plan["put"]:
        if _plain(name) and (incoming / name).exists():
            (incoming / name).replace(target / name)
    for name in plan["drop"]:
        if _plain(name):
            (target / name).unlink(missing_ok=True)
    _flush(target)
    shutil.rmtree(incoming, ignore_errors=True)
    (target / JOURNAL).unlink()


def files_of(target: Path) -> frozenset[str]:
    """The names that the folder's own record vouches for: its cut files, sheet and record."""
    try:
        data = json.loads((target / RECORD).read_bytes())
        record = Record.model_validate(data)
    except (OSError, ValidationError, ValueError, RecursionError):
        return frozenset()
    if record.checksum != checksum_of(data):
        return frozenset()  # an edited record vouches for nothing
    names = [f.name for f in record.files] + [RECORD, "operator-sheet.html"]
    return frozenset(n for n in names if _plain(n))


def _plain(name: str) -> bool:
    return name == os.path.basename(name) and name not in ("", ".", "..") and "\\" not in name


def _must_be_ours(target: Path) -> None:
    if target.exists() and not target.is_dir():
        raise NotADirectoryError(20, "this is a file, not a folder", str(target))


def _clear_left_over(target: Path) -> None:
    for folder in target.parent.glob(f".{glob_safe(target.name)}{_STAGING}-*"):
        lock = folder / _LOCK
        try:
            with lock.open("r+") as held:
                _hold(held.fileno())
        except BlockingIOError:
            continue  # another run is at work
        except OSError:
            pass
        shutil.rmtree(folder, ignore_errors=True)


def glob_safe(name: str) -> str:
    """A name in which `[`, `*` and `?` stand for themselves."""
    return "".join(f"[{c}]" if c in "[*?" else c for c in name)


def _hold(descriptor: int) -> None:
    """Takes the lock of an open file for this process. Raises BlockingIOError where it is held."""
    try:
        import fcntl
    except ImportError:  # Windows: an open file can't be removed by others, which serves as well
        return
    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _flush(folder: Path) -> None:
    """Asks the file system to keep a folder's names (where it can be asked)."""
    with contextlib.suppress(OSError, AttributeError):
        descriptor = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _cannot_write(place: Path, why: OSError) -> Finding:
    reason = why.strerror or str(why)
    return fault("W702", str(place), f"can't be written: {reason}", "choose another --out")
