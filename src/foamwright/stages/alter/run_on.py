"""Corners of an inset that lie on curves: an edge runs straight on until it meets the next.

A parallel's mitre follows tangents.  Beside a hollow curve that leaves a sliver between the curve
and its tangent, which an inset must not keep.
"""

from __future__ import annotations

from foamwright.geometry.offset_edges import EdgeParallel
from foamwright.geometry.path import Path, joined
from foamwright.geometry.segments import Line, Segment

#: Steps along a segment in which the line that runs on to it is looked for.
STEPS = 64
#: Halvings of a step: to the last digit.
HALVINGS = 60

#: A segment and the edge that it lies along; None: a join made it.
Told = tuple[Segment, int | None]


def run_on(inner: EdgeParallel) -> EdgeParallel:
    """The parallel with each join left out where an edge beside it, run on, meets the other."""
    told: list[Told] = list(zip(inner.path.segments, inner.edges, strict=True))
    first = next((k for k, (_, edge) in enumerate(told) if edge is not None), None)
    if first is None or None not in inner.edges:
        return inner
    told = [*told[first:], *told[:first]]
    made, joins = [told[0]], list[Told]()
    for item in [*told[1:], None]:
        if item is not None and item[1] is None:
            joins.append(item)
            continue
        following = item or made[0]
        met = _met(made[-1][0], sum(s.length() for s, _ in joins), following[0]) if joins else None
        if met is None:
            made += joins
        else:
            made[-1:] = [(s, made[-1][1]) for s in met[0]]
            following = (met[1], following[1])
        joins = []
        if item is None:
            made[0] = following
        else:
            made.append(following)
    path = joined([Path((s,), False) for s, _ in made], closed=True)
    return EdgeParallel(path, tuple(edge for _, edge in made), inner.exact)


def _met(
    before: Segment, reach: float, after: Segment
) -> tuple[tuple[Segment, ...], Segment] | None:
    """Two edges that meet where one runs on for at most `reach` mm; None where neither does."""
    t = _hit(before, reach, after)
    if t is not None:
        tail = after.split(t)[1]
        return _longer(before, tail.start), tail
    t = _hit(after.reversed(), reach, before)
    if t is not None:
        head = before.split(t)[0]
        *joins, tail = (s.reversed() for s in reversed(_longer(after.reversed(), head.end)))
        return (head, *joins), tail
    return None


def _longer(s: Segment, end: complex) -> tuple[Segment, ...]:
    return (Line(s.start, end),) if isinstance(s, Line) else (s, Line(s.end, end))


def _hit(s: Segment, reach: float, other: Segment) -> float | None:
    """The parameter at which `other` is first met by s, run straight on beyond its end."""
    at, along = s.end, s.tangent(1.0)

    def local(t: float) -> complex:
        return (other.point(t) - at) * along.conjugate()

    for k in range(STEPS):
        low, high = k / STEPS, (k + 1) / STEPS
        if local(low).imag * local(high).imag >= 0:
            continue
        side = local(low).imag > 0
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if (local(middle).imag > 0) == side else (low, middle)
        if 0 <= local(low).real <= reach and low > 0:
            return low
    return None
