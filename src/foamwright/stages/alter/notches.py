"""Notches and bend reliefs of the job, found on the stitch line and set into the cut line.

A notch lies in the allowance.  Where there is none (a glued foam edge) it becomes a mark on the
face: a V would leave a hole in the skin.  A relief bends foam: it is cut whatever the allowance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from foamwright.findings import Finding, fault, note
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.job import Notch, PieceSpec, Relief
from foamwright.model import Mark, Slit
from foamwright.stages.alter.bites import Bite
from foamwright.stages.alter.edges import ASIDE, NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern
from foamwright.stages.alter.widths import width_beside

#: Width of a V notch at the edge as a part of its depth, where the job doesn't say.
V_WIDTH = 1.0
#: Distance from the edge at which a notch's mark on the face begins, mm.
MARK_INSET = 1.0
#: What a T notch's bar is wide, as a part of its depth, where the job doesn't say.
T_WIDTH = 0.6
#: Width of the edge that a slit notch keeps to itself, mm; common practice, no source.
SLIT_ROOM = 1.0


@dataclass(frozen=True, slots=True)
class Set:
    """What the notches and reliefs of a piece come to."""

    bites: tuple[Bite, ...] = ()
    slits: tuple[Slit, ...] = ()
    marks: tuple[Mark, ...] = ()
    findings: tuple[Finding, ...] = ()

    def __add__(self, other: Set) -> Set:
        return Set(
            self.bites + other.bites,
            self.slits + other.slits,
            self.marks + other.marks,
            self.findings + other.findings,
        )


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a cut line: the ring that it goes round, arc length on it, and the allowance."""

    ring: str
    line: Path
    at: float
    allowance: float


def notches_and_reliefs(pattern: Pattern, spec: PieceSpec) -> Set:
    """All that a piece's notches and reliefs come to, once its allowance is on."""
    found = Set()
    for number, notch in enumerate(spec.notch, 1):
        for name, shift in _pair(f"notch-{number}", notch):
            found += _at_spot(pattern, spec, notch, name, _notch, shift)
    for number, relief in enumerate(spec.relief, 1):
        found += _at_spot(pattern, spec, relief, f"relief-{number}", _relief)
        if relief.opposite is not None:
            across = {"edge": relief.opposite, "at": relief.at.from_the_other_end}
            other = relief.model_copy(update=across)
            found += _at_spot(pattern, spec, other, f"relief-{number}-opposite", _relief)
    return found


def _pair(name: str, notch: Notch) -> tuple[tuple[str, float], ...]:
    """The notch, or the two of a double one, and how far along each is from the place."""
    if not notch.double:
        return ((name, 0.0),)
    return ((f"{name}-a", -notch.apart / 2), (f"{name}-b", notch.apart / 2))


Item = TypeVar("Item", Notch, Relief)


def _at_spot(
    pattern: Pattern,
    spec: PieceSpec,
    item: Item,
    name: str,
    make: Callable[[str, Spot, Item, str], Set],
    shift: float = 0.0,
) -> Set:
    try:
        return make(pattern.name, _spot(pattern, spec, item, shift), item, name)
    except NoSuchEdgeError as why:
        where = f"{pattern.name} {name}"
        told = fault("A303", where, str(why), "see `foamwright inspect`", piece=pattern.name)
        return Set(findings=(told,))


def spots_of(pattern: Pattern, spec: PieceSpec, notch: Notch) -> tuple[Spot, ...]:
    """Where a notch, or the two of a double one, go on the cut line. Raises NoSuchEdgeError."""
    return tuple(_spot(pattern, spec, notch, shift) for _, shift in _pair("", notch))


def places_of(pattern: Pattern, notch: Notch) -> tuple[tuple[str, float], ...]:
    """The ring and the arc length on its stitch line (mm) of a notch, or of a double one's two.

    Raises NoSuchEdgeError.
    """
    if notch.point is not None:
        ring, at = pattern.place(notch.point)
    else:
        edge = pattern.edge(notch.edge or "")
        assert notch.at is not None
        ring, at = edge.ring, edge.place(notch.at.along(edge.length))
    whole = pattern.ring(ring).length
    return tuple((ring, (at + shift) % whole) for _, shift in _pair("", notch))


def _spot(pattern: Pattern, spec: PieceSpec, item: Notch | Relief, shift: float) -> Spot:
    """Where it goes, `shift` mm beyond its place along the stitch line. Raises NoSuchEdgeError."""
    if isinstance(item, Notch) and item.point is not None:
        ring, at = pattern.place(item.point)
        at = (at + shift) % pattern.ring(ring).length
        width = width_beside(pattern, spec, ring, at)
        return _across(pattern, ring, at, pattern.ring(ring).path.point_at(at), width)
    edge = pattern.edge(item.edge or "")
    assert item.at is not None
    along = item.at.along(edge.length) + shift
    if not 0 <= along <= edge.length:
        raise NoSuchEdgeError(
            f"{along:.1f} mm lies beyond the edge {edge.name!r} ({edge.length:.1f})"
        )
    inside = min(max(along, ASIDE), edge.length - ASIDE)
    width = width_beside(pattern, spec, edge.ring, edge.place(inside))
    return _across(pattern, edge.ring, edge.place(along), edge.beside(along, -width), width)


def _across(pattern: Pattern, ring: str, at: float, beside: complex, width: float) -> Spot:
    """From arc length `at` on the stitch line to the cut line's place nearest to `beside`."""
    cut = pattern.cut_line(ring)
    if cut is pattern.ring(ring).path:
        return Spot(ring, cut, at, 0.0)
    return Spot(ring, cut, nearest_length(cut, beside)[0], width)


def _notch(piece: str, spot: Spot, notch: Notch, name: str) -> Set:
    if spot.allowance <= 0:
        return _face_mark(piece, spot, notch.depth, name)
    if notch.shape == "mark":
        return Set(marks=_face_mark(piece, spot, notch.depth, name).marks)
    if notch.depth >= spot.allowance:
        return Set(findings=(_too_deep(piece, name, notch.depth, spot.allowance),))
    if notch.shape in ("slit", "t"):
        return _slit(piece, spot, notch, name)
    width = notch.width if notch.width is not None else V_WIDTH * notch.depth
    shape = notch.shape if notch.shape in ("castle", "u") else "v"
    return _bite(piece, spot, Bite(name, shape, spot.at, width, notch.depth, spot.ring))


def _relief(piece: str, spot: Spot, relief: Relief, name: str) -> Set:
    return _bite(piece, spot, Bite(name, "v", spot.at, relief.width, relief.depth, spot.ring))


def _bite(piece: str, spot: Spot, bite: Bite) -> Set:
    told = _over_corner(piece, spot, bite)
    return Set(findings=(told,)) if told else Set(bites=(bite,))


def _too_deep(piece: str, name: str, depth: float, allowance: float) -> Finding:
    return fault(
        "A304",
        f"{piece} {name}",
        f"{depth:.2f} mm deep in an allowance of {allowance:.2f} mm: it would reach the stitch "
        "line",
        "make the notch shallower or the allowance wider",
        piece=piece,
    )


def _slit(piece: str, spot: Spot, notch: Notch, name: str) -> Set:
    """A slit notch, with its bar where it is a T; it keeps its place free of other notches."""
    bar = notch.width if notch.width is not None else T_WIDTH * notch.depth
    width = bar if notch.shape == "t" else 0.0
    room = Bite(name, "slit", spot.at, max(width, SLIT_ROOM), notch.depth, spot.ring)
    taken = _bite(piece, spot, room)
    if taken.findings:
        return taken
    edge, along = spot.line.point_at(spot.at), spot.line.tangent_at(spot.at)
    end = edge + 1j * along * notch.depth
    slits = [Slit(name, Path.polygon([edge, end], closed=False))]
    if width > 0:
        ends = [end - along * width / 2, end + along * width / 2]
        slits.append(Slit(f"{name}-bar", Path.polygon(ends, closed=False)))
    return taken + Set(slits=tuple(slits))


def _face_mark(piece: str, spot: Spot, depth: float, name: str) -> Set:
    edge, inward = spot.line.point_at(spot.at), 1j * spot.line.tangent_at(spot.at)
    start = edge + MARK_INSET * inward
    path = Path.polygon([start, start + depth * inward], closed=False)
    told = note(
        "A305",
        f"{piece} {name}",
        "no allowance bears it: a mark on the face instead",
        piece=piece,
    )
    return Set(marks=(Mark(name, "notch", start, (path,)),), findings=(told,))


def _over_corner(piece: str, spot: Spot, bite: Bite) -> Finding | None:
    line, half = spot.line, bite.width / 2
    at, total = line.joint_lengths(), line.length
    for joint in sorted(line.corners):
        gap = abs((at[joint] - bite.middle + total / 2) % total - total / 2)
        if gap <= half:
            corner = line.segments[joint].start
            return fault(
                "A306",
                f"{piece} {bite.name}",
                f"it would cut off the corner at {corner.real:.1f}, {corner.imag:.1f} mm",
                f"move it at least {half - gap:.1f} mm along the edge or make it narrower",
                piece=piece,
            )
    return None
