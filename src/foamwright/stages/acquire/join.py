"""Loose ends of open runs chained into longer runs and closed loops, within a stated tolerance.

Terms: a run is an open shape; a knot is a place where ends of runs lie within reach of each other;
a chain is runs laid end to end.  Only runs of the same groups without a stated role, or with the
role `cut`, are joined: a mark, slit or fold that ends at another stays as drawn.
Ends that agree but for rounding are joined first, then those within the tolerance.  Where more than
two ends meet, a loop that comes back to its knot is closed, then two ends are joined past others
whose chains hang free, then the smoothest continuation is taken where it is clear; all else stays
loose and is told.
Knows nothing of file formats, and never bridges what lies farther apart than the tolerance.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TypeAlias

from foamwright.findings import Finding, note, warning
from foamwright.geometry.path import Path, joined, turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.stages.acquire.shapes import Shape

#: Ends nearer than this agree but for rounding (real files: up to 3.1e-7 units), mm.
ROUNDING = 1e-6
#: Largest turn of a continuation that counts as smooth where more than two ends meet, degrees.
SMOOTH = 15.0
#: How much more any rival of the smoothest continuation must turn, degrees.
CLEARLY = 20.0
#: Two runs whose segments agree within this are one drawn twice, mm.
SAME = 1e-4
#: Most ends in a knot that are weighed against each other: a star has no way through.
MOST_ENDS = 12
#: Most places of one grid cell that others are compared with.
MOST_IN_CELL = 64
#: Most rounds of joining: each settles all knots that it can.
MOST_ROUNDS = 40
#: Findings that name their place, at most.
MOST_TOLD = 20


@dataclass(frozen=True, slots=True)
class _Chain:
    """Runs laid end to end; first: place of its earliest shape in the drawing."""

    first: int
    path: Path

    def end(self, side: int) -> complex:
        """Side 0 is the start, 1 the end."""
        return self.path.end if side else self.path.start

    def outward(self, side: int) -> complex:
        """Direction of travel of someone who leaves the chain at that side."""
        if side:
            return self.path.segments[-1].tangent(1.0)
        return -self.path.segments[0].tangent(0.0)


#: An end of a chain: the chain's place in the list, and its side.
_End: TypeAlias = tuple[int, int]
_Pairs: TypeAlias = list[tuple[_End, _End]]


@dataclass
class _Told:
    gaps: list[tuple[float, complex]]
    knots: list[tuple[int, complex]]
    specks: list[complex] = field(default_factory=list)
    doubled: list[complex] = field(default_factory=list)
    shared: list[complex] = field(default_factory=list)


def join_loose(
    shapes: Iterable[Shape], tolerance: float, corner_angle: float, where: str
) -> tuple[tuple[Shape, ...], tuple[Finding, ...]]:
    """The shapes with their loose ends joined, in drawing order, and what was done.

    tolerance: mm, the widest gap that is closed; both ends then move to its middle.  corner_angle:
    degrees.  where: the file's name.  A joined shape keeps the names and place of its earliest run,
    and that run's direction.
    """
    kept, repeated = without_doubles(shapes)
    loose: dict[tuple[tuple[str, ...], str | None], list[int]] = defaultdict(list)
    for i, s in enumerate(kept):
        if not s.path.closed and s.role in (None, "cut"):
            loose[s.groups, s.role].append(i)
    told = _Told([], [])
    made = dict(enumerate(kept))
    for members in loose.values():
        chains = [_Chain(i, made.pop(i).path) for i in members]
        for chain in _chained(chains, tolerance, corner_angle, told):
            first = kept[chain.first]
            kind = first.kind if chain.path is first.path else ""  # of one run alone
            made[chain.first] = replace(first, path=chain.path, kind=kind)
    told.shared = [kept[i].path.start for i in sorted(set(repeated)) if _divides(made.get(i))]
    result, again = without_doubles(made[i] for i in sorted(made))
    told.doubled = [s[i].path.start for s, row in ((kept, repeated), (result, again)) for i in row]
    return result, tuple(_findings(told, tolerance, where))


def _divides(s: Shape | None) -> bool:
    """A line drawn twice that closed nothing: it may be the common edge of two pieces."""
    return s is not None and not s.path.closed and s.role in (None, "cut")


def _chained(
    chains: list[_Chain], tolerance: float, corner_angle: float, told: _Told
) -> list[_Chain]:
    """Ends that agree but for rounding first, then those within the tolerance."""
    for reach in (min(ROUNDING, tolerance), tolerance):
        shortest = tolerance if reach == tolerance else 0.0
        whole: list[_Chain] = []
        for c in chains:
            if c.path.closed or c.path.length > shortest:
                whole.append(c)
            else:
                told.specks.append(c.path.start)
        chains = _linked(whole, reach, corner_angle, told)
    crowded = (k for k in _knots(chains, tolerance) if len(k) > 2)
    told.knots += [(len(k), _place(chains, k[0])) for k in crowded]
    return chains


def _linked(chains: list[_Chain], reach: float, corner_angle: float, told: _Told) -> list[_Chain]:
    """Joined by the plainest rule that finds something, until none does."""
    for _ in range(MOST_ROUNDS):
        knots = _knots(chains, reach)
        pairs: _Pairs = []
        for rule in (_plain_pairs, _loops, _past_tails, _smooth_pairs):
            pairs = rule(chains, knots, reach)
            if pairs:
                break
        if not pairs:
            break
        chains = _paired(chains, pairs, corner_angle, told)
    return chains


def _place(chains: Sequence[_Chain], end: _End) -> complex:
    return chains[end[0]].end(end[1])


def _knots(chains: Sequence[_Chain], reach: float) -> list[list[_End]]:
    """Ends that lie within reach of each other, directly or through others; two at least."""
    spots: dict[complex, list[_End]] = defaultdict(list)
    for i, c in enumerate(chains):
        if not c.path.closed:
            spots[c.end(0)].append((i, 0))
            spots[c.end(1)].append((i, 1))
    parent = list(range(len(spots)))

    def root(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    for a, b in near_pairs(list(spots), reach):
        low, high = sorted((root(a), root(b)))
        parent[high] = low
    groups: dict[int, list[_End]] = defaultdict(list)
    for k, ends in enumerate(spots.values()):
        groups[root(k)] += ends
    return [sorted(g) for g in groups.values() if len(g) > 1]


def near_pairs(places: Sequence[complex], reach: float) -> Iterator[tuple[int, int]]:
    """Pairs of places no farther apart than reach, by a grid of cells twice as wide.

    In a cell with more than MOST_IN_CELL places the later ones meet the earlier ones only.
    """
    size = 2 * reach if reach > 0 else 1.0
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    for k, p in enumerate(places):
        x, y = math.floor(p.real / size), math.floor(p.imag / size)
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                for other in cells.get((x + dx, y + dy), ()):
                    if abs(places[other] - p) <= reach:
                        yield other, k
        if len(cells[x, y]) < MOST_IN_CELL:
            cells[x, y].append(k)


def _plain_pairs(chains: Sequence[_Chain], knots: list[list[_End]], reach: float) -> _Pairs:
    """Knots of just two ends. A chain bends back on itself only where it is longer than that."""
    return [
        (k[0], k[1])
        for k in knots
        if len(k) == 2 and not (k[0][0] == k[1][0] and not _can_close(chains[k[0][0]], reach))
    ]


def _can_close(chain: _Chain, reach: float) -> bool:
    return abs(chain.end(0) - chain.end(1)) <= reach and chain.path.length > 4 * reach


def _loops(chains: Sequence[_Chain], knots: list[list[_End]], reach: float) -> _Pairs:
    """Chains whose two ends lie in the same crowded knot: loops that touch something there."""
    found: _Pairs = []
    for knot in knots:
        twice = [i for i, count in Counter(i for i, _ in knot).items() if count == 2]
        found += [((i, 0), (i, 1)) for i in twice if _can_close(chains[i], reach)]
    return found


def _past_tails(chains: Sequence[_Chain], knots: list[list[_End]], reach: float) -> _Pairs:
    """Crowded knots where all but two ends belong to chains whose other end hangs free."""
    tied = {end for knot in knots for end in knot}
    found: _Pairs = []
    for knot in knots:
        through = [(i, side) for i, side in knot if (i, 1 - side) in tied]
        if len(through) == 2 and through[0][0] != through[1][0]:
            found.append((through[0], through[1]))
    return found


def _smooth_pairs(chains: Sequence[_Chain], knots: list[list[_End]], reach: float) -> _Pairs:
    """In crowded knots, pairs that run on smoothly while every rival clearly turns more."""
    found: _Pairs = []
    for knot in knots:
        if 2 < len(knot) <= MOST_ENDS:
            found += _smoothest(chains, knot)
    return found


def _smoothest(chains: Sequence[_Chain], knot: Sequence[_End]) -> _Pairs:
    turns: dict[tuple[_End, _End], float] = {}
    for a, b in combinations(knot, 2):
        if a[0] != b[0]:
            onward = -chains[b[0]].outward(b[1])
            turns[a, b] = abs(turn_degrees(chains[a[0]].outward(a[1]), onward))
    found: _Pairs = []
    taken: set[_End] = set()
    for (a, b), turn in sorted(turns.items(), key=lambda row: row[1]):
        if turn > SMOOTH or taken & {a, b}:
            continue
        rivals = [
            t
            for pair, t in turns.items()
            if pair != (a, b) and {a, b} & set(pair) and not taken & set(pair)
        ]
        if all(t > turn + CLEARLY for t in rivals):
            found.append((a, b))
            taken |= {a, b}
    return found


def _paired(
    chains: Sequence[_Chain], pairs: _Pairs, corner_angle: float, told: _Told
) -> list[_Chain]:
    """The chains laid together where two ends were paired; every end is in one pair at most."""
    partner = dict(pairs) | {b: a for a, b in pairs}
    used: set[int] = set()
    made: list[_Chain] = []
    for i, chain in enumerate(chains):
        if i in used:
            continue
        row, closed = _row(i, partner)
        used.update(k for k, _ in row)
        if len(row) == 1 and not closed:
            made.append(chain)
            continue
        paths = [chains[k].path.reversed() if side else chains[k].path for k, side in row]
        made.append(_Chain(chain.first, _laid(paths, closed, corner_angle, told)))
    return made


def _row(i: int, partner: Mapping[_End, _End]) -> tuple[list[_End], bool]:
    """The chains in order of travel, each with the side that it is entered by; whether it closes.

    The row runs in the direction of chain i, which comes first where the row closes.
    """
    ahead: list[_End] = [(i, 0)]
    while (entered := partner.get((ahead[-1][0], 1 - ahead[-1][1]))) is not None:
        if entered[0] == i:
            return ahead, True
        ahead.append(entered)
    behind: list[_End] = []
    left = (i, 0)
    while (met := partner.get(left)) is not None:
        # met is the side that the chain before is left by
        left = (met[0], 1 - met[1])
        behind.append(left)
    return [*reversed(behind), *ahead], False


def _laid(paths: list[Path], closed: bool, corner_angle: float, told: _Told) -> Path:
    """The paths end to end, both ends at a gap moved to its middle."""
    count = len(paths)
    for k in range(count if closed else count - 1):
        after = (k + 1) % count
        gap = abs(paths[k].end - paths[after].start)
        if gap > 0:
            middle = (paths[k].end + paths[after].start) / 2
            if gap > ROUNDING:
                told.gaps.append((gap, middle))
            paths[k] = _end_moved(paths[k], middle)
            paths[after] = _end_moved(paths[after].reversed(), middle).reversed()
    return joined(paths, closed, corner_angle)


def _end_moved(path: Path, to: complex) -> Path:
    """The path with its last point at `to`; a last segment within the move is left out."""
    segments = list(path.segments)
    move = abs(to - path.end)
    while len(segments) > 1 and abs(segments[-1].start - to) <= move:
        segments.pop()
    segments[-1:] = _moved(segments[-1], to)
    return Path(tuple(segments), False, frozenset(c for c in path.corners if c < len(segments)))


def _moved(s: Segment, to: complex) -> list[Segment]:
    """An arc keeps its sweep (one wider than half a circle in two), a cubic its end's direction."""
    if isinstance(s, Cubic):
        return [Cubic(s.start, s.control1, s.control2 + (to - s.end), to)]
    if isinstance(s, Arc):
        if abs(s.bulge) <= 1:
            return [Arc(s.start, to, s.bulge)]
        first, second = s.split(0.5)
        return [first, *_moved(second, to)]
    return [Line(s.start, to)]


def without_doubles(shapes: Iterable[Shape]) -> tuple[tuple[Shape, ...], list[int]]:
    """The shapes without those that repeat an earlier one of the same groups and role.

    Direction and, for closed ones, the starting point don't matter.  Besides: for each that was
    left out, the place in the first of the one that it repeats.
    """
    kept: list[Shape] = []
    repeated: list[int] = []
    cells: dict[tuple[object, ...], list[int]] = defaultdict(list)
    size = 4 * SAME
    for s in shapes:
        middle = _middle(s.path)
        x, y = math.floor(middle.real / size), math.floor(middle.imag / size)
        kind = (s.groups, s.role, s.path.closed, len(s.path.segments))
        near = ((*kind, x + dx, y + dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1))
        rivals = (i for cell in near for i in cells.get(cell, ()))
        twin = next((i for i in rivals if _same(kept[i].path, s.path)), None)
        if twin is None:
            cells[*kind, x, y].append(len(kept))
            kept.append(s)
        else:
            repeated.append(twin)
    return tuple(kept), repeated


def _middle(path: Path) -> complex:
    """A place that direction and starting point don't change."""
    if not path.closed:
        return (path.start + path.end) / 2
    box = path.bounds
    return complex(box[0] + box[2], box[1] + box[3]) / 2


def _same(a: Path, b: Path) -> bool:
    """True where the segments of one agree with those of the other, in either direction."""
    return any(
        _agree(a.segments[k:] + a.segments[:k], way.segments)
        for way in (b, b.reversed())
        for k in (range(len(a.segments)) if a.closed else (0,))
        if abs(a.segments[k].start - way.start) <= SAME
    )


def _agree(a: Sequence[Segment], b: Sequence[Segment]) -> bool:
    """Ends and quarter points agree, one by one."""
    return all(
        abs(s.point(t) - r.point(t)) <= SAME
        for s, r in zip(a, b, strict=True)
        for t in (0.25, 0.5, 0.75, 1.0)
    )


def _findings(told: _Told, tolerance: float, where: str) -> Iterator[Finding]:
    if told.gaps:
        worst, place = max(told.gaps, key=lambda g: g[0])
        what = f"{len(told.gaps)} gaps closed within {tolerance:g} mm, the widest {worst:.3g} mm"
        spots = [p for _, p in told.gaps]
        yield note("R109", where, f"{what} at {_at(place)}", spots=spots)
    if told.doubled:
        places = ", ".join(_at(p) for p in told.doubled[:3])
        what = f"{len(told.doubled)} lines drawn twice, kept once: at {places}"
        yield note("R401", where, what, spots=told.doubled)
    if told.shared:
        what = f"{len(told.shared)} lines drawn twice close no outline, at {_at(told.shared[0])}"
        mend = "where two pieces share an edge, draw each as one closed polyline"
        yield warning("R404", where, what, mend, spots=told.shared)
    if told.specks:
        what = f"{len(told.specks)} loose lines no longer than {tolerance:g} mm are left out"
        what += f", the first at {_at(told.specks[0])}"
        yield note("R402", where, what, spots=told.specks)
    for count, place in told.knots[:MOST_TOLD]:
        what = f"{count} loose ends meet at {_at(place)} and none clearly runs on"
        mend = "put outlines and inner lines on layers of their own"
        yield warning("R403", where, what, mend, spots=[place])
    if len(told.knots) > MOST_TOLD:
        yield warning("R403", where, f"{len(told.knots) - MOST_TOLD} more such places")


def _at(p: complex) -> str:
    return f"({p.real:.3f}, {p.imag:.3f}) mm"
