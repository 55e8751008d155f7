"""Proves a sheet: its pieces against each other and the stock, then each of its files.

Does not read the record or the disk.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import (
    Near,
    Region,
    boundary,
    covers,
    curve,
    distance,
    is_valid,
    near,
    region,
    rings,
)
from foamwright.geometry.segments import Box
from foamwright.model import Tool
from foamwright.record import ContourEntry, FileEntry, SheetEntry
from foamwright.stages.verify.body import prove_body
from foamwright.stages.verify.bridges import prove_bridges
from foamwright.stages.verify.compare import REACH, Face, Fault, Proof, Spot, prove, unreached
from foamwright.stages.verify.contents import Features, features, wrong_marks, wrong_runs
from foamwright.stages.verify.depth import prove_bottom
from foamwright.stages.verify.faces import prove_faces
from foamwright.stages.verify.reading import Run
from foamwright.stages.verify.simulate import (
    SEVERING,
    WITHIN,
    Trace,
    removed,
    simulate,
)
from foamwright.stages.verify.targets import Target

#: mm by which rounding alone may take a place over an edge.
ROUNDING = 1e-3
#: mm by which a piece may seem nearer to its stock's edge or to a zone: chords for curves.
STOCK_FINE = 0.03
#: Length of the check line, mm.
CHECK_LENGTH = 100.0
_ANEW = "cut the job anew"
#: mm of an edge at the bottom face that may go untold, for each stretch that is told.
UNTOLD = 0.2


@dataclass(frozen=True)
class Sheet:
    """A sheet of the record with its targets."""

    entry: SheetEntry
    targets: tuple[Target, ...]

    @cached_property
    def areas(self) -> Near:
        return near([t.area for t in self.targets])

    @cached_property
    def stock(self) -> Region | None:
        """What the stock covers, where it is no rectangle. Raises GeometryError."""
        return _drawn(self.entry.outline) if self.entry.outline else None

    @cached_property
    def zones(self) -> tuple[tuple[Region, tuple[str, ...]], ...]:
        """What pieces are kept off, and which; none named: all. Raises GeometryError."""
        return tuple((_drawn(z.outline), z.pieces) for z in self.entry.zones)

    @cached_property
    def features(self) -> Features:
        return features(self.targets)


@dataclass(frozen=True, slots=True)
class Named:
    """A fault with the copy that it is of, or none."""

    copy: str
    fault: Fault


@dataclass(frozen=True, slots=True)
class FileProof:
    """What was found of one file: by copy, and of the file as a whole."""

    proofs: dict[str, Proof]
    faults: tuple[Named, ...]


def prove_nesting(sheet: Sheet, contours: Sequence[ContourEntry]) -> Iterator[Named]:
    """V018: a piece in another's opening is freed before that opening is."""
    last = {c.copy_name: k for k, c in enumerate(contours)}
    for host in sheet.targets:
        mine = [
            k
            for k, c in enumerate(contours)
            if c.copy_name == host.name and c.contour.startswith(("opening", "outline"))
        ]
        for hole in host.openings if mine else ():
            ground = region(hole)
            for guest in (t for t in sheet.targets if t is not host):
                if not covers(ground, guest.area) or last.get(guest.name, -1) < min(mine):
                    continue
                what = f"it is cut after the opening of {host.name} that it lies in is freed"
                yield Named(guest.name, Fault("V018", guest.inside, what, _ANEW))


def _drawn(data: str) -> Region:
    """A closed outline from path data. Raises GeometryError where it is none."""
    paths = parse_path_data(data)
    if len(paths) != 1 or not paths[0].closed or not is_valid(region(paths[0])):
        raise GeometryError("the outline of the stock or of a zone is no closed line")
    return region(paths[0])


def prove_layout(sheet: Sheet) -> Iterator[Named]:
    """Targets that touch each other or do not lie on the usable stock."""
    for i, j in sheet.areas.pairs(0.0) if sheet.targets else ():
        a, b = sheet.targets[i], sheet.targets[j]
        yield Named(a.name, Fault("V012", a.inside, f"it touches or overlaps {b.name}", _ANEW))
    for t in sheet.targets:
        over = _beyond(t.outline.bounds, sheet.entry.usable)
        if over > ROUNDING:
            what = f"it lies {over:.2f} mm off the usable stock of sheet {sheet.entry.number}"
            yield Named(t.name, Fault("V013", t.inside, what, "lay the sheet out anew"))
    try:
        yield from (Named(t.name, f) for t in sheet.targets for f in _off_its_stock(t, sheet))
    except GeometryError as why:
        yield Named("", Fault("V003", None, f"its stock or a zone can't be read ({why})", _ANEW))


def _off_its_stock(target: Target, sheet: Sheet) -> Iterator[Fault]:
    """Off the outline of stock that is no rectangle, or on a zone that pieces are kept off."""
    room = sheet.entry.room - STOCK_FINE
    stock = sheet.stock
    if stock is not None and not (
        covers(stock, target.area) and distance(boundary(stock), target.area) >= room
    ):
        what = f"it lies off the stock, or nearer than {sheet.entry.room:g} mm to its edge"
        yield Fault("V025", target.inside, what, "lay the sheet out anew")
    for zone, pieces in sheet.zones:
        if (not pieces or target.of in pieces) and distance(zone, target.area) < room:
            what = f"it lies on a zone that it is kept off, or nearer than {sheet.entry.room:g} mm"
            yield Fault("V025", target.inside, what, "lay the sheet out anew")


def _beyond(inner: Box, outer: Box) -> float:
    """How far a box sticks out of another, mm."""
    return max(outer[0] - inner[0], outer[1] - inner[1], inner[2] - outer[2], inner[3] - outer[3])


def prove_reach(
    target: Target, tool: Tool, limit: float, most: float
) -> tuple[list[Spot], list[Fault]]:
    """(c) Places that the tool's size leaves over, and those that are too deep to be left."""
    beam = removed(tool)
    spots = unreached(target, beam, limit)
    faults = [
        Fault(
            "V011",
            s.at,
            f"the tool leaves {s.depth:.3f} mm over, unreached_max is {most:g} mm",
            "widen the corner there, or raise unreached_max",
        )
        for s in spots
        if s.depth > most
    ]
    if len(rings(target.closed(beam))) != len(rings(target.area)):
        what = f"a gap or opening is narrower than the kerf of {beam}"
        faults.append(Fault("V011", target.inside, what, "widen it, or leave it out"))
    return spots, faults


def prove_file(
    sheet: Sheet, runs: Sequence[Run], entry: FileEntry, tool: Tool, limit: float
) -> FileProof:
    """Every statement about one file of the sheet."""
    cutting = [r for r in runs if not r.people]
    fine = limit / 20
    traces = simulate(with_operations(cutting, entry.contours), tool, fine)
    faults = [Named(c, f) for c, f in wrong_runs(traces, entry.contours, sheet.features)]
    faults += _operations_off(cutting, entry.contours)
    faults += _off_sheet(traces, sheet.entry, limit)
    faults += _for_people(runs, sheet)
    on = _Ground(sheet, traces, tool, limit)
    told = _told(entry.contours)
    proofs = {t.name: on.prove(t, told.get(t.name, 0.0)) for t in sheet.targets}
    return FileProof(proofs, tuple(faults))


def with_operations(
    runs: Sequence[Run], contours: Sequence[ContourEntry]
) -> list[tuple[str, Path]]:
    """Each run with its operation; where its layer stands for several, the record says which."""
    hoped = [c.operation for c in contours] if len(contours) == len(runs) else [""] * len(runs)
    return [
        (hope if hope in r.operations else min(r.operations), r.path)
        for r, hope in zip(runs, hoped, strict=True)
    ]


def _operations_off(runs: Sequence[Run], contours: Sequence[ContourEntry]) -> Iterator[Named]:
    if len(runs) != len(contours):
        return
    for number, (run, c) in enumerate(zip(runs, contours, strict=True), 1):
        if c.operation not in run.operations:
            what = (
                f"path {number} of the file, its {c.contour}, is on the layer of "
                f"{' or '.join(sorted(run.operations))} and should be {c.operation}"
            )
            yield Named(c.copy_name, Fault("V007", run.path.start, what, _ANEW))


def _off_sheet(traces: Sequence[Trace], sheet: SheetEntry, limit: float) -> Iterator[Named]:
    whole = (0.0, 0.0, sheet.width, sheet.length)
    for t in traces:
        over = _beyond(t.path.bounds, whole)
        if over > limit:
            what = f"path {t.number + 1} of the file runs {over:.2f} mm off the sheet"
            yield Named("", Fault("V014", t.path.start, what, _ANEW))


def _for_people(runs: Sequence[Run], sheet: Sheet) -> Iterator[Named]:
    """What is drawn for people may get cut: it must harm no piece, and the check line measure."""
    for run in runs:
        if not run.people:
            continue
        if "CHECK" in run.operations and abs(run.path.length - CHECK_LENGTH) > ROUNDING:
            what = f"the check line is {run.path.length:.3f} mm long, not {CHECK_LENGTH:g} mm"
            yield Named("", Fault("V019", run.path.start, what, _ANEW))
        line = curve(run.path, ROUNDING)
        for i in sheet.areas.within(line):
            what = "a line for people runs through it, and may get cut"
            yield Named(sheet.targets[i].name, Fault("V008", run.path.start, what, _ANEW))


def _told(contours: Sequence[ContourEntry]) -> dict[str, float]:
    """What the record says is left for the hand, mm by copy, with the slack for its rounding."""
    told: dict[str, float] = {}
    for c in contours:
        told[c.copy_name] = told.get(c.copy_name, 0.0) + c.left + UNTOLD * (c.left > 0)
    return told


class _Ground:
    """A file's traces, indexed, to prove the sheet's pieces one by one."""

    def __init__(self, sheet: Sheet, traces: Sequence[Trace], tool: Tool, limit: float) -> None:
        self.sheet, self.limit = sheet, limit
        self.beam = removed(tool)
        self.severing = [t for t in traces if t.operation in SEVERING]
        self.within = [t for t in traces if t.operation in WITHIN]
        self.lags = any(t.bottom is not None for t in traces)
        self.bends = any(t.blade is not None for t in traces)
        self.tool = tool
        # a start heading that is not yet known puts the tip up to twice the offset elsewhere
        self.reach = self.beam.radius + REACH + 2 * tool.blade_offset
        self._severing = near([t.line(0) for t in self.severing])
        self._within = near([t.line(0) for t in self.within])

    def prove(self, target: Target, told: float) -> Proof:
        cuts = [self.severing[i] for i in self._severing.within(target.area, self.reach)]
        marks = [self.within[i] for i in self._within.within(target.area, self.reach)]
        proof = prove(target, cuts, self.beam, self.limit)
        faults = [*proof.faults, *wrong_marks(target, marks, self.limit)]
        left = sum(h.length for h in target.bridges)
        if target.bridges:
            faults += prove_bridges(target, cuts, self.beam, self.limit)
        faces: tuple[Face, ...] = ()
        if not faults:
            faces, faults = prove_faces(target, cuts, self.tool, self.limit)
        if self.lags:
            around = self.sheet.areas.within(target.area, self.reach + _longest(cuts))
            pieces = [self.sheet.targets[i] for i in around]
            missing, left = prove_bottom(target, [*cuts, *marks], pieces, self.limit)
            faults += missing
            if left > told + UNTOLD:
                what = f"{left:.2f} mm is left for the hand at the bottom face, and not told"
                faults.append(Fault("V017", None, what, _ANEW))
        far = None
        if self.bends:
            wide = self.reach + self.tool.section
            strokes = [self.severing[i] for i in self._severing.within(target.area, wide)]
            swung, far = prove_body(target, [*strokes, *marks], self.tool.far_face_max)
            faults += swung
        return replace(proof, faults=tuple(faults), left=left, far=far, faces=faces)


def _longest(cuts: Sequence[Trace]) -> float:
    """mm that a stroke may reach from a piece: pieces farther off can't stop its run-on."""
    return max((c.path.length for c in cuts), default=0.0)


def same_runs(a: Sequence[Run], b: Sequence[Run], within: float) -> bool:
    """Whether two files' runs are the same lines and arcs, each place within so many mm."""
    if len(a) != len(b):
        return False
    return all(
        r.people == s.people
        and (r.operations & s.operations)
        and _same_path(r.path, s.path, within)
        for r, s in zip(a, b, strict=True)
    )


def _same_path(a: Path, b: Path, within: float) -> bool:
    if a.closed != b.closed or len(a.segments) != len(b.segments):
        return False
    return all(
        type(s) is type(t)
        and abs(s.start - t.start) <= within
        and abs(s.end - t.end) <= within
        and abs(s.point(0.5) - t.point(0.5)) <= within
        for s, t in zip(a.segments, b.segments, strict=True)
    )
