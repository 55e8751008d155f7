"""Notches and bend reliefs of the job, found on the stitch line and set into the cut line.

A notch lies in the allowance.  Where there is none (a glued foam edge) it becomes a mark on the
face: a V would leave a hole in the skin.  A relief bends foam: it is cut whatever the allowance.
"""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.findings import Finding, fault, note
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.job import Notch, PieceSpec, Relief
from foamwright.model import Mark, Piece, Slit
from foamwright.stages.alter.bites import Bite
from foamwright.stages.alter.edges import NoSuchEdgeError, carried, edge_of, end_of

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
class Ground:
    """What notches are set into. piece: scaled as drawn.  inward: how far inside its outline the
    cut line lies, mm (negative: outside).
    """

    piece: Piece
    cut_line: Path
    spec: PieceSpec
    inward: float


def notches_and_reliefs(piece: Piece, cut_line: Path, spec: PieceSpec, inward: float) -> Set:
    """All that a piece's notches and reliefs come to; arguments as in `Ground`."""
    ground = Ground(piece, cut_line, spec, inward)
    found = Set()
    for number, notch in enumerate(spec.notch, 1):
        found += _notch(ground, notch, f"notch-{number}")
    for number, relief in enumerate(spec.relief, 1):
        found += _relief(ground, relief, f"relief-{number}")
    return found


def _place(ground: Ground, item: Notch | Relief) -> float:
    """Arc length on the cut line. Raises NoSuchEdgeError.

    Edges are measured on the line that the drawing shows: the stitch line, or the cut line.
    """
    outline, cut_line = ground.piece.outline, ground.cut_line
    point = getattr(item, "point", None)
    if point is not None:
        at = end_of(ground.piece, point)
        return at if cut_line is outline else nearest_length(cut_line, outline.point_at(at))[0]
    edge = edge_of(ground.piece, item.edge or "", ground.spec.edges)
    if edge.line is not outline:
        raise NoSuchEdgeError(f"{edge.name!r} is an opening; notches go on the outline")
    if ground.spec.drawn == "cut-line" and cut_line is not outline:
        edge = carried(edge, cut_line, ground.inward)
    assert item.at is not None
    along = item.at.along(edge.length)
    if not 0 <= along <= edge.length:
        raise NoSuchEdgeError(
            f"{along:.1f} mm lies beyond the edge {edge.name!r} ({edge.length:.1f})"
        )
    if edge.line is cut_line:
        return edge.place(along)
    return nearest_length(cut_line, edge.beside(along, ground.inward))[0]


def _notch(ground: Ground, notch: Notch, name: str) -> Set:
    try:
        s = _place(ground, notch)
    except NoSuchEdgeError as why:
        return Set(findings=(_unplaced(ground.piece, name, why),))
    allowance = ground.spec.allowance_width
    if allowance <= 0:
        return _face_mark(ground, s, notch.depth, name)
    if notch.depth >= allowance:
        return Set(findings=(_too_deep(ground.piece, name, notch.depth, allowance),))
    if notch.shape in ("slit", "t"):
        return _slit(ground, s, notch, name)
    width = notch.width if notch.width is not None else V_WIDTH * notch.depth
    shape = notch.shape if notch.shape in ("castle", "u") else "v"
    return _bite(ground, Bite(name, shape, s, width, notch.depth))


def _relief(ground: Ground, relief: Relief, name: str) -> Set:
    try:
        s = _place(ground, relief)
    except NoSuchEdgeError as why:
        return Set(findings=(_unplaced(ground.piece, name, why),))
    return _bite(ground, Bite(name, "v", s, relief.width, relief.depth))


def _bite(ground: Ground, bite: Bite) -> Set:
    told = _over_corner(ground, bite)
    return Set(findings=(told,)) if told else Set(bites=(bite,))


def _too_deep(piece: Piece, name: str, depth: float, allowance: float) -> Finding:
    return fault(
        "A304",
        f"{piece.name} {name}",
        f"{depth:.2f} mm deep in an allowance of {allowance:.2f} mm: it would reach the stitch "
        "line",
        "make the notch shallower or the allowance wider",
        piece=piece.name,
    )


def _slit(ground: Ground, s: float, notch: Notch, name: str) -> Set:
    """A slit notch, with its bar where it is a T; it keeps its place free of other notches."""
    bar = notch.width if notch.width is not None else T_WIDTH * notch.depth
    width = bar if notch.shape == "t" else 0.0
    taken = _bite(ground, Bite(name, "slit", s, max(width, SLIT_ROOM), notch.depth))
    if taken.findings:
        return taken
    edge, along = ground.cut_line.point_at(s), ground.cut_line.tangent_at(s)
    end = edge + 1j * along * notch.depth
    slits = [Slit(name, Path.polygon([edge, end], closed=False))]
    if width > 0:
        ends = [end - along * width / 2, end + along * width / 2]
        slits.append(Slit(f"{name}-bar", Path.polygon(ends, closed=False)))
    return taken + Set(slits=tuple(slits))


def _face_mark(ground: Ground, s: float, depth: float, name: str) -> Set:
    edge, inward = ground.cut_line.point_at(s), 1j * ground.cut_line.tangent_at(s)
    start = edge + MARK_INSET * inward
    path = Path.polygon([start, start + depth * inward], closed=False)
    told = note(
        "A305",
        f"{ground.piece.name} {name}",
        "no allowance bears it: a mark on the face instead",
        piece=ground.piece.name,
    )
    return Set(marks=(Mark(name, "notch", start, (path,)),), findings=(told,))


def _over_corner(ground: Ground, bite: Bite) -> Finding | None:
    line, half = ground.cut_line, bite.width / 2
    at, total = line.joint_lengths(), line.length
    for joint in sorted(line.corners):
        gap = abs((at[joint] - bite.middle + total / 2) % total - total / 2)
        if gap <= half:
            spot = line.segments[joint].start
            return fault(
                "A306",
                f"{ground.piece.name} {bite.name}",
                f"it would cut off the corner at {spot.real:.1f}, {spot.imag:.1f} mm",
                f"move it at least {half - gap:.1f} mm along the edge or make it narrower",
                piece=ground.piece.name,
            )
    return None


def _unplaced(piece: Piece, name: str, why: NoSuchEdgeError) -> Finding:
    return fault(
        "A303", f"{piece.name} {name}", str(why), "see `foamwright inspect`", piece=piece.name
    )
