"""Size: lines grow; what is held keeps the size it was drawn at, and marks keep theirs.

Terms.  *Along* is the way of the grain (the drawing's +y where none is drawn), *across* is square
to it.  An edge or opening is *held* at a factor of its own: 1 where it is `fixed`, and what gives
it its least length where the size would leave it shorter (`at_least`).  The runs beside a held
edge, from corner to corner, are turned and stretched as a whole to meet its ends.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault
from foamwright.geometry.affine import Affine
from foamwright.geometry.contour import Contour, Strand, closed_up, similarity
from foamwright.geometry.path import Path
from foamwright.job import PieceSpec
from foamwright.model import Mark
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern, Run

#: Marks whose size is a tool's or an eye's matter: only their place is scaled.
KEEP_SIZE = ("cross", "dot", "hole")


@dataclass(frozen=True, slots=True)
class Size:
    """Factors of the drawn size, across and along the grain."""

    across: float = 1.0
    along: float = 1.0

    def __mul__(self, other: Size) -> Size:
        return Size(self.across * other.across, self.along * other.along)

    @property
    def is_drawn(self) -> bool:
        return self.across == 1.0 and self.along == 1.0

    def map(self, grain: float | None) -> Affine:
        """About the drawing's origin."""
        grow = Affine.scaling(self.across, self.along)
        if grain is None or self.across == self.along:
            return grow
        return Affine.rotation(grain - 90) @ grow @ Affine.rotation(90 - grain)


def extent(path: Path, grain: float | None) -> tuple[float, float]:
    """Width across and length along the grain, mm."""
    upright = path if grain is None else path.transformed(Affine.rotation(90 - grain))
    low_x, low_y, high_x, high_y = upright.bounds
    return high_x - low_x, high_y - low_y


def sized(pattern: Pattern, size: Size, spec: PieceSpec) -> tuple[Pattern, tuple[Finding, ...]]:
    """The pattern at a size, about the drawing's origin.

    Faults: A307 a held edge that isn't there, A318 held edges that can't be.
    """
    m = size.map(pattern.grain)
    held, findings = _held(pattern, m, spec)
    fixed = {r.name for r, factor in held if factor == 1.0 and r.name == r.ring}
    flagged = replace(
        pattern, holes=tuple(replace(h, fixed=h.name in fixed) for h in pattern.holes)
    )
    if size.is_drawn and all(factor == 1.0 for _, factor in held):
        return flagged, findings
    grown = replace(flagged.transformed(m), marks=_marks(pattern, m), cut=None)
    grown = replace(grown, holes=tuple(replace(h, cut=None) for h in grown.holes))
    for ring in dict.fromkeys(r.ring for r, _ in held):
        here = [(r, factor) for r, factor in held if r.ring == ring]
        try:
            grown = grown.reshaped(ring, holding(pattern, ring, here, m))
        except GeometryError as why:
            names = " and ".join(r.name for r, _ in here)
            findings += (_cannot_hold(pattern, names, str(why)),)
    return grown, findings


Held = tuple[Run, float]


def _held(pattern: Pattern, m: Affine, spec: PieceSpec) -> tuple[list[Held], tuple[Finding, ...]]:
    """The edges and openings to be held, each with its factor."""
    held: list[Held] = []
    findings = []
    wanted: Mapping[str, float | None] = {**spec.at_least, **dict.fromkeys(spec.fixed)}
    for name, least in wanted.items():
        try:
            run, drawn = pattern.run(name), pattern.strand(name)
        except NoSuchEdgeError as why:
            word = "fixed" if least is None else "at_least"
            what = f"{word} names {name!r}: {why}"
            mend = "name an opening or one of [piece.edges]"
            findings.append(fault("A307", pattern.name, what, mend, piece=pattern.name))
            continue
        if least is None:
            held.append((run, 1.0))
        elif drawn.transformed(m).length < least:
            held.append((run, least / drawn.length))
    return held, tuple(findings)


def holding(pattern: Pattern, ring: str, held: list[Held], m: Affine) -> Contour:
    """The grown ring with its held edges at their own factors. Raises GeometryError."""
    drawn = pattern.ring(ring)
    ends = {pattern.joints(run): factor for run, factor in held}
    if any(a == b for a, b in ends):
        if len(ends) > 1 and any(a != b for a, b in ends):
            raise GeometryError("the whole line is held, and an edge of it besides")
        return drawn.transformed(_kept(drawn.path, m, next(iter(ends.values()))))
    _must_keep_apart(drawn, ends)
    inside = {j for a, b in ends for j in _within(a, b, drawn)}
    joints = ({j for pair in ends for j in pair} | set(drawn.path.corners)) - inside
    strands = list(drawn.cut_at(joints))
    order = sorted(joints)
    moved = []
    for k, strand in enumerate(strands):
        factor = ends.get((order[k], order[(k + 1) % len(order)]))
        moved.append(_grown(strand, m, factor))
    return closed_up(list(_stretched(moved, ends, order)))


def _grown(strand: Strand, m: Affine, factor: float | None) -> Strand:
    if factor is None:
        return strand.transformed(m)
    middle = (strand.start + strand.end) / 2
    return strand.transformed(Affine.translation(m(middle) - middle) @ similarity(factor, middle))


def _stretched(
    strands: list[Strand], ends: Mapping[tuple[int, int], float], order: list[int]
) -> Iterator[Strand]:
    """Runs that aren't held, stretched between the ends of those that are."""
    n = len(strands)
    held = [(order[k], order[(k + 1) % n]) in ends for k in range(n)]
    for k, strand in enumerate(strands):
        start = strands[k - 1].end if held[k - 1] else strand.start
        end = strands[(k + 1) % n].start if held[(k + 1) % n] else strand.end
        if held[k] or (start, end) == (strand.start, strand.end):
            yield strand
        else:
            yield strand.spanning(start, end)


def _within(first: int, last: int, ring: Contour) -> set[int]:
    """The joints strictly inside a run."""
    n = len(ring.path.segments)
    return {(first + k) % n for k in range(1, (last - first) % n)}


def _must_keep_apart(ring: Contour, ends: Mapping[tuple[int, int], float]) -> None:
    pairs = list(ends)
    n = len(ring.path.segments)
    covered = sorted((first + k) % n for first, last in pairs for k in range((last - first) % n))
    if len(covered) != len(set(covered)):
        raise GeometryError("they overlap")
    if any(a[1] == b[0] for a in pairs for b in pairs if a != b):
        raise GeometryError("one begins where the other ends: hold them as one edge")


def _kept(path: Path, m: Affine, factor: float) -> Affine:
    """Scales a whole line about its middle, which follows the size."""
    low_x, low_y, high_x, high_y = path.bounds
    middle = complex(low_x + high_x, low_y + high_y) / 2
    return Affine.translation(m(middle) - middle) @ similarity(factor, middle)


def _marks(pattern: Pattern, m: Affine) -> tuple[Mark, ...]:
    def kept(mark: Mark) -> Mark:
        by = Affine.translation(m(mark.at) - mark.at) if mark.shape in KEEP_SIZE else m
        return replace(mark, at=m(mark.at), paths=tuple(p.transformed(by) for p in mark.paths))

    return tuple(kept(mark) for mark in pattern.marks)


def _cannot_hold(pattern: Pattern, names: str, why: str) -> Finding:
    where = f"{pattern.name} {names}"
    what = f"can't keep the drawn size: {why}"
    return fault("A318", where, what, "hold fewer or other edges", piece=pattern.name)
