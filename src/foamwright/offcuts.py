"""Offcuts on the user's own shelf: what is left of a sheet, offered to later jobs first.

All of them stand in one file, which is replaced whole under the shelf's lock, so that a killed run
leaves it as it was or as it was to be.  An offcut is free, or booked by a job that is to be cut
from it.  A job books what it uses when its cut files are published, and not before: while they are
it is begun, and a run that is killed then leaves it so.  No other job is offered what is begun, it
is told, and the same job cut again settles it.  `give_back` undoes all that a job did here.  Does
not lay anything out.

Terms: left over is what of a sheet is at least so wide everywhere and keeps off the pieces.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from foamwright.errors import GeometryError
from foamwright.findings import Finding, Refused, fault, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path as Outline
from foamwright.geometry.pathdata import parse_path_data, to_path_data
from foamwright.geometry.region import (
    Region,
    area,
    bounds,
    box,
    grown,
    minus,
    opening,
    parts,
    region,
    rings,
    union,
)
from foamwright.model import Sheet, Stock, Zone
from foamwright.names import readable
from foamwright.shelf_writing import locked
from foamwright.stages.save.locks import flush_names

#: The file in the shelf's folder.
FILE = "offcuts.json"
#: How closely the edge of what is left over is followed, mm.
EDGE_TOLERANCE = 0.2
#: Decimals of an offcut's coordinates, mm.
DECIMALS = 2


class Entry(BaseModel):
    """One offcut. outline, holes: path data, its box from (0, 0), grain along +y; came_from: the
    job that left it over; booked_by: the job that is cut from it, or none; begun_by: the job whose
    cut was being published when its run ended, from it or to leave it over, or none.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(min_length=1, max_length=200)
    material: str
    outline: str
    holes: tuple[str, ...] = ()
    came_from: str = ""
    booked_by: str = ""
    begun_by: str = ""

    def is_left_to(self, job: str) -> bool:
        """Whether no other job is or may be cut from it."""
        return self.booked_by in ("", job) and self.begun_by in ("", job)


class _Book(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    schema_version: int = Field(default=1, ge=1, le=1)
    offcuts: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True)
class Given:
    """What giving back changed: offcuts free again, offcuts struck out, and those that another job
    has booked meanwhile, which stay.
    """

    freed: tuple[str, ...]
    struck: tuple[str, ...]
    kept: tuple[str, ...]


def offcuts(shelf: Path) -> tuple[Entry, ...]:
    """All on the shelf, by name. Raises Refused (L411) where the file can't be read."""
    file = shelf / FILE
    try:
        book = _Book.model_validate_json(file.read_bytes())
    except FileNotFoundError:
        return ()
    except (OSError, ValidationError):
        what = "the file of offcuts can't be read"
        raise Refused(
            [fault("L411", readable(str(file)), what, "mend it or move it away")]
        ) from None
    return tuple(sorted(book.offcuts, key=lambda e: e.id))


def stock_from(entries: Iterable[Entry], material: str, job: str) -> tuple[Stock, ...]:
    """The offcuts of a material that a job may be cut from: free ones and those that it booked
    itself, but none that it is to leave over. Raises Refused (L411) for one that can't be read.
    """
    return tuple(
        _stock(e)
        for e in entries
        if e.material == material and e.is_left_to(job) and e.came_from != job
    )


def half_done(entries: Iterable[Entry], material: str, job: str) -> Iterator[Finding]:
    """What broken-off cuts of other jobs hold of a material."""
    held = [e for e in entries if e.material == material and e.begun_by not in ("", job)]
    for other in sorted({e.begun_by for e in held}):
        names = ", ".join(e.id for e in held if e.begun_by == other)
        what = f"its cut was broken off while it was published, and holds {names}"
        mend = f'cut it again, or foamwright offcut give-back "{other}"'
        yield warning("L414", f"offcuts of {other}", what, mend)


def _stock(entry: Entry) -> Stock:
    try:
        (outline,) = parse_path_data(entry.outline)
        holes = [p for h in entry.holes for p in parse_path_data(h)]
        _, _, width, length = outline.bounds
    except (GeometryError, ValueError):
        what = "its outline can't be read"
        raise Refused([fault("L411", f"offcut {entry.id}", what, "strike it out")]) from None
    zones = tuple(Zone(h.counter_clockwise()) for h in holes)
    return Stock(
        entry.material, "offcut", width, length, 1, entry.id, outline.counter_clockwise(), zones
    )


def left_over(sheet: Sheet, job: str, clearance: float, least: float) -> Iterator[Entry]:
    """What a sheet leaves over that is at least so wide everywhere (mm), the largest first."""
    stock = sheet.stock
    whole = box((0.0, 0.0, sheet.width, sheet.length))
    if stock.outline is not None:
        whole = region(stock.outline, (), EDGE_TOLERANCE)
    taken = [region(p.piece.outline, (), EDGE_TOLERANCE) for p in sheet.placements]
    around = [grown(t, clearance, EDGE_TOLERANCE) for t in taken]
    around += [region(z.outline, (), EDGE_TOLERANCE) for z in stock.zones]
    free = opening(minus(whole, union(around)), least / 2, EDGE_TOLERANCE)
    useful = [p for p in parts(free) if area(p) >= least * least]
    for number, part in enumerate(sorted(useful, key=area, reverse=True), 1):
        yield _entry(part, f"{job} {sheet.number}-{number}", sheet.material, job)


def _entry(part: Region, name: str, material: str, job: str) -> Entry:
    low_x, low_y, _, _ = bounds(part)
    moved = Affine.translation(-complex(low_x, low_y))
    outer, *holes = (Outline.polygon([moved(p) for p in ring[:-1]]) for ring in rings(part))
    return Entry(
        id=name,
        material=material,
        outline=to_path_data(outer.counter_clockwise(), DECIMALS),
        holes=tuple(to_path_data(h.counter_clockwise(), DECIMALS) for h in holes),
        came_from=job,
    )


@contextlib.contextmanager
def booked(
    shelf: Path,
    job: str,
    used: Sequence[str],
    new: Sequence[Entry] | None,
    half_made: Callable[[], bool] = lambda: False,
) -> Iterator[None]:
    """While a cut is published: afterwards the job has booked what it used and left over `new`.

    used: the job's earlier bookings besides these are freed.  new: stand in place of what it left
    over before; None: that stays.  half_made: whether an error within left a cut that the next run
    finishes; then all stays begun, else the shelf is as it was.  Raises Refused (L412) where
    another job has booked one of them meanwhile.
    """
    with _changing(shelf):
        before = offcuts(shelf)
        there = {e.id: e for e in before}
        gone = [u for u in used if u not in there or not there[u].is_left_to(job)]
        if gone:
            what = f"another job has booked it meanwhile: {', '.join(gone)}"
            raise Refused([fault("L412", f"offcuts of {job}", what, "cut the job again")])
        _write(shelf, _begun(before, job, used, new or ()))
        try:
            yield
        except Exception:
            if not half_made():
                _write(shelf, before)
            raise
        _write(shelf, _after_cut(before, job, used, new))


def _begun(
    before: Sequence[Entry], job: str, used: Sequence[str], new: Sequence[Entry]
) -> list[Entry]:
    mark = {"begun_by": job}
    there = {e.id for e in before}
    made = [e.model_copy(update=mark) if e.id in used else e for e in before]
    return made + [e.model_copy(update=mark) for e in new if e.id not in there]


def _after_cut(
    before: Sequence[Entry], job: str, used: Sequence[str], new: Sequence[Entry] | None
) -> list[Entry]:
    after = [_with_booking(e, job, used) for e in before]
    if new is None:
        return after
    kept = [e for e in after if e.came_from != job or e.booked_by]
    there = {e.id for e in kept}
    return kept + [e for e in new if e.id not in there]


def _with_booking(entry: Entry, job: str, used: Sequence[str]) -> Entry:
    """An offcut after the job's cut: the job has booked what it used, and nothing besides."""
    if entry.id in used:
        return entry.model_copy(update={"booked_by": job, "begun_by": ""})
    if entry.booked_by == job:
        entry = entry.model_copy(update={"booked_by": ""})
    was_used = entry.begun_by == job and entry.came_from != job
    return entry.model_copy(update={"begun_by": ""}) if was_used else entry


def give_back(shelf: Path, job: str) -> Given:
    """A job that was not cut after all: what it booked is free, what it was to leave is struck out.

    Raises Refused (L413) where the job has neither.
    """
    with _changing(shelf):
        before = offcuts(shelf)
        born = [e for e in before if e.came_from == job]
        struck = tuple(e.id for e in born if e.is_left_to(job))
        held = [e for e in before if job in (e.booked_by, e.begun_by)]
        freed = tuple(e.id for e in held if e.id not in struck)
        kept = tuple(e.id for e in born if e.id not in struck)
        if not freed and not born:
            what = "it has booked no offcut and left none over"
            raise Refused([fault("L413", f"job {readable(job)}", what, "see offcut list")])
        rest = [e for e in before if e.id not in struck]
        _write(shelf, [_freed(e, job) for e in rest])
    return Given(freed, struck, kept)


def _freed(entry: Entry, job: str) -> Entry:
    mine = [k for k in ("booked_by", "begun_by") if getattr(entry, k) == job]
    return entry.model_copy(update=dict.fromkeys(mine, ""))


def strike_out(shelf: Path, name: str) -> None:
    """Takes an offcut off the shelf for good. Raises Refused (L413) where it has none."""
    with _changing(shelf):
        before = offcuts(shelf)
        if name not in {e.id for e in before}:
            what = "there is no such offcut"
            raise Refused([fault("L413", f"offcut {readable(name)}", what, "see offcut list")])
        _write(shelf, [e for e in before if e.id != name])


@contextlib.contextmanager
def _changing(shelf: Path) -> Iterator[None]:
    try:
        lock = locked(shelf)
        lock.__enter__()
    except OSError as why:
        raise Refused([_unwritten(shelf, why)]) from None
    with contextlib.ExitStack() as stack:
        stack.push(lock)
        yield


def _unwritten(place: Path, why: OSError) -> Finding:
    return fault(
        "W702", readable(str(place)), f"can't be written: {why.strerror}", "free the place"
    )


def _write(shelf: Path, entries: Iterable[Entry]) -> None:
    """The whole file in place of the old one, or the old one as it was."""
    book = _Book(offcuts=tuple(sorted(entries, key=lambda e: e.id)))
    text = json.dumps(book.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"
    draft = shelf / f".{FILE}.{os.getpid()}.part"
    try:
        for stale in shelf.glob(f".{FILE}.*.part"):
            stale.unlink(missing_ok=True)  # of a run that was killed: we hold the lock
        with draft.open("w", encoding="utf-8", newline="\n") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        draft.replace(shelf / FILE)
        flush_names(shelf)
    except OSError as why:
        draft.unlink(missing_ok=True)
        what = f"can't be written: {why.strerror}"
        raise Refused(
            [fault("W702", readable(str(shelf / FILE)), what, "free the place")]
        ) from None
