"""Sheets to cuts: where the tool must run so that what is left is the target.

A tool's centre, pivot or edge is not where the freed edge lies.  Each method has a module that
knows its physics: `laser` (half a kerf into the scrap), `drag_knife` (a tip that trails its pivot),
`oscillating_knife` (strokes that run on until the bottom face is severed).  `contours` says what
is to be cut and by which operation, `ground` where the tool may go.
Paths come out as lines and arcs in sheet coordinates.  A compensation that the tool leaves to the
machine (`Tool.applies`) is not done here: the plain closed contour stands in its stead.
Does not choose the sequence (`order`) and knows no file format.
"""

from __future__ import annotations

from collections.abc import Iterator

from foamwright.findings import Finding, fault, warning
from foamwright.geometry import region
from foamwright.model import Cut, Sheet, Tool
from foamwright.stages.compensate import drag_knife, laser, oscillating_knife
from foamwright.stages.compensate.ground import HAIR, Ground

__all__ = ["compensate"]

_METHODS = {
    "laser": laser.cuts,
    "drag-knife": drag_knife.cuts,
    "oscillating-knife": oscillating_knife.cuts,
}


def compensate(
    sheet: Sheet, tool: Tool, tolerance: float, unreached_max: float = 0.5
) -> tuple[tuple[Cut, ...], tuple[Finding, ...]]:
    """The cuts that free every piece of a sheet, and what was noticed.

    tolerance: mm that fitting arcs, and chords where the tool wants them, may add together.
    unreached_max: mm that a round beam may leave over at an inside corner before it is a fault.
    Cuts stand piece by piece: marks, slits, openings, outline.
    """
    findings = []
    if tool.kerf > 0 and tool.method != "laser" and not tool.leaves_to_machine("kerf"):
        what = f"the knife's kerf of {tool.kerf:g} mm is not compensated"
        mend = "set kerf to 0 mm, or name kerf in applies where the machine does it"
        findings.append(warning("C531", f"sheet {sheet.number}", what, mend))
    findings.extend(_parted(sheet))
    cuts, noticed = _METHODS[tool.method](sheet, tool, tolerance, unreached_max, Ground(sheet))
    return tuple(cuts), tuple(findings + noticed)


def _parted(sheet: Sheet) -> Iterator[Finding]:
    """C507 for each copy that its slits would cut into several parts."""
    for p in sheet.placements:
        piece = p.piece
        if not piece.slits:
            continue
        solid = region.region(piece.outline, [o.path for o in piece.openings])
        parts = region.parted(solid, [region.curve(s.path) for s in piece.slits], HAIR)
        if len(parts) < 2:
            continue
        loose = region.inside_point(parts[-1])
        what = f"its slits part it in {len(parts)}, so that a part falls out"
        mend = "draw what falls out as an opening, or each part as a piece, or shorten the slit"
        where = f"{p.copy.name} at ({loose.real:.2f}, {loose.imag:.2f}) mm"
        yield fault("C507", where, what, mend, p.copy.name)
