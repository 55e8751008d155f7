"""A whole drawn by hand, evened out about its centre line.

Each ring that crosses the centre line twice is made the mean of itself and its mirror image: run by
run from corner to corner, at equal shares of their lengths.  What lies off the centre line is left
as drawn.  How far the drawing was from even is told.
"""

from __future__ import annotations

import math
from itertools import pairwise
from types import MappingProxyType

from foamwright.findings import Finding, fault, note
from foamwright.geometry.contour import Contour, Strand, closed_up, strung
from foamwright.geometry.path import CORNER_ANGLE, Path, find_corners
from foamwright.geometry.region import curve, directed_deviation
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.job import PieceSpec
from foamwright.stages.alter.axis import Axis, axis_of
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import OUTLINE, Pattern

#: Flattening where the asymmetry is measured, mm.
MEASURED = 0.002
#: Two sides that differ by less than this are even already, mm.
EVEN = 1e-9
#: Joints of the two sides at shares of a run nearer than this are one.
SAME_SHARE = 1e-6
#: Joints of two sides are alike where their shares of the run differ by no more than this.
SHARE_NEAR = 0.05
#: Longest arc that is taken as one cubic, radians.
ARC_PART = math.pi / 8
#: Samples of a segment where a crossing of the axis is looked for.
SAMPLES = 32
#: A corner this near to where the outline crosses the axis was meant to lie on it, mm along it.
CORNER_NEAR = 2.0
_A, _B = "#axis-a", "#axis-b"


def evened(pattern: Pattern, spec: PieceSpec) -> tuple[Pattern, tuple[Finding, ...]]:
    """The pattern evened out about the job's `even`; A320 tells the asymmetry, or what bars it."""
    if spec.even is None:
        return pattern, ()
    where = f"{spec.name} even"
    try:
        axis = axis_of(pattern, spec.even)
        worst, made = _evened_ring(pattern.outline, axis)
        pattern = pattern.reshaped(OUTLINE, made)
        for hole in pattern.holes:
            if len(_crossings(hole.contour.path, axis)) == 2:
                off, made = _evened_ring(hole.contour, axis)
                worst = max(worst, off)
                pattern = pattern.reshaped(hole.name, made)
    except NoSuchEdgeError as why:
        mend = "redraw it, or draw a half and open it (half)"
        return pattern, (fault("A320", where, str(why), mend, piece=spec.name),)
    what = f"the two sides were up to {worst:.2f} mm apart; each is moved half of that"
    return pattern, (note("A320", where, what, piece=spec.name),)


def _evened_ring(ring: Contour, axis: Axis) -> tuple[float, Contour]:
    """How far the ring's two sides were apart, mm, and the even one. Raises NoSuchEdgeError."""
    found = _crossings(ring.path, axis)
    if len(found) != 2:
        raise NoSuchEdgeError(f"the outline crosses the centre line {len(found)} times, not twice")
    for name, at in zip((_A, _B), found, strict=True):
        ring = ring.with_place(name, at)
    right = ring.between(_A, _B)
    left = ring.between(_B, _A).transformed(axis.mirror).reversed()
    worst = max(_apart(right.path, left.path), _apart(left.path, right.path))
    runs, others = _runs(right), _runs(left)
    if len(runs) != len(others):
        counts = f"{len(runs) - 1} corners and the other {len(others) - 1}"
        raise NoSuchEdgeError(f"between the ends of the centre line one side has {counts}")
    means = [_mean(a, b) for a, b in zip(runs, others, strict=True)]
    one, other = strung([a for a, _ in means]), strung([b for _, b in means])
    made = closed_up([one, other.transformed(axis.mirror).reversed()])
    kept = {n: j for n, j in made.places.items() if n not in (_A, _B)}
    return worst, Contour(made.path, MappingProxyType(kept))


def _apart(a: Path, b: Path) -> float:
    return float(directed_deviation(a.flatten(MEASURED), curve(b, MEASURED)).max())


def _crossings(path: Path, axis: Axis) -> list[float]:
    """Arc lengths at which a closed path crosses the axis; a corner near by is the crossing."""
    spots = [(i, k / SAMPLES) for i in range(len(path.segments)) for k in range(SAMPLES)]
    beside = [axis.beside(path.segments[i].point(t)) for i, t in spots]
    sided = [k for k, off in enumerate(beside) if abs(off) > EVEN]
    found = []
    for before, after in zip(sided, [*sided[1:], *sided[:1]], strict=True):
        if beside[before] * beside[after] < 0:
            i, t = spots[(before + 1) % len(spots)] if after != before + 1 else spots[before]
            found.append(_settled(path, axis, i, t, beside[before]))
    return found


def _settled(path: Path, axis: Axis, i: int, t: float, sign: float) -> float:
    """The crossing at or just after a sample, as arc length."""
    segment, low, high = path.segments[i], t, t + 1 / SAMPLES
    if abs(axis.beside(segment.point(low))) > EVEN:
        for _ in range(60):
            middle = (low + high) / 2
            same = axis.beside(segment.point(middle)) * sign > 0
            low, high = (middle, high) if same else (low, middle)
    joints = path.joint_lengths()
    at = joints[i] + (segment.split(low)[0].length() if low > 0 else 0.0)
    total = path.length

    def gap(j: int) -> float:
        return abs((joints[j] - at + total / 2) % total - total / 2)

    near = min(path.corners, key=gap, default=None)
    return joints[near] if near is not None and gap(near) <= CORNER_NEAR else at


def _runs(side: Strand) -> list[Strand]:
    """A side from corner to corner."""
    ends = [0, *sorted(side.path.corners), len(side.path.segments)]
    return [side.part(a, b) for a, b in pairwise(ends)]


def _mean(a: Strand, b: Strand) -> tuple[Strand, Strand]:
    """The mean of two runs, once with the places of each."""
    if not _alike(a, b):
        every = sorted([*_shares(a), *_shares(b), *_arc_shares(a), *_arc_shares(b)])
        kept = [every[0], *(y for x, y in pairwise(every) if y - x > SAME_SHARE)]
        a, b = _split(a, kept), _split(b, kept)
    pairs = zip(a.path.segments, b.path.segments, strict=True)
    segments = [_mean_segments(one, other) for one, other in pairs]
    path = Path(tuple(segments), False, find_corners(segments, False, CORNER_ANGLE))
    return Strand(path, a.places), Strand(path, b.places)


def _alike(a: Strand, b: Strand) -> bool:
    """Drawn of the same kinds of curves with joints at like shares."""
    kinds = [[type(s) for s in run.path.segments] for run in (a, b)]
    gaps = zip(_shares(a), _shares(b), strict=False)
    return kinds[0] == kinds[1] and all(abs(x - y) <= SHARE_NEAR for x, y in gaps)


def _shares(run: Strand) -> list[float]:
    """Each joint's share of the run's length, 0 to 1."""
    lengths = [s.length() for s in run.path.segments]
    return [math.fsum(lengths[:k]) / run.length for k in range(len(lengths))] + [1.0]


def _arc_shares(run: Strand) -> list[float]:
    """Shares at which long arcs are parted, so that each part is a cubic to a millionth."""
    found = []
    for s, (low, high) in zip(run.path.segments, pairwise(_shares(run)), strict=True):
        count = math.ceil(abs(s.sweep) / ARC_PART) if isinstance(s, Arc) else 1
        found += [low + (high - low) * k / count for k in range(1, count)]
    return found


def _split(run: Strand, shares: list[float]) -> Strand:
    """The run with a joint at each share of its length that isn't one already."""
    made: list[Segment] = []
    at = [0]
    for s, (low, high) in zip(run.path.segments, pairwise(_shares(run)), strict=True):
        size = s.length()
        rest: Segment = s
        for share in shares:
            if low + SAME_SHARE < share < high - SAME_SHARE:
                t = rest.at_length((share - low) * run.length - (size - rest.length()))
                head, rest = rest.split(t)
                made.append(head)
        made.append(rest)
        at.append(len(made))
    if len(made) != len(shares) - 1:
        raise NoSuchEdgeError("the two sides are drawn too differently to be evened out")
    places = {n: at[j] for n, j in run.places.items()}
    return Strand(Path(tuple(made), False), MappingProxyType(places))


def _mean_segments(a: Segment, b: Segment) -> Segment:
    if isinstance(a, Line) and isinstance(b, Line):
        return Line((a.start + b.start) / 2, (a.end + b.end) / 2)
    if isinstance(a, Arc) and isinstance(b, Arc):
        return Arc((a.start + b.start) / 2, (a.end + b.end) / 2, (a.bulge + b.bulge) / 2)
    one, other = _cubic(a), _cubic(b)
    return Cubic(
        (one.start + other.start) / 2,
        (one.control1 + other.control1) / 2,
        (one.control2 + other.control2) / 2,
        (one.end + other.end) / 2,
    )


def _cubic(s: Segment) -> Cubic:
    """A line exactly, an arc as the cubic with its tangents and its middle."""
    if isinstance(s, Cubic):
        return s
    if isinstance(s, Line):
        step = (s.end - s.start) / 3
        return Cubic(s.start, s.start + step, s.end - step, s.end)
    reach = 4 / 3 * math.tan(abs(s.sweep) / 4) * s.radius
    return Cubic(s.start, s.start + reach * s.tangent(0.0), s.end - reach * s.tangent(1.0), s.end)
