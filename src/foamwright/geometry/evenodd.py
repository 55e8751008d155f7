"""A closed path that crosses itself, as the outlines that lie round it an odd number of times.

Terms.  A *node* is a place where the path meets itself; a *run* is the path from one node to the
next; a *ray* is a run's end as seen from its node.  Round a node, insides and outsides take turns
from ray to ray, so one known side settles all.  Runs stay as drawn: lines, arcs and cubics; only
their ends move, to the node, by rounding.  The even-odd rule is that of SVG 1.1, section 11.3.
Does not mend a path that runs along itself: which of its strands to keep is not the rule's to say.
"""

from __future__ import annotations

import cmath
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path, joined
from foamwright.geometry.region import meeting_chords
from foamwright.geometry.segments import Arc, Cubic, Points, Segment

#: Meetings nearer to each other than this are one node, mm: far below any tool.
ONE_NODE = 1e-4
#: How far from its node a ray's direction is taken at most, mm.
RAY = 0.02
#: Rounds of Newton's method for a crossing of two segments; each doubles the digits.
ROUNDS = 8
#: More meetings than this are no outline.
MOST = 400


@dataclass(frozen=True, slots=True)
class _Run:
    """From node to node along the path."""

    path: Path
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class _Ray:
    """leaves: the run begins at the node; else it ends there."""

    run: int
    leaves: bool
    way: float


def even_odd(path: Path, tolerance: float) -> tuple[Path, ...]:
    """Counter-clockwise outlines of all that a closed path winds round an odd number of times.

    They meet at the path's crossings and nowhere else.  tolerance: mm, how closely the path is
    followed in looking for crossings.  Raises GeometryError where the path runs along itself or
    meets itself more than MOST times.
    """
    nodes, places = _nodes(path, tolerance)
    if not nodes:
        return (path.counter_clockwise(),)
    runs = _runs(path, nodes, places)
    rays = _rays(runs, len(nodes))
    inside = _inside_left(path, runs, rays, tolerance)
    turned = [
        r if left else _Run(r.path.reversed(), r.last, r.first)
        for r, left in zip(runs, inside, strict=True)
    ]
    return tuple(_traced(turned, _rays(turned, len(nodes))))


# Nodes and runs


def _nodes(path: Path, tolerance: float) -> tuple[list[complex], list[tuple[float, int]]]:
    """The places where the path meets itself, and each passage: arc length and node."""
    points, owner, share = _flattened(path, tolerance)
    xy = np.column_stack([points.real, points.imag])
    chords = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    nodes: list[complex] = []
    passages: dict[int, list[float]] = defaultdict(list)
    starts = path.joint_lengths()
    count = 0
    for i, j in meeting_chords(points, True, chords):
        for a, b, met in zip(i, j, shapely.intersection(chords[i], chords[j]), strict=True):
            count += 1
            if met.geom_type != "Point":
                at = met.centroid
                raise GeometryError(f"runs along itself at ({at.x:.2f}, {at.y:.2f}) mm")
            if count > MOST:
                raise GeometryError(f"meets itself more than {MOST} times")
            ends = [_on_chord(points, share, int(k), complex(met.x, met.y)) for k in (a, b)]
            places = [(int(owner[k]), t) for k, t in zip((a, b), ends, strict=True)]
            spot, places = _refined(path.segments, places, complex(met.x, met.y))
            node = _node_at(nodes, spot)
            for k, t in places:
                passages[node].append(starts[k] + _length_to(path.segments[k], t))
    rows = [(s, node) for node, found in passages.items() for s in _distinct(found, path.length)]
    return nodes, sorted(rows)


def _flattened(path: Path, tolerance: float) -> tuple[Points, npt.NDArray[np.intp], Points]:
    """Points along the path, and for each chord its segment, and start and end parameter (re, im).

    Points that fall together are dropped.
    """
    points, owner, share = [path.start], [], []
    for k, s in enumerate(path.segments):
        flat = s.flatten(tolerance)
        steps = np.linspace(0.0, 1.0, len(flat))
        for p, (t, u) in zip(flat[1:], pairwise(steps), strict=True):
            if p != points[-1]:
                points.append(complex(p))
                owner.append(k)
                share.append(complex(t, u))
    return np.array(points), np.array(owner), np.array(share)


def _on_chord(points: Points, share: Points, chord: int, spot: complex) -> float:
    """The segment's parameter at a place on one of its chords."""
    step = points[chord + 1] - points[chord]
    part = ((spot - points[chord]) * step.conjugate()).real / abs(step) ** 2
    return float(share[chord].real + (share[chord].imag - share[chord].real) * part)


def _refined(
    segments: Sequence[Segment], places: list[tuple[int, float]], spot: complex
) -> tuple[complex, list[tuple[int, float]]]:
    """Newton's method on both parameters; where the segments touch, what the chords gave."""
    (i, t), (j, u) = places
    a, b = segments[i], segments[j]
    for _ in range(ROUNDS):
        gap = b.point(u) - a.point(t)
        da, db = _speed(a, t), _speed(b, u)
        turn = (da.conjugate() * db).imag
        if abs(turn) < 1e-6 * abs(da) * abs(db):
            return spot, places
        t += (gap.conjugate() * db).imag / turn
        u += (gap.conjugate() * da).imag / turn
        if not (-0.1 <= t <= 1.1 and -0.1 <= u <= 1.1):
            return spot, places
    t, u = min(1.0, max(0.0, t)), min(1.0, max(0.0, u))
    p, q = a.point(t), b.point(u)
    if abs(p - q) > ONE_NODE or abs(p - spot) > 100 * ONE_NODE:
        return spot, places
    return (p + q) / 2, [(i, t), (j, u)]


def _speed(s: Segment, t: float) -> complex:
    """Change of the point by the parameter."""
    if isinstance(s, Cubic):
        return s.derivative(t)
    return (s.tangent(t) if isinstance(s, Arc) else s.tangent(0.0)) * s.length()


def _node_at(nodes: list[complex], spot: complex) -> int:
    for k, p in enumerate(nodes):
        if abs(p - spot) <= ONE_NODE:
            return k
    nodes.append(spot)
    return len(nodes) - 1


def _length_to(s: Segment, t: float) -> float:
    return s.length_between(0.0, t) if isinstance(s, Cubic) else t * s.length()


def _distinct(lengths: Sequence[float], whole: float) -> list[float]:
    """Passages farther apart than ONE_NODE along the path, which closes at its whole length."""
    kept: list[float] = []
    for s in sorted(n % whole for n in lengths):
        if not kept or s - kept[-1] > 2 * ONE_NODE:
            kept.append(s)
    if len(kept) > 1 and kept[0] + whole - kept[-1] <= 2 * ONE_NODE:
        kept.pop()
    return kept


def _runs(path: Path, nodes: Sequence[complex], places: Sequence[tuple[float, int]]) -> list[_Run]:
    made = []
    for (s, first), (e, last) in pairwise([*places, places[0]]):
        end = e if e > s else e + path.length
        run = _ended(path.between(s, end), nodes[first], nodes[last])
        made.append(_Run(run, first, last))
    return made


def _ended(run: Path, start: complex, end: complex) -> Path:
    """The run with its ends at two nodes."""
    segments = list(run.segments)
    segments[0] = _from(segments[0], start)
    segments[-1] = _from(segments[-1].reversed(), end).reversed()
    return replace(run, segments=tuple(segments))


def _from(s: Segment, start: complex) -> Segment:
    if isinstance(s, Cubic):
        return replace(s, start=start, control1=s.control1 + (start - s.start))
    return replace(s, start=start)


# Sides


def _rays(runs: Sequence[_Run], count: int) -> list[list[_Ray]]:
    """The rays round each node, counter-clockwise."""
    found: list[list[_Ray]] = [[] for _ in range(count)]
    for k, run in enumerate(runs):
        reach = min(RAY, run.path.length / 4)
        ahead = run.path.point_at(reach) - run.path.start
        back = run.path.point_at(run.path.length - reach) - run.path.end
        found[run.first].append(_Ray(k, True, cmath.phase(ahead)))
        found[run.last].append(_Ray(k, False, cmath.phase(back)))
    return [sorted(rays, key=lambda r: r.way) for rays in found]


def _inside_left(
    path: Path, runs: Sequence[_Run], rays: Sequence[Sequence[_Ray]], tolerance: float
) -> list[bool]:
    """For each run whether an inside lies to its left, from one run that is known and outwards."""
    known: dict[int, bool] = {}
    first, left = _known_side(runs, tolerance)
    waiting = [(first, left)]
    while waiting:
        k, left = waiting.pop()
        if k in known:
            continue
        known[k] = left
        for node in {runs[k].first, runs[k].last}:
            at = next(n for n, ray in enumerate(rays[node]) if ray.run == k)
            after = left == rays[node][at].leaves  # whether inside follows that ray
            for n, ray in enumerate(rays[node]):
                follows = after == ((n - at) % 2 == 0)
                waiting.append((ray.run, follows == ray.leaves))
    return [known[k] for k in range(len(runs))]


def _known_side(runs: Sequence[_Run], tolerance: float) -> tuple[int, bool]:
    """The run that reaches farthest left, and whether the inside lies to the left of its travel."""
    flat = [r.path.flatten(tolerance) for r in runs]
    k = min(range(len(runs)), key=lambda n: float(flat[n][1:-1].real.min(initial=np.inf)))
    points = flat[k]
    at = 1 + int(points[1:-1].real.argmin())
    came, goes = points[at] - points[at - 1], points[at + 1] - points[at]
    return k, bool((came.conjugate() * goes).imag > 0)


def _traced(runs: Sequence[_Run], rays: Sequence[Sequence[_Ray]]) -> Iterator[Path]:
    """The boundaries of the insides, each run once; an inside lies to the left of every run."""
    left = set(range(len(runs)))
    while left:
        row = [min(left)]
        while True:
            left.discard(row[-1])
            node = rays[runs[row[-1]].last]
            at = next(n for n, r in enumerate(node) if r.run == row[-1] and not r.leaves)
            onward = node[at - 1].run
            if onward == row[0]:
                break
            row.append(onward)
        yield joined([runs[k].path for k in row], True)
