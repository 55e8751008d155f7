"""The pattern: a piece on its stitch line, every corner, point and edge of it addressable.

Terms.  A *ring* is one closed line of the pattern: the outline, or an opening by its name.  A
*place* is a numbered corner or a drawn point on a ring.  An *edge* is the run of a ring between two
places, the way the ring is travelled: outlines counter-clockwise, openings clockwise.  An opening's
own name is an edge too: once round.  Places and edges are given once, on the line as drawn, and
every step carries them along; a number never changes, whatever becomes of its corner.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from foamwright.findings import Finding, fault
from foamwright.geometry.affine import Affine
from foamwright.geometry.contour import Contour, Strand
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.job import PieceSpec
from foamwright.model import Mark, Opening, Piece, Slit
from foamwright.stages.alter.edges import Edge, NoSuchEdgeError

#: A drawn point names a place on a ring when it lies this near to it, mm.
POINT_REACH = 1.0
#: Lengths along a ring that differ by less are the same, mm: rounding of doubles.
SAME = 1e-6
#: The outline's name among the rings.
OUTLINE = ""
#: Points of our own, which no drawing names and no piece shows, begin with this.
OWN = "#"
#: Where an opening's own edge, once round, starts.
START = f"{OWN}start"


@dataclass(frozen=True, slots=True)
class Hole:
    """An opening. cut: its cut line where that is known and differs; fixed: keeps its size."""

    name: str
    contour: Contour
    fixed: bool = False
    cut: Path | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """An edge found: its ring and the places that it runs between; the same twice: once round."""

    name: str
    ring: str
    first: str
    last: str


@dataclass(frozen=True)
class Pattern:
    """outline, holes: stitch lines (before `taken_off`: the lines as drawn).

    edges: the names of the places that each named edge runs between.  points: drawn points that
    lie on no ring, and our own.  cut: the outline's cut line where it is known: as drawn while
    nothing has changed the stitch line, or once the allowance is on.  darts: their names.
    """

    name: str
    outline: Contour
    holes: tuple[Hole, ...] = ()
    edges: Mapping[str, tuple[str, str]] = field(default_factory=lambda: MappingProxyType({}))
    points: Mapping[str, complex] = field(default_factory=lambda: MappingProxyType({}))
    slits: tuple[Slit, ...] = ()
    marks: tuple[Mark, ...] = ()
    grain: float | None = None
    notes: tuple[str, ...] = ()
    source: str = ""
    cut: Path | None = None
    nap: float | None = None
    stretch: float | None = None
    darts: tuple[str, ...] = ()

    # places and edges

    def ring(self, name: str) -> Contour:
        """The outline or an opening's line. Raises KeyError."""
        if name == OUTLINE:
            return self.outline
        return {h.name: h.contour for h in self.holes}[name]

    def cut_line(self, ring: str) -> Path:
        """A ring's cut line where that is known, else its stitch line. Raises KeyError."""
        cut = self.cut if ring == OUTLINE else {h.name: h.cut for h in self.holes}[ring]
        return cut or self.ring(ring).path

    def run(self, edge: str) -> Run:
        """The named edge or opening. Raises NoSuchEdgeError."""
        if edge in self.edges:
            first, last = self.edges[edge]
            ring = self._ring_of(first)
            if last not in self.ring(ring).places:
                self._ring_of(last)
                raise NoSuchEdgeError(f"{first} and {last} lie on two lines")
            return Run(edge, ring, first, last)
        if any(h.name == edge for h in self.holes):
            return Run(edge, edge, START, START)
        known = ", ".join([*self.edges, *(h.name for h in self.holes)])
        raise NoSuchEdgeError(f"no edge {edge!r}; there are {known or 'none named'}")

    def _ring_of(self, place: str) -> str:
        for ring in (OUTLINE, *(h.name for h in self.holes)):
            if place in self.ring(ring).places:
                return ring
        if place.isdecimal():
            count = sum(n.isdecimal() for n in self.outline.places)
            raise NoSuchEdgeError(f"no corner {place}; the outline has {count}")
        if place in self.points:
            gap = min(nearest_length(c.path, self.points[place])[1] for c in self.rings())
            raise NoSuchEdgeError(f"point {place!r} lies {gap:.1f} mm off every line")
        names = {n for c in self.rings() for n in c.places if not n.isdecimal()}
        drawn = ", ".join(sorted(n for n in names | self.points.keys() if not n.startswith(OWN)))
        raise NoSuchEdgeError(f"no point {place!r}; drawn points are {drawn or 'none'}")

    def rings(self) -> tuple[Contour, ...]:
        """The outline and the openings' lines."""
        return (self.outline, *(h.contour for h in self.holes))

    def joints(self, run: Run) -> tuple[int, int]:
        """The joints of its ring that an edge runs between; equal: once round."""
        places = self.ring(run.ring).places
        return places[run.first], places[run.last]

    def strand(self, edge: str) -> Strand:
        """The named edge cut free. Raises NoSuchEdgeError."""
        run = self.run(edge)
        return self.ring(run.ring).strand(*self.joints(run))

    def edge(self, name: str) -> Edge:
        """The named edge as lengths on its ring. Raises NoSuchEdgeError."""
        run = self.run(name)
        path = self.ring(run.ring).path
        at = path.joint_lengths()
        start, end = (at[j] for j in self.joints(run))
        end = end if end > start else end + path.length
        return Edge(name, path, start, end, run.ring, self._darts_in(run.ring, start, end))

    def _darts_in(self, ring: str, start: float, end: float) -> tuple[tuple[float, float], ...]:
        """The mouths of the darts on a run of a ring, as lengths from its start."""
        contour = self.ring(ring)
        found = []
        for ends in ((f"{name}-start", f"{name}-end") for name in self.darts):
            if all(n in contour.places for n in ends):
                a, b = ((contour.along(n) - start) % contour.length for n in ends)
                if a < (b or contour.length) <= end - start + SAME:
                    found.append((a, b or contour.length))
        return tuple(sorted(found))

    def place(self, name: str) -> tuple[str, float]:
        """The ring on which a place lies and its arc length there. Raises NoSuchEdgeError."""
        ring = self._ring_of(name)
        return ring, self.ring(ring).along(name)

    def spot(self, name: str) -> complex | None:
        """Where a named place or point lies; None where there is none of the name."""
        for contour in self.rings():
            if name in contour.places:
                return contour.point(name)
        return self.points.get(name)

    # new patterns

    def reshaped(self, ring: str, contour: Contour) -> Pattern:
        """With another line for a ring, whose cut line is then unknown."""
        if ring == OUTLINE:
            return replace(self, outline=contour, cut=None)
        holes = (replace(h, contour=contour, cut=None) if h.name == ring else h for h in self.holes)
        return replace(self, holes=tuple(holes))

    def with_cut(self, ring: str, cut: Path) -> Pattern:
        """With a cut line for a ring."""
        if ring == OUTLINE:
            return replace(self, cut=cut)
        holes = (replace(h, cut=cut) if h.name == ring else h for h in self.holes)
        return replace(self, holes=tuple(holes))

    def transformed(self, m: Affine) -> Pattern:
        """Everything mapped, cut lines too; orientation holds after a mirror map."""
        moved = self._others().transformed(m)
        return replace(
            self,
            outline=self.outline.transformed(m),
            holes=tuple(
                replace(h, contour=h.contour.transformed(m), cut=o.path if h.cut else None)
                for h, o in zip(self.holes, moved.openings, strict=True)
            ),
            points=moved.points,
            slits=moved.slits,
            marks=moved.marks,
            grain=moved.grain,
            nap=moved.nap,
            stretch=moved.stretch,
            cut=None if self.cut is None else moved.outline,
        )

    def _others(self) -> Piece:
        """The piece whose own map maps all that isn't a contour."""
        return Piece(
            self.name,
            self.cut or self.outline.path,
            tuple(Opening(h.name, h.cut or h.contour.path, h.fixed) for h in self.holes),
            self.slits,
            self.marks,
            self.points,
            self.grain,
            None,
            self.notes,
            self.source,
            nap=self.nap,
            stretch=self.stretch,
        )

    def piece(self) -> Piece:
        """What is cut: cut lines where they are known, else the stitch lines."""
        named = {n: c.point(n) for c in self.rings() for n in c.places if not n.isdecimal()}
        points = {**self.points, **named}
        shown = {n: p for n, p in points.items() if not n.startswith(OWN)}
        stitch = None if self.cut is None else self.outline.path
        return replace(self._others(), points=MappingProxyType(shown), stitch=stitch)


def edge_of(name: str, patterns: Mapping[str, Pattern]) -> Edge:
    """The edge that `piece.edge` names. Raises NoSuchEdgeError."""
    piece, _, edge = name.partition(".")
    if piece not in patterns:
        raise NoSuchEdgeError(f"{name!r} names no piece; there are {', '.join(patterns)}")
    return patterns[piece].edge(edge)


#: What a step makes of a pattern: a new one and what was noticed.
Step = Callable[[Pattern], tuple[Pattern, tuple[Finding, ...]]]


def drafted(piece: Piece, spec: PieceSpec) -> Pattern:
    """The drawn piece as a pattern: corners numbered, drawn points on its rings made places.

    The job's marks at coordinates become points of ours, so that they follow every step.
    """
    outline, holes, off = _placed(piece)
    points = {**off, **mark_points(spec)}
    return Pattern(
        spec.name,
        outline,
        holes,
        MappingProxyType(dict(spec.edges)),
        MappingProxyType(points),
        piece.slits,
        piece.marks,
        piece.grain,
        piece.notes,
        piece.source,
    )


def mark_points(spec: PieceSpec) -> dict[str, complex]:
    """The places of the job's marks at coordinates, as points of ours."""
    points = {}
    for number, mark in enumerate(spec.mark, 1):
        for key, at in ((f"{OWN}mark-{number}", mark.at), (f"{OWN}mark-{number}-to", mark.to)):
            if at is not None:
                points[key] = complex(*at)
    return points


def _placed(piece: Piece) -> tuple[Contour, tuple[Hole, ...], dict[str, complex]]:
    """The rings with the drawn points on them as places, and the points that lie on none."""
    rings = {OUTLINE: piece.outline, **{o.name: o.path for o in piece.openings}}
    on: dict[str, dict[str, complex]] = {name: {} for name in rings}
    off: dict[str, complex] = {}
    for name, p in piece.points.items():
        gaps = {ring: nearest_length(path, p)[1] for ring, path in rings.items()}
        nearest = min(gaps, key=lambda ring: gaps[ring])
        if gaps[nearest] <= POINT_REACH:
            on[nearest][name] = p
        else:
            off[name] = p
    outline = Contour.of(piece.outline, on[OUTLINE])
    holes = tuple(
        Hole(o.name, _started(Contour.of(o.path, on[o.name], numbered=False)), o.fixed)
        for o in piece.openings
    )
    return outline, holes, off


def _started(contour: Contour) -> Contour:
    return contour.with_place(START, 0.0)


def missing_edges(pattern: Pattern) -> tuple[Finding, ...]:
    """A303: edges between places that aren't there."""
    found = []
    for name in pattern.edges:
        try:
            pattern.run(name)
        except NoSuchEdgeError as why:
            where = f"{pattern.name} edge {name}"
            found.append(fault("A303", where, str(why), "see `inspect`", piece=pattern.name))
    return tuple(found)
