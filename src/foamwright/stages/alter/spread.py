"""An outline slit along a line and opened about its hinge, as an upper is made from a sole.

Terms.  The slit runs from its *mouth*, a place on the outline, to its *hinge*.  The halves of the
outline on both sides of it turn about the hinge, each by half the angle, and what lies in them goes
along; what lies across the slit stays.  The mouth is bridged by a curve that goes on from both
halves.  A hinge on a smooth run of the outline would leave a hollow kink, which is drawn anew over
its `blend`.  With a hinge inside the piece the halves close up beyond it, and what laps is cut off
along the slit's own line.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault, note
from foamwright.geometry.affine import Affine
from foamwright.geometry.bridge import bridge
from foamwright.geometry.contour import Contour, Strand, closed_up
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.job import PieceSpec
from foamwright.job_pattern import Spread
from foamwright.stages.alter.axis import ON_AXIS, Axis
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import OUTLINE, OWN, POINT_REACH, Hole, Pattern

#: The widest that a slit is opened, degrees.
WIDEST = 120.0
#: A wanted width or length is met to this, mm.
MET = 1e-4
#: A dart's mouth is kept to this, mm: half of what the whole chain may be off.
MOUTH_KEPT = 0.005
#: Halvings of the widest angle in which it is.
HALVINGS = 60
#: Flattening where it is judged on which side of the slit something lies, mm.
SIDED = 0.05
_MOUTH, _HINGE = f"{OWN}mouth", f"{OWN}hinge"

Found = tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class _Slit:
    """An outline to be slit. outline: with places at the mouth and where the slit's line ends."""

    outline: Contour
    axis: Axis
    hinge: complex
    laps: bool
    blend: float | None

    @property
    def length(self) -> float:
        return abs(self.hinge - self.axis.at)

    def half(self, angle: float, side: int) -> Affine:
        """The turn of the half on the left (1) or right (-1) of the slit, by half of radians."""
        back = Affine.translation(self.hinge) @ Affine.rotation(-side * math.degrees(angle) / 2)
        return back @ Affine.translation(-self.hinge)


def spread(pattern: Pattern, spec: PieceSpec) -> tuple[Pattern, Found]:
    """The pattern with each of the job's slits opened, one after the other.

    A354 tells how far, or why one can't be opened so.
    """
    findings: list[Finding] = []
    for number, keys in enumerate(spec.spread, 1):
        where = f"{spec.name} spread-{number}"
        try:
            slit = _slit(pattern, keys)
            angle = _angle(pattern, slit, keys)
            opened = _opened(pattern, slit, angle)
            _darts_kept(pattern, opened)
            pattern = opened
        except (NoSuchEdgeError, GeometryError) as why:
            mend = (
                "name a mouth on the outline and a hinge across from it, clear of darts,"
                " and open it less"
            )
            findings.append(fault("A354", where, str(why), mend, piece=spec.name))
            continue
        gap = 2 * slit.length * math.sin(angle / 2)
        what = f"opened by {math.degrees(angle):.2f} degrees: {gap:.2f} mm at its mouth"
        findings.append(note("A354", where, what, piece=spec.name))
    return pattern, tuple(findings)


def _darts_kept(before: Pattern, after: Pattern) -> None:
    """Raises NoSuchEdgeError where a dart's mouth lies at the slit's mouth or in the blend."""
    for dart in before.darts:
        wide = [_mouth(pattern, dart) for pattern in (before, after)]
        if abs(wide[0] - wide[1]) > MOUTH_KEPT:
            said = f"the mouth of {dart}, {wide[0]:.2f} mm wide, would be {wide[1]:.2f} mm"
            raise NoSuchEdgeError(f"{said}: it lies where the outline is drawn anew")


def _mouth(pattern: Pattern, dart: str) -> float:
    ends = [pattern.spot(f"{dart}-{end}") for end in ("start", "end")]
    return math.nan if ends[0] is None or ends[1] is None else abs(ends[1] - ends[0])


def _slit(pattern: Pattern, keys: Spread) -> _Slit:
    """Raises NoSuchEdgeError."""
    mouth, hinge = _ends(pattern, keys)
    path = pattern.outline.path
    start, off = nearest_length(path, mouth)
    if off > POINT_REACH:
        raise NoSuchEdgeError(f"its mouth lies {off:.1f} mm off the outline")
    end, off = nearest_length(path, hinge)
    laps = off > POINT_REACH
    axis = Axis.through(path.point_at(start), hinge if laps else path.point_at(end))
    hinge = hinge if laps else path.point_at(end)
    reach = axis.ahead(hinge)
    beyond = [(axis.ahead(path.point_at(s)), s) for s in axis.crossings(path)]
    beyond = sorted(x for x in beyond if x[0] > POINT_REACH)
    if beyond and beyond[0][0] < reach - POINT_REACH:
        raise NoSuchEdgeError("the slit leaves the piece on its way to the hinge")
    if laps:
        if len(beyond) % 2 == 0:
            raise NoSuchEdgeError("its hinge lies outside the piece")
        end = beyond[0][1]
    outline = pattern.outline.with_place(_MOUTH, start).with_place(_HINGE, end)
    if outline.places[_MOUTH] == outline.places[_HINGE]:
        raise NoSuchEdgeError("its mouth and hinge are one place")
    return _Slit(outline, axis, hinge, laps, keys.blend)


def _ends(pattern: Pattern, keys: Spread) -> tuple[complex, complex]:
    """Mouth and hinge. A drawn line's mouth is the end that lies on the outline."""
    if isinstance(keys.slit, tuple):
        found = [pattern.spot(n) for n in keys.slit]
        if found[0] is None or found[1] is None:
            raise NoSuchEdgeError(f"no place {keys.slit[found[0] is not None]!r}")
        return found[0], found[1]
    drawn = {m.name: m.paths[0] for m in pattern.marks if m.shape in ("fold", "line")}
    drawn |= {s.name: s.path for s in pattern.slits}
    if keys.slit not in drawn:
        raise NoSuchEdgeError(f"no line {keys.slit!r}; there are {', '.join(drawn) or 'none'}")
    ends = drawn[keys.slit].start, drawn[keys.slit].end
    off = [nearest_length(pattern.outline.path, p)[1] for p in ends]
    return ends if off[0] <= POINT_REACH or off[0] <= off[1] else ends[::-1]


def _angle(pattern: Pattern, slit: _Slit, keys: Spread) -> float:
    """How far it is opened, radians. Raises NoSuchEdgeError and GeometryError."""
    if keys.angle is not None:
        return math.radians(keys.angle)
    if keys.gap is not None:
        share = keys.gap / (2 * slit.length)
        if share > math.sin(math.radians(WIDEST) / 2):
            raise NoSuchEdgeError(f"a slit {slit.length:.1f} mm long can't gape {keys.gap:.1f} mm")
        return 2 * math.asin(share)
    if keys.width is not None:
        return _solved(lambda a: _width(_outline(slit, a), slit.axis), keys.width, "wide")
    edge, length = keys.edge or "", keys.length or 0.0
    if pattern.run(edge).ring != OUTLINE:
        raise NoSuchEdgeError(f"{edge} is no edge of the outline")

    def long(angle: float) -> float:
        return pattern.reshaped(OUTLINE, _outline(slit, angle)).edge(edge).length

    return _solved(long, length, "long")


def _width(outline: Contour, axis: Axis) -> float:
    """Extent square to the slit, mm."""
    upright = outline.path.transformed(Affine.rotation(-math.degrees(cmath.phase(axis.along))))
    return upright.bounds[3] - upright.bounds[1]


def _solved(measure: Callable[[float], float], wanted: float, word: str) -> float:
    """The angle, radians, at which a measure is what is wanted. Raises NoSuchEdgeError."""
    low, high = 0.0, math.radians(WIDEST)
    least = measure(low)
    if abs(least - wanted) <= MET:
        return low
    if wanted < least:
        raise NoSuchEdgeError(f"it is {least:.1f} mm {word} before it is opened")
    if measure(high) < wanted:
        raise NoSuchEdgeError(f"it can't be opened until it is {wanted:.1f} mm {word}")
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        miss = measure(middle) - wanted
        if abs(miss) <= MET:
            return middle
        low, high = (middle, high) if miss < 0 else (low, middle)
    raise NoSuchEdgeError(f"it can't be opened until it is {wanted:.1f} mm {word}")


def _outline(slit: _Slit, angle: float) -> Contour:
    """The opened outline. Raises GeometryError."""
    whole = slit.outline
    if angle == 0:
        return whole
    at_mouth, at_hinge = (_names_at(whole, n) for n in (_MOUTH, _HINGE))
    ours = at_mouth | at_hinge
    right = _unnamed(whole.between(_MOUTH, _HINGE), ours).transformed(slit.half(angle, -1))
    left = _unnamed(whole.between(_HINGE, _MOUTH), ours).transformed(slit.half(angle, 1))
    if slit.laps:
        right = _cut_off(right, slit)
        left = _cut_off(left.reversed(), slit).reversed()
    elif whole.places[_HINGE] in whole.path.corners and slit.blend is None:
        hinge = Strand(right.path, MappingProxyType({**right.places, **_at(right, at_hinge)}))
        return closed_up([hinge, left, _bridge(left, right, at_mouth)])
    gap = 2 * slit.length * math.sin(angle / 2)
    reach = gap if slit.blend is None else slit.blend
    gone = min(reach, _smooth(right.reversed()) / 2), min(reach, _smooth(left) / 2)
    shares = _near(right.reversed(), gone[0]), _near(left, gone[1])
    within = frozenset().union(*shares)
    right = _unnamed(right, within).shortened(0, gone[0])
    left = _unnamed(left, within).shortened(gone[1], 0)
    turn = _bridge(right, left, at_hinge)
    made = closed_up([right, turn, left, _bridge(left, right, at_mouth)])
    middle = turn.path.segments[0].length()
    for side, named in zip((-1, 1), shares, strict=True):
        rest = middle if side < 0 else turn.length - middle
        for name, share in named.items():
            made = made.with_place(name, right.length + middle + side * share * rest)
    return made


def _near(strand: Strand, reach: float) -> dict[str, float]:
    """The places less than `reach` (mm) from its start, as shares of that."""
    at = strand.path.joint_lengths()
    return {n: at[j] / reach for n, j in strand.places.items() if j > 0 and at[j] < reach}


def _names_at(contour: Contour, name: str) -> frozenset[str]:
    joint = contour.places[name]
    return frozenset(n for n, j in contour.places.items() if j == joint)


def _unnamed(strand: Strand, names: frozenset[str]) -> Strand:
    places = {n: j for n, j in strand.places.items() if n not in names}
    return Strand(strand.path, MappingProxyType(places))


def _at(strand: Strand, names: frozenset[str]) -> dict[str, int]:
    return dict.fromkeys(names, len(strand.path.segments))


def _smooth(strand: Strand) -> float:
    """How far it runs from its start without a corner, mm."""
    corners = strand.path.corners
    return strand.path.joint_lengths()[min(corners)] if corners else strand.length


def _cut_off(half: Strand, slit: _Slit) -> Strand:
    """A half that runs from the mouth, without what laps over the slit's line beyond the hinge."""
    reach = slit.axis.ahead(slit.hinge)
    found = (s for s in slit.axis.crossings(half.path) if s > 0)
    over = [s for s in found if slit.axis.ahead(half.path.point_at(s)) > reach]
    return half.shortened(0, half.length - over[0]) if over else half


def _bridge(before: Strand, after: Strand, names: frozenset[str]) -> Strand:
    """The curve from one run's end to the next one's start; it bears the names in its middle."""
    ways = before.path.segments[-1].tangent(1.0), after.path.segments[0].tangent(0.0)
    halves = bridge(before.end, ways[0], after.start, ways[1]).split(0.5)
    return Strand(Path(halves, False), MappingProxyType(dict.fromkeys(names, 1)))


def _opened(pattern: Pattern, slit: _Slit, angle: float) -> Pattern:
    """The pattern with its outline opened and what lies in each half turned with it."""
    if angle == 0:
        return pattern
    made = _outline(slit, angle)
    kept = {n: j for n, j in made.places.items() if n not in (_MOUTH, _HINGE)}
    turns = {side: slit.half(angle, side) for side in (1, -1)}

    def holes() -> Iterator[Hole]:
        for hole in pattern.holes:
            m = turns.get(_side(slit.axis, (hole.contour.path,)))
            moved = replace(hole, contour=hole.contour.transformed(m), cut=None) if m else hole
            yield moved

    def points() -> Iterator[tuple[str, complex]]:
        for name, p in pattern.points.items():
            beside = slit.axis.beside(p)
            side = 0 if abs(beside) <= ON_AXIS else (1 if beside > 0 else -1)
            yield name, turns[side](p) if side else p

    return replace(
        pattern,
        outline=Contour(made.path, MappingProxyType(kept)),
        holes=tuple(holes()),
        points=MappingProxyType(dict(points())),
        slits=tuple(
            replace(s, path=s.path.transformed(m))
            if (m := turns.get(_side(slit.axis, (s.path,))))
            else s
            for s in pattern.slits
        ),
        marks=tuple(
            replace(k, at=m(k.at), paths=tuple(p.transformed(m) for p in k.paths))
            if (m := turns.get(_side(slit.axis, k.paths)))
            else k
            for k in pattern.marks
        ),
        cut=None,
    )


def _side(axis: Axis, paths: tuple[Path, ...]) -> int:
    """1 for what lies wholly on the left of the axis, -1 on the right, 0 across or on it."""
    beside = [axis.beside(complex(p)) for path in paths for p in path.flatten(SIDED)]
    if min(beside) > ON_AXIS:
        return 1
    return -1 if max(beside) < -ON_AXIS else 0
