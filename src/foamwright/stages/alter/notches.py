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
from foamwright.stages.alter.edges import NoSuchEdgeError, edge_of, end_of

#: Width of a V notch at the edge as a part of its depth, where the job doesn't say.
V_WIDTH = 1.0
#: Distance from the edge at which a notch's mark on the face begins, mm.
MARK_INSET = 1.0
#: What a T notch's bar is wide, as a part of its depth, where the job doesn't say.
T_WIDTH = 0.6


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


def notches_and_reliefs(piece: Piece, cut_line: Path, spec: PieceSpec) -> Set:
    """piece: scaled, its outline being the line that edges are measured on."""
    found = Set()
    for number, notch in enumerate(spec.notch, 1):
        found += _notch(piece, cut_line, spec, notch, f"notch-{number}")
    for number, relief in enumerate(spec.relief, 1):
        found += _relief(piece, cut_line, spec, relief, f"relief-{number}")
    return found


def _place(piece: Piece, spec: PieceSpec, item: Notch | Relief) -> float:
    """Arc length on the piece's outline. Raises NoSuchEdgeError."""
    point = getattr(item, "point", None)
    if point is not None:
        return end_of(piece, point)
    edge = edge_of(piece, item.edge or "", spec.edges)
    if edge.line is not piece.outline:
        raise NoSuchEdgeError(f"{edge.name!r} is an opening; notches go on the outline")
    assert item.at is not None
    along = item.at.along(edge.length)
    if not 0 <= along <= edge.length:
        raise NoSuchEdgeError(
            f"{along:.1f} mm lies beyond the edge {edge.name!r} ({edge.length:.1f})"
        )
    return edge.place(along)


def _on_cut_line(piece: Piece, cut_line: Path, at: float) -> float:
    """Arc length on the cut line across from a place on the piece's outline."""
    if cut_line is piece.outline:
        return at
    return nearest_length(cut_line, piece.outline.point_at(at))[0]


def _notch(piece: Piece, cut_line: Path, spec: PieceSpec, notch: Notch, name: str) -> Set:
    try:
        at = _place(piece, spec, notch)
    except NoSuchEdgeError as why:
        return Set(findings=(_unplaced(piece, name, why),))
    allowance = spec.allowance_width
    if allowance <= 0:
        return _face_mark(piece, cut_line, at, notch.depth, name)
    if notch.depth >= allowance:
        return Set(
            findings=(
                fault(
                    "A304",
                    f"{piece.name} {name}",
                    f"{notch.depth:.2f} mm deep in an allowance of {allowance:.2f} mm: it would "
                    "reach the stitch line",
                    "make the notch shallower or the allowance wider",
                    piece=piece.name,
                ),
            )
        )
    s = _on_cut_line(piece, cut_line, at)
    if notch.shape in ("slit", "t"):
        return Set(slits=tuple(_slits(cut_line, s, notch, name)))
    width = notch.width if notch.width is not None else V_WIDTH * notch.depth
    fault_found = _over_corner(piece, cut_line, s, width, name)
    if fault_found:
        return Set(findings=(fault_found,))
    shape = notch.shape if notch.shape in ("castle", "u") else "v"
    return Set(bites=(Bite(name, shape, s, width, notch.depth),))


def _relief(piece: Piece, cut_line: Path, spec: PieceSpec, relief: Relief, name: str) -> Set:
    try:
        at = _place(piece, spec, relief)
    except NoSuchEdgeError as why:
        return Set(findings=(_unplaced(piece, name, why),))
    s = _on_cut_line(piece, cut_line, at)
    fault_found = _over_corner(piece, cut_line, s, relief.width, name)
    if fault_found:
        return Set(findings=(fault_found,))
    return Set(bites=(Bite(name, "v", s, relief.width, relief.depth),))


def _slits(cut_line: Path, s: float, notch: Notch, name: str) -> list[Slit]:
    edge, along = cut_line.point_at(s), cut_line.tangent_at(s)
    end = edge + 1j * along * notch.depth
    slits = [Slit(name, Path.polygon([edge, end], closed=False))]
    if notch.shape == "t":
        half = along * (notch.width if notch.width is not None else T_WIDTH * notch.depth) / 2
        slits.append(Slit(f"{name}-bar", Path.polygon([end - half, end + half], closed=False)))
    return slits


def _face_mark(piece: Piece, cut_line: Path, at: float, depth: float, name: str) -> Set:
    s = _on_cut_line(piece, cut_line, at)
    edge, inward = cut_line.point_at(s), 1j * cut_line.tangent_at(s)
    start = edge + MARK_INSET * inward
    path = Path.polygon([start, start + depth * inward], closed=False)
    told = note(
        "A305",
        f"{piece.name} {name}",
        "no allowance bears it: a mark on the face instead",
        piece=piece.name,
    )
    return Set(marks=(Mark(name, "notch", start, (path,)),), findings=(told,))


def _over_corner(piece: Piece, cut_line: Path, s: float, width: float, name: str) -> Finding | None:
    at, total = cut_line.joint_lengths(), cut_line.length
    for joint in sorted(cut_line.corners):
        gap = abs((at[joint] - s + total / 2) % total - total / 2)
        if gap <= width / 2:
            spot = cut_line.segments[joint].start
            return fault(
                "A306",
                f"{piece.name} {name}",
                f"it would cut off the corner at {spot.real:.1f}, {spot.imag:.1f} mm",
                f"move it at least {width / 2 - gap:.1f} mm along the edge or make it narrower",
                piece=piece.name,
            )
    return None


def _unplaced(piece: Piece, name: str, why: NoSuchEdgeError) -> Finding:
    return fault(
        "A303", f"{piece.name} {name}", str(why), "see `foamwright inspect`", piece=piece.name
    )
