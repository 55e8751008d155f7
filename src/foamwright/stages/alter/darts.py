"""Darts: wedges taken up at an edge, with legs of one length and a relief at the point.

A dart's *mouth* lies on the edge, its *point* inside the piece, as far from both ends of the mouth.
They are places of the pattern, so that every step carries them along and notches can name them
(`dart-1-start`, `dart-1-end`, `dart-1-point`).  Where no allowance lies outside the mouth (foam
that is glued edge to edge) the wedge is cut out, with a round relief at its point so that it does
not tear; elsewhere it is folded: its legs are marked on the face.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from types import MappingProxyType

from foamwright.findings import Finding, fault
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.job import Dart, PieceSpec
from foamwright.model import Mark
from foamwright.stages.alter.bites import Bite
from foamwright.stages.alter.edges import Edge, NoSuchEdgeError
from foamwright.stages.alter.marks import mark_at
from foamwright.stages.alter.notches import MARK_INSET, Set
from foamwright.stages.alter.pattern import Pattern
from foamwright.stages.alter.widths import width_beside

#: Halvings of where the mouth may lie.
HALVINGS = 60
#: How far inside its ends the allowance of a mouth is looked up, mm.
INSIDE = 1e-3

Made = tuple[Pattern, tuple[Finding, ...]]


def darted(pattern: Pattern, spec: PieceSpec) -> Made:
    """The pattern with the places of the job's darts. A356 for one that can't be had."""
    findings = []
    for number, dart in enumerate(spec.dart, 1):
        name = f"dart-{number}"
        try:
            pattern = _placed(pattern, name, dart)
        except NoSuchEdgeError as why:
            mend = "move it along the edge or make it smaller"
            findings.append(fault("A356", f"{spec.name} {name}", str(why), mend, piece=spec.name))
    return pattern, tuple(findings)


def _placed(pattern: Pattern, name: str, dart: Dart) -> Pattern:
    """Raises NoSuchEdgeError."""
    edge = pattern.edge(dart.edge)
    middle = dart.at.along(edge.length)
    point = None if dart.point is None else pattern.spot(dart.point)
    if dart.point is not None:
        if point is None:
            raise NoSuchEdgeError(f"no point {dart.point!r}")
        middle = _evenly_off(edge, middle, dart.width, point)
    ends = middle - dart.width / 2, middle + dart.width / 2
    if ends[0] < 0 or ends[1] > edge.length:
        raise NoSuchEdgeError(
            f"its mouth, from {ends[0]:.1f} to {ends[1]:.1f} mm, reaches beyond the edge "
            f"{dart.edge!r} ({edge.length:.1f})"
        )
    start, end = (edge.place(s) for s in ends)
    between = edge.line.between(start, start + dart.width)
    if between.corners:
        raise NoSuchEdgeError("its mouth lies over a corner")
    if point is None:
        assert dart.depth is not None
        point = (between.start + between.end) / 2 + dart.depth * _inward(between)
    contour = pattern.ring(edge.ring).with_place(f"{name}-start", start)
    contour = contour.with_place(f"{name}-end", end)
    made = pattern.reshaped(edge.ring, contour)
    if pattern.cut_line(edge.ring) is not pattern.ring(edge.ring).path:
        made = made.with_cut(edge.ring, pattern.cut_line(edge.ring))
    return replace(
        made,
        points=MappingProxyType({**pattern.points, f"{name}-point": point}),
        darts=(*pattern.darts, name),
    )


def darts_kept(before: Pattern, after: Pattern, spec: PieceSpec) -> Pattern:
    """`after` with each dart as wide and deep as `before`, about the middle of its mouth.

    An edge that was drawn anew stretches a mouth a little and moves off its point; a point that the
    job names stays.
    """
    made = after
    for number, dart in enumerate(spec.dart, 1):
        name = f"dart-{number}"
        if name in made.darts:
            made = _kept(before, made, name, dart)
    return made


def _kept(before: Pattern, after: Pattern, name: str, dart: Dart) -> Pattern:
    ring, old = _mouth(before, name)
    contour = after.ring(ring)
    if contour == before.ring(ring):
        return after
    _, new = _mouth(after, name)
    middle = contour.along(f"{name}-start") + new.length / 2
    for at, side in (("start", -1), ("end", 1)):
        place = (middle + side * old.length / 2) % contour.length
        contour = contour.with_place(f"{name}-{at}", place)
    made = after.reshaped(ring, contour)
    if dart.point is not None:
        return made
    _, new = _mouth(made, name)
    depth = (before.points[f"{name}-point"] - (old.start + old.end) / 2) / _inward(old)
    point = (new.start + new.end) / 2 + depth.real * _inward(new)
    return replace(made, points=MappingProxyType({**made.points, f"{name}-point": point}))


def _mouth(pattern: Pattern, name: str) -> tuple[str, Path]:
    """The ring of a dart's mouth, and the mouth."""
    (ring, start), (_, end) = (pattern.place(f"{name}-{at}") for at in ("start", "end"))
    path = pattern.ring(ring).path
    return ring, path.between(start, start + (end - start) % path.length)


def _inward(mouth: Path) -> complex:
    chord = mouth.end - mouth.start
    return 1j * chord / abs(chord)


def _evenly_off(edge: Edge, middle: float, width: float, point: complex) -> float:
    """The middle of the mouth, near where it was asked, whose ends lie as far from the point."""

    def uneven(at: float) -> float:
        a, b = (edge.line.point_at(edge.place(at + s * width / 2)) for s in (-1, 1))
        return abs(a - point) - abs(b - point)

    low, high = middle - width / 2, middle + width / 2
    at_low = uneven(low)
    if at_low * uneven(high) > 0:
        raise NoSuchEdgeError("no mouth so wide near there lies evenly before its point")
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if uneven(middle) * at_low > 0 else (low, middle)
    return middle


def dart_cuts(pattern: Pattern, spec: PieceSpec) -> Set:
    """What the darts come to once the allowance is on: wedges to cut out, or legs to mark."""
    found = Set()
    for number, dart in enumerate(spec.dart, 1):
        name = f"dart-{number}"
        if name in pattern.darts:
            found += _cut(pattern, spec, name, dart)
    return found


def _cut(pattern: Pattern, spec: PieceSpec, name: str, dart: Dart) -> Set:
    (ring, start), (_, end) = (pattern.place(f"{name}-{at}") for at in ("start", "end"))
    whole = pattern.ring(ring).length
    width = (end - start) % whole
    inside = (start + INSIDE) % whole, (end - INSIDE) % whole
    allowance = max(width_beside(pattern, spec, ring, at) for at in inside)
    mouth = pattern.ring(ring).path.between(start, start + width)
    asked = pattern.spot(f"{name}-point")
    assert asked is not None
    middle, inward = (mouth.start + mouth.end) / 2, _inward(mouth)
    point = middle + inward * ((asked - middle) * inward.conjugate()).real
    told = next(_against(spec, name, dart, allowance, abs(point - middle)), None)
    if told:
        return Set(findings=(told,))
    if dart.cut or (dart.cut is None and allowance == 0):
        line = pattern.cut_line(ring)
        begin = nearest_length(line, mouth.start)[0]
        depth = ((point - middle) * inward.conjugate()).real
        bite = Bite(name, "dart", begin + width / 2, width, depth, ring, dart.relief / 2)
        return Set(bites=(bite,))
    return Set(marks=tuple(_marks(name, mouth, point, dart.relief, allowance)))


def _against(
    spec: PieceSpec, name: str, dart: Dart, allowance: float, depth: float
) -> Iterator[Finding]:
    where = f"{spec.name} {name}"
    if dart.cut and allowance > 0:
        what = f"an allowance of {allowance:.2f} mm lies outside its mouth and can't be cut with it"
        mend = "let it be folded (cut = false), or leave no allowance on this edge"
        yield fault("A356", where, what, mend, piece=spec.name)
    if dart.relief >= depth:
        what = (
            f"its relief of {dart.relief:.2f} mm is no smaller than the dart, {depth:.2f} mm deep"
        )
        yield fault("A356", where, what, "make the relief smaller", piece=spec.name)


def _marks(
    name: str, mouth: Path, point: complex, relief: float, allowance: float
) -> Iterator[Mark]:
    """The legs as one line, clear of an edge without allowance, and the relief's hole."""
    off = 0.0 if allowance > 0 else MARK_INSET
    ends = [e + off * (point - e) / abs(point - e) for e in (mouth.start, mouth.end)]
    legs = Path.polygon([ends[0], point, ends[1]], closed=False)
    yield Mark(name, "line", ends[0], (legs,))
    if relief > 0:
        yield mark_at(f"{name}-point", "hole", point, relief, None)
