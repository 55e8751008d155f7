"""A piece as other shops take it: boundary and notches apart, whatever blade there is.

Notches that an allowance bears are places on the boundary, not bites out of it; reliefs stay bites,
since they are no notches.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

from foamwright.exchange import NotchShape, PatternNotch, PatternPiece
from foamwright.job import Notch, PieceSpec
from foamwright.stages.alter.allowance import allowed
from foamwright.stages.alter.alter import alter
from foamwright.stages.alter.draft import Draft
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.notches import T_WIDTH, V_WIDTH, Spot, spots_of
from foamwright.stages.alter.pattern import Pattern

#: Where a piece has no grain line: up the drawing (`model.py`).
UPRIGHT = 90.0


def exchanged(drawn: Draft, tolerance: float) -> PatternPiece:
    """The piece for an exchange file; its faults are those that `alter` tells of it.

    tolerance: of the allowance's parallel, mm.
    """
    spec = drawn.spec
    pattern, _ = allowed(drawn.pattern, spec, tolerance)
    notches: list[PatternNotch] = []
    rest: list[Notch] = []
    for notch in spec.notch:
        found = _cut_in(pattern, spec, notch)
        notches.extend(found)
        rest.extend(() if found else (notch,))
    plain = spec.model_copy(update={"notch": tuple(rest), "mark_stitch_line": False})
    piece, _ = alter(replace(drawn, spec=plain), tolerance)
    rings = ["", *(h.name for h in pattern.holes)]
    return PatternPiece(
        name=spec.name,
        boundary=piece.outline,
        cutouts=tuple(o.path for o in piece.openings),
        slits=tuple(s.path for s in piece.slits),
        sew_lines=tuple(
            pattern.ring(r).path for r in rings if pattern.cut_line(r) is not pattern.ring(r).path
        ),
        internal=tuple(p for m in piece.marks if m.shape != "hole" for p in m.paths),
        drills=tuple(m.at for m in piece.marks if m.shape == "hole"),
        notches=tuple(notches),
        grain=UPRIGHT if piece.grain is None else piece.grain,
        material=spec.material,
        count=spec.count,
        mirrored=spec.mirrored,
        notes=piece.notes,
    )


def _cut_in(pattern: Pattern, spec: PieceSpec, notch: Notch) -> list[PatternNotch]:
    """A notch, or the two of a double one, where an allowance bears it; else nothing."""
    if notch.shape == "mark":
        return []
    try:
        spots = spots_of(pattern, spec, notch)
    except NoSuchEdgeError:
        return []  # A303 tells it
    return [_placed(spot, notch, notch.shape) for spot in spots if spot.allowance > 0]


def _placed(spot: Spot, notch: Notch, shape: NotchShape) -> PatternNotch:
    at, way = spot.line.point_at(spot.at), 1j * spot.line.tangent_at(spot.at)
    usual = {"slit": 0.0, "t": T_WIDTH * notch.depth}.get(shape, V_WIDTH * notch.depth)
    width = 0.0 if shape == "slit" else usual if notch.width is None else notch.width
    angle = math.degrees(cmath.phase(way)) % 360.0
    return PatternNotch(shape, at, notch.depth, width, angle)
