"""Seams made true: the edges at their ends are drawn anew so that they meet them squarely.

Where the two edges of a seam both end at 90 degrees, they make 180 when they are joined, so that a
tube closes flat, with no peak and no dent.  The adjoining edge moves across its chord, at a share u
of its length, by the cubic with the slopes that its ends want (Hermite): a straight edge is bowed
evenly, as a cone's rim is.  A curved one keeps its own bow: a *bulge*, 16 u^2 (1 - u)^2, which
leaves the ends as they are, takes back what the cubic moves it by on the whole.  A bulge also makes
it as long as is asked; where none does, the ends slide along the seam, both as far, so that the
seam's own edges still match.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault, note
from foamwright.geometry.contour import Strand, closed_up
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Line
from foamwright.job import Seam
from foamwright.job_pattern import TrueKeys
from foamwright.stages.alter.bow import Bow, Samples
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern, Run

#: A length is kept to this, mm.
KEPT = 1e-4
#: The widest bulge that keeps a length, as a share of it; beyond, the ends slide.
MOST_BULGE = 0.25
#: An edge that lies nowhere farther off its chord than this share of its length is straight.
STRAIGHT = 0.005
#: The farthest that ends slide, as a share of the edge.
MOST_SLIDE = 0.25
#: Steps in which a bulge or slide is looked for, and halvings of one.
STEPS, HALVINGS = 24, 60

Found = tuple[Finding, ...]


def trued(
    patterns: Mapping[str, Pattern], seams: Iterable[Seam]
) -> tuple[dict[str, Pattern], Found]:
    """The patterns with the edges that the seams name drawn anew; seams of other pieces are left.

    A355 tells what was done, or why an edge can't be had so.
    """
    made = dict(patterns)
    findings: list[Finding] = []
    for seam in seams:
        for keys in seam.true:
            piece, _, edge = keys.edge.partition(".")
            if piece not in made:
                continue
            where = f"seam {seam.name} true {keys.edge}"
            try:
                made[piece], told = _made_true(made[piece], edge, keys, _joins(seam, piece))
            except (NoSuchEdgeError, GeometryError) as why:
                mend = (
                    'name an edge that ends where the seam does; or let it change (keep = "ends")'
                )
                findings.append(fault("A355", where, str(why), mend))
                continue
            findings.append(note("A355", where, told))
    return made, tuple(findings)


def _joins(seam: Seam, piece: str) -> list[str]:
    """The seam's edges on a piece."""
    parts = (j.partition(".") for j in seam.joins)
    return [edge for name, _, edge in parts if name == piece]


@dataclass(frozen=True, slots=True)
class _Ends:
    """An edge with the rest of its ring. at: whether its start and end are to be true.

    straight: it is to be bowed evenly.  samples: of its length.
    """

    edge: Strand
    rest: Strand
    at: tuple[bool, bool]
    straight: bool
    samples: Samples

    @property
    def angles(self) -> tuple[float, float]:
        """Inside the piece between the edge and the rest, at its start and end, degrees."""
        ends = self.edge.path.segments, self.rest.path.segments
        before = turn_degrees(ends[1][-1].tangent(1.0), ends[0][0].tangent(0.0))
        after = turn_degrees(ends[0][-1].tangent(1.0), ends[1][0].tangent(0.0))
        return 180 - before, 180 - after

    def slid(self, by: float) -> Strand:
        """The rest, the ends of the edge that are to be true slid `by` mm into it."""
        start, end = (by if a else 0.0 for a in self.at)
        return _shifted(self.rest, end, start)

    def bow(self, rest: Strand, bulge: float) -> tuple[Bow, complex]:
        """What makes the edge between the rest's ends true, and the factor by which it gets there.

        bulge: beyond what keeps a curved edge's own bow, mm.  Raises GeometryError.
        """
        chord = rest.start - rest.end
        turn = chord / (self.edge.end - self.edge.start)
        across = 1j * chord / abs(chord)
        slopes = [0.0, 0.0]
        mine, other = self.edge.path.segments, rest.path.segments
        ends = (
            (mine[0].tangent(0.0), 1j * other[-1].tangent(1.0)),
            (mine[-1].tangent(1.0), -1j * other[0].tangent(0.0)),
        )
        for k, (way, wanted) in enumerate(ends):
            if self.at[k]:
                slopes[k] = _slope(way * turn / abs(turn), wanted, across)
        bow = Bow(across, self.edge.length * abs(turn), slopes[0], slopes[1])
        return replace(bow, bulge=bulge + (0.0 if self.straight else bow.taken_back)), turn

    def length(self, by: float, bulge: float) -> float:
        """Of the edge made true, mm. Raises GeometryError."""
        return self.samples.length(*self.bow(self.slid(by), bulge))

    def square(self, by: float, bulge: float) -> tuple[Strand, Strand]:
        """The edge made true and the rest. Raises GeometryError."""
        rest = self.slid(by)
        bow, _ = self.bow(rest, bulge)
        edge = self.edge if by == 0.0 else self.edge.spanning(rest.end, rest.start)
        return bow.bent(edge), rest


def _made_true(
    pattern: Pattern, name: str, keys: TrueKeys, joins: list[str]
) -> tuple[Pattern, str]:
    """Raises NoSuchEdgeError and GeometryError."""
    run = pattern.run(name)
    ends = _ends(pattern, run, joins)
    edge = ends.edge
    by = bulge = 0.0
    if keys.keep == "length" or keys.length is not None:
        by, bulge = _kept(ends, keys.length or edge.length)
    made, rest = ends.square(by, bulge)
    contour = closed_up([made, rest])
    told = " and ".join(f"{a:.1f}" for a, at in zip(ends.angles, ends.at, strict=True) if at)
    what = f"{told} degrees made 90; the edge is {made.length:.2f} mm long"
    if abs(made.length - edge.length) > KEPT:
        what += f" and was {edge.length:.2f} mm"
    if by:
        what += f"; the seam's edges end {abs(by):.2f} mm {'sooner' if by > 0 else 'later'} there"
    return pattern.reshaped(run.ring, contour), what


def _ends(pattern: Pattern, run: Run, joins: list[str]) -> _Ends:
    """Raises NoSuchEdgeError."""
    first, last = pattern.joints(run)
    if first == last:
        raise NoSuchEdgeError(f"{run.name} runs once round and has no ends")
    beside = [pattern.run(j) for j in joins]
    sides = [pattern.joints(b) for b in beside if b.ring == run.ring and b.name != run.name]
    at = any(b == first for _, b in sides), any(a == last for a, _ in sides)
    if not any(at):
        raise NoSuchEdgeError(f"{run.name} ends nowhere at the seam's edges {' and '.join(joins)}")
    ring = pattern.ring(run.ring)
    edge = ring.strand(first, last)
    if edge.start == edge.end:
        raise NoSuchEdgeError(f"{run.name} ends where it begins")
    return _Ends(edge, ring.strand(last, first), at, _is_straight(edge), Samples.of(edge))


def _is_straight(edge: Strand) -> bool:
    chord = edge.end - edge.start
    off = (edge.path.flatten(STRAIGHT * edge.length / 4) - edge.start) * chord.conjugate()
    return float(abs(off.imag).max()) <= STRAIGHT * abs(chord) * edge.length


def _kept(ends: _Ends, wanted: float) -> tuple[float, float]:
    """The slide and the bulge, mm, that make the edge so long. Raises GeometryError."""

    def miss(by: float, bulge: float) -> float:
        return ends.length(by, bulge) - wanted

    if abs(miss(0.0, 0.0)) <= KEPT:
        return 0.0, 0.0
    bulges = _noughts(lambda b: miss(0.0, b), MOST_BULGE * ends.edge.length)
    if bulges:
        return 0.0, min(bulges, key=abs)
    slides = _noughts(lambda d: miss(d, 0.0), MOST_SLIDE * ends.edge.length)
    if not slides:
        raise GeometryError(f"it can't be square at its ends and {wanted:.2f} mm long")
    return min(slides, key=abs), 0.0


def _noughts(miss: Callable[[float], float], most: float) -> list[float]:
    """The values nearest to nought on either side, up to `most`, at which a miss is nought."""
    found = []
    for way in (1, -1):
        before, was = 0.0, miss(0.0)
        for k in range(1, STEPS + 1):
            at = way * most * k / STEPS
            try:
                now = miss(at)
            except GeometryError:
                break
            if was * now <= 0:
                found.append(_halved(miss, before, at, was))
                break
            before, was = at, now
    return found


def _halved(miss: Callable[[float], float], low: float, high: float, at_low: float) -> float:
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        now = miss(middle)
        if abs(now) <= KEPT / 10:
            break
        low, high = (middle, high) if now * at_low > 0 else (low, middle)
    return middle


def _slope(way: complex, wanted: complex, across: complex) -> float:
    """How much must be added across per mm along, so that a direction becomes the one wanted."""
    lean = (across.conjugate() * wanted).imag
    if abs(lean) < 1e-3:
        raise GeometryError("its end would have to turn by a right angle or more")
    slope = -(way.conjugate() * wanted).imag / lean
    if ((way + slope * across).conjugate() * wanted).real <= 0:
        raise GeometryError("its end would have to turn by a right angle or more")
    return slope


def _shifted(strand: Strand, start: float, end: float) -> Strand:
    """Shortened at its ends by so many mm; straight on beyond them by what is less than nought."""
    made = strand.shortened(max(start, 0.0), max(end, 0.0)) if max(start, end) > 0 else strand
    segments = list(made.path.segments)
    if start < 0:
        way = segments[0].tangent(0.0)
        segments.insert(0, Line(made.start + start * way, made.start))
    if end < 0:
        way = segments[-1].tangent(1.0)
        segments.append(Line(made.end, made.end - end * way))
    ahead, n = int(start < 0), len(made.path.segments)

    def moved(joint: int) -> int:
        return 0 if joint == 0 else joint + ahead + (end < 0 and joint == n)

    corners = frozenset(j + ahead for j in made.path.corners)
    places = MappingProxyType({name: moved(j) for name, j in made.places.items()})
    return Strand(Path(tuple(segments), False, corners), places)
