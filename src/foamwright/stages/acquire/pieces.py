"""Sorts drawn shapes into pieces: outlines, openings, slits, marks, points, grain and notes.

A shape's stated role decides; without one, geometry does: closed outside is a piece, closed inside
it an opening, closed inside that a piece again, open inside a mark.  Whatever can't be sorted is a
finding with its place: nothing that was meant to be cut is lost silently.
Does not alter a piece and knows nothing of materials.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    CLOSELY,
    Near,
    Region,
    area,
    boundary,
    common,
    covers,
    curve,
    distance,
    loops,
    meeting,
    minus,
    near,
    point,
    region,
    rings,
    self_touches,
)
from foamwright.model import Mark, Opening, Piece, Slit
from foamwright.stages.acquire.crossings import uncrossed
from foamwright.stages.acquire.marks import Symbol, direction, symbols
from foamwright.stages.acquire.naming import Unique, aliases, harmless, part_name, piece_names
from foamwright.stages.acquire.nesting import nest, whole
from foamwright.stages.acquire.shapes import FILL, MIRROR, Shape

#: A point, note or mark this near to a piece, in mm, belongs to it.
REACH = 1.0
#: What a slit or mark may reach beyond its piece, in mm, as rounding of the drawing.
BEYOND = 0.05
#: An outline with less area than this, in mm2, has no size.
LEAST_AREA = 1e-6
#: Closed lines no longer than this, in mm, are specks of the drawing program and are left out.
SPECK = 0.2
#: Closed lines that are narrower than this in the mean, in mm, are slivers, and no tool cuts them.
SLIVER = 0.01


@dataclass(slots=True)
class _Draft:
    """A piece in the making."""

    name: str
    shape: Shape
    openings: list[Opening] = field(default_factory=list)
    slits: list[Slit] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    points: dict[str, complex] = field(default_factory=dict)
    grain: float | None = None
    notes: list[str] = field(default_factory=list)
    half: str = ""
    unique: Unique = field(default_factory=Unique)

    def finished(self, file: str) -> Piece:
        return Piece(
            self.name,
            self.shape.path.counter_clockwise(),
            tuple(self.openings),
            tuple(self.slits),
            tuple(self.marks),
            MappingProxyType(dict(self.points)),
            self.grain,
            None,
            tuple(self.notes),
            f"{file}#{self.name}",
            self.half,
        )


@dataclass(frozen=True, slots=True)
class Sorted:
    """Pieces, what was noticed, and which ids, titles and group names mean which piece.

    strays: lines that were refused.
    """

    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    aliases: Mapping[str, str]
    strays: tuple[Path, ...] = ()


def sort_shapes(
    shapes: Iterable[Shape], file: str, tolerance: float = 0.002, mend_crossings: bool = False
) -> Sorted:
    """The pieces that the shapes of one drawing make, what was noticed, and the pieces' names.

    file: the drawing's name, for messages and `Piece.source`.  tolerance: mm, of flattening.
    mend_crossings: outlines that cross themselves are taken apart by the even-odd rule.
    """
    told: list[Finding] = []
    if mend_crossings:
        shapes, told = uncrossed(shapes)
    made = _Sorting(tuple(shapes), file, tolerance).run()
    return replace(made, findings=(*told, *made.findings))


class _Sorting:
    def __init__(self, shapes: tuple[Shape, ...], file: str, tolerance: float) -> None:
        self.shapes = shapes
        self.file = file
        self.tolerance = tolerance
        self.findings: list[Finding] = []
        self.specks: list[complex] = []
        self.slivers: list[complex] = []
        self.turned: list[complex] = []
        self.strays: list[Path] = []
        self.drafts: list[_Draft] = []
        self.outers: list[Shape] = []
        self.materials: list[Region] = []
        self.index: Near = near([])

    def run(self) -> Sorted:
        outlines: list[Shape] = []
        regions: list[Region] = []
        for s in self.shapes:
            if s.role in (None, "cut") and (material := self._material(s)) is not None:
                outlines.append(s)
                regions.append(material)
        if self.specks:
            what = f"{len(self.specks)} specks left out, the first at {_place(self.specks[0])}"
            self.findings.append(note("R114", self.file, what, spots=self.specks))
        if self.slivers:
            what = f"{len(self.slivers)} slivers narrower than {SLIVER:g} mm left out, the first "
            mend = "draw a slit as one line with the role slit"
            what += f"at {_place(self.slivers[0])}"
            self.findings.append(warning("R120", self.file, what, mend, spots=self.slivers))
        self._nest(outlines, regions)
        if self.turned:
            what = f"{len(self.turned)} openings ran the same way round as the outline of their "
            what += f"path and are turned, the first at {_place(self.turned[0])}"
            self.findings.append(note("R119", self.file, what, spots=self.turned))
        self.materials = [
            whole(
                region(d.shape.path, [o.path for o in d.openings], self.tolerance), self.tolerance
            )
            for d in self.drafts
        ]
        self.index = near(self.materials)
        self._place_lines()
        self._place_symbols()
        if not self.drafts and not any(f.is_fault for f in self.findings):
            what = "holds no closed outline, so there is no piece in it"
            mend = "draw each piece as one closed outline"
            self.findings.append(fault("R003", self.file, what, mend))
        names = [d.name for d in self.drafts]
        pieces = tuple(d.finished(self.file) for d in self.drafts)
        meant = MappingProxyType(aliases(self.outers, names))
        return Sorted(pieces, tuple(self.findings), meant, tuple(self.strays))

    # outlines

    def _material(self, s: Shape) -> Region | None:
        """What lies inside a sound outline: closed, with area, not crossing itself; else told."""
        path = s.path
        if not path.closed:
            if s.role == "cut":
                self._open(s)
            return None
        if path.length <= SPECK:
            self.specks.append(path.start)
            return None
        crossings = loops(path)
        if crossings:
            what = f"the outline crosses itself at {', '.join(map(_place, crossings[:5]))}"
            if len(crossings) > 5:
                what += f" and {len(crossings) - 5} more places"
            mend = 'separate or remove the loop, or have the job mend it: crossings = "even-odd"'
            self._refuse(s, fault("R102", s.where, what, mend, spots=crossings))
            return None
        if abs(path.area) < LEAST_AREA:
            what = f"an outline without area at {_place(path.start)}"
            mend = "delete it or draw it again"
            self._refuse(s, fault("R103", s.where, what, mend, spots=[path.start]))
            return None
        if 2 * abs(path.area) < SLIVER * path.length:
            self.slivers.append(path.start)
            return None
        touches = self_touches(path, CLOSELY[0])
        if touches:
            what = f"the outline touches itself at {', '.join(map(_place, touches[:5]))}"
            mend = "leave a gap there"
            self.findings.append(warning("R115", s.where, what, mend, spots=touches))
        return whole(region(path, (), self.tolerance), self.tolerance)

    def _open(self, s: Shape) -> None:
        gap = abs(s.path.end - s.path.start)
        what = (
            f"the outline is open: {gap:.3g} mm from {_place(s.path.end)} "
            f"to its start at {_place(s.path.start)}"
        )
        mend = "close it, or state its role (slit, mark, fold, grain)"
        ends = (s.path.end, s.path.start)
        self._refuse(s, fault("R101", s.where, what, mend, spots=ends))

    def _refuse(self, s: Shape, why: Finding) -> None:
        self.strays.append(s.path)
        self.findings.append(why)

    def _nest(self, outlines: Sequence[Shape], regions: Sequence[Region]) -> None:
        found = nest(regions)
        for copy, original in found.twice:
            if outlines[copy].kind == FILL:
                continue
            what = f"the same outline as {outlines[original].where}; cut once"
            mend = "delete one of the two"
            spots = [outlines[copy].path.start]
            self.findings.append(warning("R105", outlines[copy].where, what, mend, spots=spots))
        for i, j, at in found.crossing:
            what = f"the outline crosses that of {outlines[j].where} at {_place(at)}"
            told = fault("R104", outlines[i].where, what, "move them apart", spots=[at])
            self.findings.append(told)
        for i, j in found.touching:
            if found.depth(i) % 2 or found.depth(j) % 2:
                at = meeting(boundary(regions[i]), boundary(regions[j]))
                what = f"the opening touches the line of {outlines[j].where} at {_place(at)}"
                mend = "leave a gap there"
                self.findings.append(fault("R115", outlines[i].where, what, mend, spots=[at]))
        copies = {copy for copy, _ in found.twice}
        self._tell_fills([s for i, s in enumerate(outlines) if s.kind == FILL and i not in copies])
        kept = [i for i in range(len(outlines)) if i not in copies]
        outer = [i for i in kept if found.depth(i) % 2 == 0]
        self.outers = [outlines[i] for i in outer]
        drafts: dict[int, _Draft] = {}
        for i, name in zip(outer, piece_names(self.outers), strict=True):
            drafts[i] = _Draft(name, outlines[i])
        self.drafts = list(drafts.values())
        for i in kept:
            holder = found.inside[i]
            if i not in drafts and holder is not None:
                self._add_opening(drafts[holder], outlines[i])

    def _tell_fills(self, alone: Sequence[Shape]) -> None:
        if alone:
            what = f"{len(alone)} fills have no outline of their own: cut along their boundaries"
            mend = "delete a fill that isn't to be cut out"
            spots = [s.path.start for s in alone]
            self.findings.append(warning("R116", alone[0].where, what, mend, spots=spots))

    def _add_opening(self, draft: _Draft, s: Shape) -> None:
        same = s.where == draft.shape.where and s.id == draft.shape.id
        wanted = "opening" if same else part_name(s, draft.shape.groups, "opening")
        one = s.element == draft.shape.element != 0
        if one and (s.path.area > 0) == (draft.shape.path.area > 0):
            self.turned.append(s.path.start)
        name = draft.unique(wanted)
        draft.openings.append(Opening(name, s.path.clockwise()))

    # lines, symbols

    def _place_lines(self) -> None:
        for s in self.shapes:
            if s.role == "slit" or (s.role is None and not s.path.closed):
                self._line(s)

    def _line(self, s: Shape) -> None:
        draft = self._owner(s, curve(s.path, self.tolerance))
        if draft is None and s.role is None:
            self._open(s)
        elif draft is None:
            what = f"a slit at {_place(s.path.start)} that lies in no piece"
            mend = "move it into a piece"
            self._refuse(s, fault("R106", s.where, what, mend, spots=[s.path.start]))
        elif s.role == "slit":
            self._tell_beyond(s, draft, "the slit")
            draft.slits.append(Slit(self._part_name(draft, s, "slit"), s.path))
        else:
            self._tell_beyond(s, draft, "the line")
            for symbol in symbols([s]):
                self._add_mark(draft, symbol)

    def _place_symbols(self) -> None:
        for role, place in (
            ("mark", self._add_mark),
            ("fold", self._add_fold),
            ("grain", self._add_grain),
            ("point", self._add_point),
            ("note", self._add_note),
        ):
            for symbol in symbols([s for s in self.shapes if s.role == role]):
                draft = self._owner_of(symbol)
                if draft is None:
                    self._tell_lost(symbol, role)
                else:
                    place(draft, symbol)

    def _tell_lost(self, symbol: Symbol, role: str) -> None:
        what = f"a {role} at {_place(symbol.at)} that lies in no piece; left out"
        where, mend = symbol.shape.where, "move it into its piece or group"
        self.findings.append(warning("R107", where, what, mend, spots=[symbol.at]))
        self.strays += symbol.paths

    def _part_name(self, draft: _Draft, s: Shape, default: str) -> str:
        return draft.unique(part_name(s, draft.shape.groups, default))

    def _add_mark(self, draft: _Draft, symbol: Symbol) -> None:
        name = self._part_name(draft, symbol.shape, "mark")
        draft.marks.append(Mark(name, symbol.kind, symbol.at, symbol.paths))

    def _add_fold(self, draft: _Draft, symbol: Symbol) -> None:
        self._tell_beyond(symbol.shape, draft, "the fold")
        name = self._part_name(draft, symbol.shape, "fold")
        draft.marks.append(Mark(name, "fold", symbol.at, symbol.paths))
        if symbol.shape.kind == MIRROR:
            draft.half = name

    def _add_grain(self, draft: _Draft, symbol: Symbol) -> None:
        if symbol.kind == "dot":
            what = f"a grain line without length at {_place(symbol.at)}"
            where, mend = symbol.shape.where, "draw it as a line"
            self.findings.append(fault("R103", where, what, mend, spots=[symbol.at]))
        elif draft.grain is None:
            draft.grain = direction(symbol.paths)
        elif symbol.shape.path.length > 0 and draft.grain != direction(symbol.paths):
            what = f"more than one grain line in {draft.name}; the first counts"
            where, mend = symbol.shape.where, "delete the others"
            self.findings.append(warning("R111", where, what, mend, draft.name, spots=[symbol.at]))

    def _add_point(self, draft: _Draft, symbol: Symbol) -> None:
        wanted = part_name(symbol.shape, draft.shape.groups, "point")
        name = draft.unique(wanted)
        if wanted not in (name, "point"):
            what = f"two things are called {wanted!r} in {draft.name}; this one is {name!r}"
            where = symbol.shape.where
            self.findings.append(warning("R108", where, what, "", draft.name, spots=[symbol.at]))
        draft.points[name] = symbol.at

    def _add_note(self, draft: _Draft, symbol: Symbol) -> None:
        text = harmless(symbol.shape.title or symbol.shape.id)
        if text:
            draft.notes.append(text)

    # whose

    def _owner_of(self, symbol: Symbol) -> _Draft | None:
        at = point(symbol.at)
        if symbol.kind in ("dot", "hole", "cross") or symbol.shape.role == "note":
            return self._owner(symbol.shape, at)
        if symbol.shape.path.closed:
            return self._owner(symbol.shape, at)
        return self._owner(symbol.shape, curve(symbol.shape.path, self.tolerance))

    def _owner(self, s: Shape, place: Region) -> _Draft | None:
        """The piece at or next to a place: nearest, most of it inside, same group, smallest."""
        near_by = self.index.within(place, REACH) if self.drafts else ()
        if not near_by:
            return self._by_group(s)
        if len(near_by) == 1:
            return self.drafts[near_by[0]]

        def rank(i: int) -> tuple[float, float, int, float]:
            material = self.materials[i]
            inside = common(material, place).length
            return (
                round(distance(material, place), 3),
                -round(float(inside), 3),
                -_shared(s.groups, self.drafts[i].shape.groups),
                area(material),
            )

        return self.drafts[min(near_by, key=rank)]

    def _by_group(self, s: Shape) -> _Draft | None:
        """The one piece with which a grain line, note or point shares its innermost group."""
        if s.role not in ("grain", "note") or not s.groups:
            return None
        same = [d for d in self.drafts if d.shape.groups[: len(s.groups)] == s.groups]
        return same[0] if len(same) == 1 else None

    def _tell_beyond(self, s: Shape, draft: _Draft, what: str) -> None:
        material = self.materials[next(i for i, d in enumerate(self.drafts) if d is draft)]
        line = curve(s.path, self.tolerance)
        if covers(material, line):
            return
        outside = float(line.length - common(material, line).length)
        if outside > BEYOND:
            told = f"{what} reaches {outside:.3g} mm beyond the material of {draft.name}"
            mend = "end it at the edge or inside the piece"
            beyond = [complex(points[0]) for points in rings(minus(line, material))]
            self.findings.append(fault("R110", s.where, told, mend, draft.name, spots=beyond))


def _shared(a: Sequence[str], b: Sequence[str]) -> int:
    """How many outer groups two shapes have in common."""
    count = 0
    for x, y in zip(a, b, strict=False):
        if x != y:
            break
        count += 1
    return count


def _place(p: complex) -> str:
    return f"({p.real:.2f}, {p.imag:.2f}) mm"
