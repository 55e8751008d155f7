"""How a run's files come to bear their final names: all of them or none.

Staging: everything is written into a folder beside the target and proven there.  Publishing then
replaces only files that the target's old record names: the new files are moved into a folder inside
the target, a journal of what to put and what to drop is written, and the renames are done, the
record's last.  A run that is killed before its journal stands is rolled back by the next one; after
that it is finished.
Whatever the old record does not name, and whatever is a link or a folder, is a stranger's, and is
never touched.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO

from pydantic import TypeAdapter, ValidationError

from foamwright.findings import Finding, Refused, fault
from foamwright.record import Record, checksum_of
from foamwright.stages.save.locks import alone, flush_names, held

RECORD = "record.json"
JOURNAL = ".foamwright-journal.json"
INCOMING = ".foamwright-incoming"
_DRAFT = f"{JOURNAL}.part"
_STAGING = ".foamwright-staging"
_LOCK = "lock"
_ELSEWHERE = "choose another --out"


@dataclass(frozen=True, slots=True)
class Journal:
    """What is to be done once all new files lie in INCOMING: names to put, then names to drop."""

    put: tuple[str, ...]
    drop: tuple[str, ...]


# Staging


@contextlib.contextmanager
def staging(target: Path) -> Iterator[Path]:
    """A fresh folder beside the target, gone afterwards whatever happens.

    Folders that killed runs left for the same target are cleared first.  Raises Refused where the
    place can't be written.
    """
    target = Path(os.path.abspath(target))
    try:
        folder, lock = _fresh_folder(target)
    except OSError as why:
        place = target if isinstance(why, NotADirectoryError) else target.parent
        raise Refused([_cannot_write(place, why)]) from why
    try:
        yield folder / "files"
    finally:
        lock.close()
        shutil.rmtree(folder, ignore_errors=True)


def _fresh_folder(target: Path) -> tuple[Path, IO[str]]:
    """A new folder with an empty `files` in it, and its lock, held."""
    if target.exists() and not target.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, "this is a file, not a folder", str(target))
    target.parent.mkdir(parents=True, exist_ok=True)
    with alone(target.parent):  # a folder without its lock yet would be taken for a left over one
        _clear_left_over(target)
        folder = Path(tempfile.mkdtemp(prefix=f".{target.name}{_STAGING}-", dir=target.parent))
        try:
            lock = (folder / _LOCK).open("w", encoding="utf-8")
            held(lock.fileno())
            (folder / "files").mkdir()
        except OSError:
            shutil.rmtree(folder, ignore_errors=True)
            raise
    return folder, lock


def _clear_left_over(target: Path) -> None:
    start = f".{target.name}{_STAGING}-"
    for folder in sorted(p for p in target.parent.iterdir() if p.name.startswith(start)):
        if not folder.is_dir() or folder.is_symlink():
            continue
        try:
            with (folder / _LOCK).open("r+", encoding="utf-8") as lock:
                if not held(lock.fileno()):
                    continue  # another run is at work
            (folder / _LOCK).unlink()
        except FileNotFoundError:
            pass  # killed before it had its lock
        except OSError:
            continue
        shutil.rmtree(folder, ignore_errors=True)


def write_file(folder: Path, name: str, text: str | bytes) -> None:
    """A file written whole and flushed to the disk. Raises Refused where the disk won't."""
    data = text.encode("utf-8") if isinstance(text, str) else text
    try:
        _write(folder / name, data, "wb")
    except OSError as why:
        raise Refused([_cannot_write(folder / name, why)]) from why


def _write(file: Path, data: bytes, mode: str) -> None:
    with file.open(mode) as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


# Publishing


def publish(staged: Path, target: Path) -> None:
    """Gives the staged files their final names in target. Raises Refused, changing nothing,
    where a stranger's file stands in the way or the place can't be written."""
    try:
        if not os.path.lexists(target):
            with contextlib.suppress(OSError):  # a folder that can't be moved is filled instead
                staged.rename(target)
                flush_names(target.parent)
                return
        target.mkdir(exist_ok=True)
        with alone(target):
            _recover(target)
            _replace(staged, target)
    except OSError as why:
        raise Refused([_cannot_write(target, why)]) from why


def is_broken_off(target: Path) -> bool:
    """Whether a publication stands half-way that the next run finishes."""
    return _read_journal(target) is not None


def recover(target: Path) -> None:
    """Finishes a publication that was broken off after its journal stood, else rolls it back.

    Raises Refused where the folder can't be written or a stranger's file now stands in the way.
    """
    if not any(os.path.lexists(target / n) for n in (JOURNAL, INCOMING, _DRAFT)):
        return
    try:
        with alone(target):
            _recover(target)
    except OSError as why:
        what = f"an earlier cut was broken off here and can't be finished: {why.strerror}"
        mend = "make the folder writable and try again"
        raise Refused([fault("W702", str(target), what, mend)]) from why


def _recover(target: Path) -> None:
    journal = _read_journal(target)
    if journal is None:
        _roll_back(target)
    else:
        _finish(target, journal)


def _roll_back(target: Path) -> None:
    """Takes away what a run left that was killed before its journal stood."""
    incoming = target / INCOMING
    if incoming.is_dir() and not incoming.is_symlink():
        shutil.rmtree(incoming)
    for name in (_DRAFT, JOURNAL):
        if _is_file(target / name):
            (target / name).unlink()


def _replace(staged: Path, target: Path) -> None:
    new = sorted(p.name for p in staged.iterdir())
    old = files_of(target)
    _refuse_strangers(target, (*new, INCOMING, _DRAFT, JOURNAL), old)
    journal = Journal(tuple(new), tuple(sorted(old - set(new))))
    try:
        _bring(staged, target / INCOMING)
        _write(target / _DRAFT, json.dumps(asdict(journal)).encode(), "xb")
        # from here on the next run finishes what this one may not
        (target / _DRAFT).replace(target / JOURNAL)
    except OSError:
        with contextlib.suppress(OSError):
            _roll_back(target)
        raise
    flush_names(target)
    _finish(target, journal)


def _bring(staged: Path, incoming: Path) -> None:
    """The staged folder moved, or copied where the target is another file system."""
    try:
        staged.rename(incoming)
    except OSError as why:
        if why.errno != errno.EXDEV:
            raise
        incoming.mkdir()
        for file in sorted(staged.iterdir()):
            _write(incoming / file.name, file.read_bytes(), "xb")
    flush_names(incoming)


def _finish(target: Path, journal: Journal) -> None:
    """Does what the journal says; done twice, or from any point on, it comes to the same."""
    incoming, old = target / INCOMING, files_of(target)
    waiting = [n for n in journal.put if _is_file(incoming / n)]
    _refuse_strangers(target, waiting, old)
    for name in waiting:
        if name != RECORD:
            (incoming / name).replace(target / name)
    for name in journal.drop:
        if name in old and name not in journal.put and _is_file(target / name):
            (target / name).unlink()
    flush_names(target)
    if RECORD in waiting:
        (incoming / RECORD).replace(target / RECORD)
    flush_names(target)
    shutil.rmtree(incoming, ignore_errors=True)
    (target / JOURNAL).unlink()


def _refuse_strangers(target: Path, names: Iterable[str], old: frozenset[str]) -> None:
    """Raises Refused where something stands under one of the names that isn't the old run's."""
    found = [
        n for n in names if os.path.lexists(target / n) and not (n in old and _is_file(target / n))
    ]
    if found:
        what = "this is not a file of an earlier cut, so it is not replaced"
        mend = f"move it away or {_ELSEWHERE}"
        raise Refused(fault("W701", f"{target.name}/{n}", what, mend) for n in sorted(found))


def _read_journal(target: Path) -> Journal | None:
    """The journal that stands, or None: a journal is written whole, so a broken one isn't ours."""
    if not _is_file(target / JOURNAL):
        return None
    try:
        journal = TypeAdapter(Journal).validate_json((target / JOURNAL).read_bytes())
    except ValidationError:
        return None
    return journal if all(_plain(n) for n in journal.put) else None


def files_of(target: Path) -> frozenset[str]:
    """The names that the folder's own record vouches for: its cut files, other files and itself.

    An edited record vouches for nothing.
    """
    if not _is_file(target / RECORD):
        return frozenset()
    try:
        data = json.loads((target / RECORD).read_bytes())
        record = Record.model_validate(data)
        genuine = record.checksum == checksum_of(data)
    except (OSError, ValueError, RecursionError):
        return frozenset()
    names: Sequence[str] = [*(f.name for f in record.files), *record.others, RECORD]
    return frozenset(n for n in names if _plain(n)) if genuine else frozenset()


def _plain(name: str) -> bool:
    """A name in the folder itself on any system, and none of those that a run uses."""
    if name in ("", ".", "..", INCOMING, JOURNAL, _DRAFT):
        return False
    return not any(c in name for c in "/\\:\0")


def _is_file(place: Path) -> bool:
    """A plain file, not a link to one."""
    return place.is_file() and not place.is_symlink()


def _cannot_write(place: Path, why: OSError) -> Finding:
    reason = why.strerror or str(why)
    return fault("W702", str(place), f"can't be written: {reason}", _ELSEWHERE)
