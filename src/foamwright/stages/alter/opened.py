"""A half drawn against a fold line, opened to the whole that it stands for.

The runs of the outline that lie on the fold fall away; each run between them makes a closed line
with its mirror image: the outermost is the outline, the others openings.  What bears a name gets a
twin, `hem` and `hem'`; places on the fold are their own twins.  What the job asks of the half it
then asks of the twin too (`both_halves`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeVar

from foamwright.findings import Finding, fault
from foamwright.geometry.contour import Contour, Strand, closed_up
from foamwright.geometry.path import Path, joined
from foamwright.geometry.segments import Line
from foamwright.job import Dart, Notch, PieceSpec, Relief
from foamwright.model import Mark, Slit
from foamwright.stages.alter.axis import ON_AXIS, Axis, axis_of, twin
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import START, Hole, Pattern


def opened(pattern: Pattern, spec: PieceSpec) -> tuple[Pattern, tuple[Finding, ...]]:
    """The whole of a half (`half` of the job), exactly symmetric; A319 tells what stands against.

    The fold line itself and an edge that is the fold are gone afterwards.
    """
    if spec.half is None:
        return pattern, ()
    try:
        axis = axis_of(pattern, spec.half)
        whole = _whole(pattern, axis)
    except NoSuchEdgeError as why:
        mend = "draw the fold line on the half's straight edge"
        return pattern, (fault("A319", f"{spec.name} half", str(why), mend, piece=spec.name),)
    return whole, ()


def _whole(pattern: Pattern, axis: Axis) -> Pattern:
    rings = _rings(pattern.outline, axis)
    outline = max(rings, key=lambda r: abs(r.path.area))
    cut_out = [
        Hole(f"fold-opening-{n}", r.with_place(START, 0.0))
        for n, r in enumerate((r for r in rings if r is not outline), 1)
    ]
    whole = replace(
        pattern,
        outline=outline,
        holes=(*_holes(pattern, axis), *cut_out),
        points=_points(pattern.points, axis),
        slits=tuple(s for slit in pattern.slits for s in _slits(slit, axis)),
        marks=tuple(m for mark in pattern.marks for m in _marks(mark, axis)),
    )
    return replace(whole, edges=_edges(pattern, whole, axis))


def _rings(outline: Contour, axis: Axis) -> list[Contour]:
    """The lines that the runs off the fold make with their mirror images."""
    segments = outline.path.segments
    n = len(segments)
    folded = [isinstance(s, Line) and axis.bears(Path((s,), False)) for s in segments]
    if not any(folded):
        raise NoSuchEdgeError("no straight run of the outline lies on the fold line")
    starts = [k for k in range(n) if folded[k - 1] and not folded[k]]
    ends = [k for k in range(n) if not folded[k - 1] and folded[k]]
    if not starts:
        raise NoSuchEdgeError("all of the outline lies on the fold line")
    made = []
    side = 0.0
    for first in starts:
        last = min(ends, key=lambda e: (e - first) % n)
        half = outline.strand(first, last)
        side = side or _side(half, axis)
        if side * _side(half, axis) < 0 or _crosses(half, axis, side):
            raise NoSuchEdgeError("the outline lies on both sides of the fold line")
        made.append(_with_twin(half, axis))
    return made


def _side(half: Strand, axis: Axis) -> float:
    """Which side of the axis a run lies on: the sign of where it is farthest off."""
    spots = [s.point(t) for s in half.path.segments for t in (0.25, 0.5, 0.75)]
    return max((axis.beside(p) for p in spots), key=abs)


def _crosses(half: Strand, axis: Axis, side: float) -> bool:
    points = half.path.flatten(ON_AXIS)
    beside = ((points - axis.at) * axis.along.conjugate()).imag
    return bool((beside * side < -ON_AXIS * abs(side)).any())


def _with_twin(half: Strand, axis: Axis) -> Contour:
    whole = half.ending_at(axis.foot(half.start), axis.foot(half.end))
    ends = {0, len(whole.path.segments)}
    fixed = {name for name, j in whole.places.items() if j in ends}
    image = whole.transformed(axis.mirror).reversed()
    image = image.renamed(lambda name: name if name in fixed else twin(name))
    return closed_up([whole, image.ending_at(whole.end, whole.start)])


def _holes(pattern: Pattern, axis: Axis) -> tuple[Hole, ...]:
    made = []
    for hole in pattern.holes:
        low = [axis.beside(p) for p in hole.contour.path.flatten(ON_AXIS)]
        if min(low) < ON_AXIS and max(low) > -ON_AXIS:
            raise NoSuchEdgeError(
                f"the opening {hole.name} meets the fold line: draw its half as part of the outline"
            )
        image = hole.contour.transformed(axis.mirror)
        image = image.renamed(lambda name: name if name == START else twin(name))
        made += [hole, replace(hole, name=twin(hole.name), contour=image)]
    return tuple(made)


def _points(points: Mapping[str, complex], axis: Axis) -> Mapping[str, complex]:
    made = dict(points)
    for name, p in points.items():
        if abs(axis.beside(p)) > ON_AXIS:
            made[twin(name)] = axis.mirror(p)
    return MappingProxyType(made)


def _slits(slit: Slit, axis: Axis) -> tuple[Slit, ...]:
    """A slit on the fold stays, one that ends on it goes on into its image, others get a twin."""
    if axis.bears(slit.path):
        return (slit,)
    ends = [abs(axis.beside(p)) <= ON_AXIS for p in (slit.path.start, slit.path.end)]
    if any(ends):
        path = slit.path if ends[1] else slit.path.reversed()
        strand = Strand(path).ending_at(path.start, axis.foot(path.end))
        image = (
            strand.transformed(axis.mirror)
            .reversed()
            .ending_at(strand.end, axis.mirror(path.start))
        )
        return (replace(slit, path=joined([strand.path, image.path], closed=False)),)
    return slit, Slit(twin(slit.name), slit.path.transformed(axis.mirror))


def _marks(mark: Mark, axis: Axis) -> tuple[Mark, ...]:
    """The fold line falls away, a mark on the fold stays, others get a twin."""
    straight = mark.shape in ("fold", "line") and all(axis.bears(p) for p in mark.paths)
    if straight:
        return ()
    if abs(axis.beside(mark.at)) <= ON_AXIS:
        return (mark,)
    paths = tuple(p.transformed(axis.mirror) for p in mark.paths)
    return mark, replace(mark, name=twin(mark.name), at=axis.mirror(mark.at), paths=paths)


def _edges(half: Pattern, whole: Pattern, axis: Axis) -> Mapping[str, tuple[str, str]]:
    """The edges that are left, each with its twin, travelled the way of the whole outline.

    Raises NoSuchEdgeError where one runs round the end of the fold.
    """
    rings = (whole.outline, *(h.contour for h in whole.holes))
    there = {name for ring in rings for name in ring.places}
    made: dict[str, tuple[str, str]] = {}
    for name, (first, last) in half.edges.items():
        if {first, last} <= there and _is_fold(half, name, axis):
            continue
        made[name] = first, last
        a, b = (twin(p) if twin(p) in there else p for p in (last, first))
        if {first, last} <= there and (a, b) != (first, last):
            made.setdefault(twin(name), (a, b))
    return MappingProxyType(made)


def _is_fold(half: Pattern, edge: str, axis: Axis) -> bool:
    segments = half.strand(edge).path.segments
    on = [axis.bears(Path((s,), False)) for s in segments]
    if any(on) and not all(on):
        raise NoSuchEdgeError(f"the edge {edge} runs round an end of the fold: end it there")
    return all(on)


def both_halves(spec: PieceSpec, pattern: Pattern) -> PieceSpec:
    """The job's keys of a half, asked of its twin too where the opened pattern has one."""
    if spec.half is None:
        return spec
    names = {*pattern.edges, *(h.name for h in pattern.holes)}
    edges = {n for n in names if twin(n) in names}
    places = {n for n in _places(pattern) if twin(n) in _places(pattern)}
    return spec.model_copy(
        update={
            "fixed": tuple(
                dict.fromkeys([*spec.fixed, *(twin(n) for n in spec.fixed if n in edges)])
            ),
            "at_least": _twinned(spec.at_least, edges),
            "allowance": _twinned(spec.allowance, edges),
            "corners": _twinned(spec.corners, edges | places),
            "carry": (
                *spec.carry,
                *(
                    c.model_copy(update={"edge": twin(c.edge)})
                    for c in spec.carry
                    if c.edge in edges
                ),
            ),
            "notch": _both(spec.notch, edges, places),
            "relief": _both(spec.relief, edges, places),
            "dart": _both_darts(spec.dart, edges, places),
        }
    )


def _places(pattern: Pattern) -> set[str]:
    return {*pattern.points, *(n for c in pattern.rings() for n in c.places)}


Value = TypeVar("Value")
Item = TypeVar("Item", Notch, Relief)


def _twinned(keys: Mapping[str, Value], edges: set[str]) -> dict[str, Value]:
    return {**{twin(k): v for k, v in keys.items() if k in edges}, **keys}


def _both_darts(darts: tuple[Dart, ...], edges: set[str], places: set[str]) -> tuple[Dart, ...]:
    made = list(darts)
    for dart in (d for d in darts if d.edge in edges):
        point = twin(dart.point) if dart.point in places and dart.point else dart.point
        keys = {"edge": twin(dart.edge), "at": dart.at.from_the_other_end, "point": point}
        made.append(dart.model_copy(update=keys))
    return tuple(made)


def _both(items: tuple[Item, ...], edges: set[str], places: set[str]) -> tuple[Item, ...]:
    made = list(items)
    for item in items:
        point = item.point if isinstance(item, Notch) else None
        if point in places:
            made.append(item.model_copy(update={"point": twin(point)}))
        elif item.edge in edges and item.edge is not None and item.at is not None:
            keys = {"edge": twin(item.edge), "at": item.at.from_the_other_end}
            made.append(item.model_copy(update=keys))
    return tuple(made)
