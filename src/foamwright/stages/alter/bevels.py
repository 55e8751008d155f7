"""Bevelled edges: no tool here cuts on a slant, so a bevel becomes a line on the face.

The edge is cut square.  A bevel leans by its `angle` from square, so over a thickness t it takes
t tan(angle) off one face: the line lies so far inside the edge, and the hand cuts from it down to
the edge at the other face.  Does not judge whether the stock bears it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from foamwright.findings import Finding, fault, warning
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.offset import offset
from foamwright.geometry.path import Path
from foamwright.job import Bevel, PieceSpec
from foamwright.model import Mark, Piece
from foamwright.stages.alter.edges import Edge, NoSuchEdgeError, directions
from foamwright.stages.alter.pattern import OUTLINE, Pattern

#: mm of length that the whole ring and an edge on it may differ by and be the same.
SAME = 1e-6


def bevelled(
    piece: Piece,
    pattern: Pattern,
    spec: PieceSpec,
    thickness: float,
    tolerance: float,
    drawn: bool = True,
) -> tuple[Piece, tuple[Finding, ...]]:
    """The altered piece with a line for each bevel, and a line for the operator (A332, A333).

    pattern: on its stitch line.  thickness: mm.  tolerance: of the parallel, mm.  drawn: False
    where the machine makes marks by cutting through: then there is no line, only the words.
    """
    marks: list[Mark] = []
    findings: list[Finding] = []
    for number, bevel in enumerate(spec.bevel, 1):
        where = f"{spec.name} bevel-{number}"
        width = thickness * math.tan(math.radians(bevel.angle))
        try:
            line = bevel_line(piece, pattern.edge(bevel.edge), width, tolerance)
        except NoSuchEdgeError as why:
            mend = "see `foamwright inspect`"
            findings.append(fault("A333", where, str(why), mend, piece=spec.name))
            continue
        if line is None:
            what = f"its line, {width:.1f} mm inside the edge, finds no room in the piece"
            findings.append(fault("A333", where, what, "lessen the angle", piece=spec.name))
            continue
        if drawn:
            marks.append(Mark(f"bevel-{number}", "line", line.start, (line,)))
        findings.append(_by_hand(spec, where, bevel, width, drawn))
    return replace(piece, marks=piece.marks + tuple(marks)), tuple(findings)


def bevel_line(piece: Piece, edge: Edge, width: float, tolerance: float) -> Path | None:
    """The parallel of an edge `width` mm inside the piece's cut line; None where there is none."""
    ring = next(_ring(piece, edge.ring), piece.outline)
    inner = offset(ring, -width, tolerance)
    if len(inner) != 1 or not inner[0].area * ring.area > 0:
        return None
    line = inner[0]
    if edge.length >= edge.line.length - SAME:
        return line
    allowance = nearest_length(ring, edge.line.point_at(edge.place(edge.length / 2)))[1]
    ends = (_across(edge, s, width - allowance) for s in (0.0, edge.length))
    start, end = (nearest_length(line, spot)[0] for spot in ends)
    return line.between(start, end if end > start else end + line.length)


def _across(edge: Edge, along: float, inward: float) -> complex:
    """The spot `inward` mm inside the edge's line, where the line's two sides meet at its end."""
    at = edge.place(along)
    before, after = (1j * t for t in directions(edge.line, at))
    mitre = (before + after) / max(1e-3, 1 + (before * after.conjugate()).real)
    return edge.line.point_at(at) + inward * mitre


def _ring(piece: Piece, name: str) -> Iterator[Path]:
    """The cut line of a ring by its name in the pattern."""
    if name == OUTLINE:
        yield piece.outline
    yield from (o.path for o in piece.openings if o.name == name)


def _by_hand(spec: PieceSpec, where: str, bevel: Bevel, width: float, drawn: bool) -> Finding:
    what = f"edge {bevel.edge} is cut square, its bevel of {bevel.angle:g} degrees is for the hand"
    line = "from the line drawn" if drawn else "from a line to be drawn"
    mend = f"cut {line} {width:.1f} mm inside it on the face down to the edge at the other face"
    return warning("A332", where, what, mend, spec.name)
