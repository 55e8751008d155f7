"""Drag knife: a blade that swivels freely, its tip trailing the pivot by the blade offset e.

The machine moves the pivot, and `pivot` says where it must run for the tip to follow a curve.
The fit is made on the pivot's path: the tip follows what the pivot does amiss with a lag.
Each closed contour is met by a run-in in the scrap and runs `overlap` past its closing point.
Slits, blade-made marks and openings without room are set down on their line (`run_in` says how the
blade's heading is known between contours).
Does not integrate the tip's motion: that is the proof's.
"""

from __future__ import annotations

from foamwright.findings import Finding, fault, note
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Segment
from foamwright.model import OPERATIONS, Cut, Sheet, Tool
from foamwright.stages.compensate.contours import (
    Contour,
    fitted,
    plain,
    share,
    sheet_contours,
    smallest_radius,
    written,
)
from foamwright.stages.compensate.ground import Ground
from foamwright.stages.compensate.pivot import end_to_end, pivot_segments, swing
from foamwright.stages.compensate.pivot_loop import (
    PIVOT_CORNER,
    run_in_entries,
    set_down_entries,
)
from foamwright.stages.compensate.places import ways
from foamwright.stages.compensate.run_in import (
    PARKED,
    RunIn,
    alignment_stroke,
    find_run_in,
    run_in_length,
)

#: The contour name of the stroke in the scrap that aligns the blade before all else.
ALIGNMENT = "align"


def cuts(
    sheet: Sheet, tool: Tool, tolerance: float, unreached_max: float, ground: Ground
) -> tuple[list[Cut], list[Finding]]:
    """Every contour of the sheet as the pivot must run; pen marks as they are."""
    made: list[Cut] = []
    findings: list[Finding] = []
    set_down: list[Contour] = []
    compensated = tool.blade_offset > 0 and not tool.leaves_to_machine("blade-offset")
    for contour in sheet_contours(sheet, tool):
        if contour.operation == "PEN" or not compensated:
            entries = ways(plain(contour, tool, tolerance))
            made.append(contour.cut(entries[0].path, entries=entries))
            if contour.operation != "PEN":
                findings.extend(_tight(contour, tool.blade_offset))
            continue
        cut, runs_in = _cut(contour, tool, tolerance, ground)
        made.append(cut)
        if not runs_in:
            set_down.append(contour)
            if contour.frees:
                findings.append(_no_room(contour, tool))
        findings.extend(_tight(contour, tool.blade_offset))
    if set_down:
        made, noticed = _aligned(sheet, tool, ground, made)
        findings.extend(noticed)
    return made, findings


def _cut(contour: Contour, tool: Tool, tolerance: float, ground: Ground) -> tuple[Cut, bool]:
    """A contour's cut with its entries, and whether it is met by a run-in."""
    target = contour.path
    if contour.frees:
        entries = run_in_entries(contour, tool, tolerance, ground)
        if entries:
            return contour.cut(entries[0].path, entries=entries), True
    way = find_run_in(target, tool.blade_offset, ground) if contour.frees else None
    if way is None and target.closed:
        entries = set_down_entries(contour, tool, tolerance)
        if entries:
            return contour.cut(entries[0].path, entries=entries), False
    path = contour_path(target, way, tool, share(tool, tolerance))
    return contour.cut(written(path, tool, tolerance)), way is not None


def _aligned(
    sheet: Sheet, tool: Tool, ground: Ground, made: list[Cut]
) -> tuple[list[Cut], list[Finding]]:
    """The cuts with an alignment stroke before them, in the first group that the blade cuts."""
    stroke = alignment_stroke(tool.blade_offset, ground)
    if stroke is None:
        what = f"no scrap for a stroke of {run_in_length(tool.blade_offset):.1f} mm that aligns"
        what += " the blade before slits, marks and openings without a run-in"
        mend = "lay the pieces farther apart or on a longer stock"
        return made, [fault("C513", f"sheet {sheet.number}", what, mend)]
    operation = min((c.operation for c in made if c.operation != "PEN"), key=OPERATIONS.index)
    return [Cut("", ALIGNMENT, operation, Path((stroke,), False)), *made], []


def _no_room(contour: Contour, tool: Tool) -> Finding:
    what = f"no room for a run-in of {run_in_length(tool.blade_offset):.1f} mm"
    mend = "the blade is set down on the line with the heading it was left with"
    return note("C512", contour.place(contour.path.start), what, mend, contour.copy)


def _tight(contour: Contour, offset: float) -> list[Finding]:
    radius, middle = smallest_radius(contour.path)
    if radius > offset:
        return []
    what = f"a curve of radius {radius:.2f} mm is no wider than the blade offset of {offset:g} mm"
    mend = "the blade turns there more than it cuts; expect a rough edge"
    return [note("C511", contour.place(middle), what, mend, contour.copy)]


def contour_path(target: Path, way: RunIn | None, tool: Tool, tolerance: float) -> Path:
    """The pivot path of one contour, from its run-in (or PARKED) to PARKED again."""
    offset = tool.blade_offset
    tip = target
    if way is not None:
        tip = target.starting_in(way.segment, way.t)
    if tip.closed:
        tip = tip.opened(min(tool.overlap, tip.length))
    first, last = tip.segments[0].tangent(0.0), tip.segments[-1].tangent(1.0)
    arriving = PARKED if way is None else way.direction
    runs: list[tuple[Segment, ...]] = [
        () if way is None else (way.stroke,),
        swing(tip.start, arriving, first, offset),
        pivot_segments(tip, offset, tool.swivel_angle),
        swing(tip.end, last, PARKED, offset),
    ]
    chain = [s for run in runs for s in run]
    return fitted(Path.of(end_to_end(chain), False, PIVOT_CORNER), tolerance)
