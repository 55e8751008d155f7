"""How wide the allowance of each run of a ring is, and how it goes round the corners.

An edge's corner kind holds at both its ends and is made for that edge; a place's own holds there,
for the wider of the two allowances that meet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from foamwright.findings import Finding, fault
from foamwright.geometry.contour import Contour
from foamwright.geometry.offset_edges import EdgeJoin
from foamwright.job import PieceSpec
from foamwright.job_pattern import CornerKind
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import OUTLINE, Pattern, Run

#: Keys that stand for all that is not named.
DEFAULT = "default"


@dataclass(frozen=True, slots=True)
class Widths:
    """mm: of each segment of the ring.  joins: of joints other than `join`."""

    mm: tuple[float, ...]
    joins: Mapping[int, EdgeJoin]
    join: EdgeJoin

    @property
    def is_plain(self) -> bool:
        """One width all round, with mitres."""
        kinds = {self.join, *self.joins.values()}
        return min(self.mm) == max(self.mm) and kinds == {"mitre"}


def widths_of(pattern: Pattern, spec: PieceSpec, ring: str) -> Widths:
    """The allowance of a ring; openings have one only where it is named. Raises NoSuchEdgeError."""
    contour = pattern.ring(ring)
    n = len(contour.path.segments)
    plain = spec.allowance.get(DEFAULT, 0.0) if ring == OUTLINE else 0.0
    mm = [plain] * n
    for name, width in spec.allowance.items():
        if name == DEFAULT:
            continue
        run = pattern.run(name)
        if run.ring == ring:
            for k in run_segments(contour, run):
                mm[k] = width
    return Widths(tuple(mm), _joins(pattern, spec, ring, mm), _directed(_default(spec), True))


def run_segments(contour: Contour, run: Run) -> list[int]:
    """The segments of a ring that an edge is made of, in order."""
    n = len(contour.path.segments)
    first, last = contour.places[run.first], contour.places[run.last]
    return [(first + k) % n for k in range((last - first) % n or n)]


def _default(spec: PieceSpec) -> CornerKind:
    return spec.corners.get(DEFAULT, "mitre")


def _joins(pattern: Pattern, spec: PieceSpec, ring: str, mm: list[float]) -> Mapping[int, EdgeJoin]:
    contour = pattern.ring(ring)
    made: dict[int, EdgeJoin] = {}
    if _default(spec) in ("butt", "fold"):
        for joint in contour.path.corners:
            made[joint] = _directed(_default(spec), mm[joint - 1] >= mm[joint])
    edges = {k: v for k, v in spec.corners.items() if k in pattern.edges}
    for name, kind in edges.items():
        run = pattern.run(name)
        if run.ring == ring:
            made[contour.places[run.first]] = _directed(kind, False)
            made[contour.places[run.last]] = _directed(kind, True)
    for name, kind in spec.corners.items():
        if name not in edges and name in contour.places:
            joint = contour.places[name]
            made[joint] = _directed(kind, mm[joint - 1] >= mm[joint])
    return made


def _directed(kind: CornerKind, before: bool) -> EdgeJoin:
    """before: made for the edge that ends at the corner."""
    if kind == "butt":
        return "butt-before" if before else "butt-after"
    if kind == "fold":
        return "fold-before" if before else "fold-after"
    return kind


def width_beside(pattern: Pattern, spec: PieceSpec, ring: str, at: float) -> float:
    """The allowance at arc length `at` of a ring's stitch line; at a place the lesser of two."""
    mm = widths_of(pattern, spec, ring).mm
    path = pattern.ring(ring).path
    i, t = path.locate(at % path.length)
    if t <= AT_JOINT:
        return min(mm[i - 1], mm[i])
    return min(mm[i], mm[(i + 1) % len(mm)]) if t >= 1 - AT_JOINT else mm[i]


#: A parameter this near to a segment's end is the end.
AT_JOINT = 1e-9


def unknown_names(pattern: Pattern, spec: PieceSpec) -> tuple[Finding, ...]:
    """A321: allowances and corners of edges, openings or places that aren't there."""
    found = []
    places = {n for c in pattern.rings() for n in c.places}
    for table, names in (("allowance", spec.allowance), ("corners", spec.corners)):
        for name in names:
            if name == DEFAULT or (table == "corners" and name in places - pattern.edges.keys()):
                continue
            try:
                pattern.run(name)
            except NoSuchEdgeError as why:
                where = f"{spec.name} {table}.{name}"
                mend = "name an edge in [piece.edges], or an opening"
                found.append(fault("A321", where, str(why), mend, piece=spec.name))
    return tuple(found)
