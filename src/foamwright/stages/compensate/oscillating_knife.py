"""Oscillating knife: a blade that the machine turns along the path, with an inclined edge.

The edge severs the bottom face `overrun` behind the top one.  So the outline is cut in *strokes*
between its corners, each run on past its end along the tangent there (a double-edged blade: past
both ends) until the bottom is severed too.  Where that would cut into this piece or another the
stroke stops short, and what the bottom face leaves for the hand is told (`Cut.left`).
A single-edged stroke whose far end is blocked runs the other way where that leaves less.
A contour without corners is one stroke that overlaps its own start.
Corners of at most `swivel_angle` are followed without a lift.
Does not model the blade's section: the proof does.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from foamwright.findings import Finding, note, warning
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Line
from foamwright.model import Cut, Sheet, Tool
from foamwright.stages.compensate.contours import (
    Contour,
    fitted_target,
    opened,
    plain,
    share,
    sheet_contours,
    smallest_radius,
    written,
)
from foamwright.stages.compensate.ground import Ground

#: mm that a stroke stops short of another piece.
STAND_OFF = 0.1
#: mm: shorter run-ons than this are left out, and shorter lengths left uncut are not told.
WORTH_CUTTING = 0.05
#: mm that a flat blade may leave on a curve before it is told.
FLAT_ON_CURVE = 0.05


def cuts(
    sheet: Sheet, tool: Tool, tolerance: float, unreached_max: float, ground: Ground
) -> tuple[list[Cut], list[Finding]]:
    """Every contour of the sheet as strokes; pen marks and scores as they are."""
    made: list[Cut] = []
    findings: list[Finding] = []
    for contour in sheet_contours(sheet, tool):
        if contour.operation in ("PEN", "SCORE") or tool.leaves_to_machine("overrun"):
            made.append(contour.cut(plain(contour, tool, tolerance)))
            continue
        target = fitted_target(contour, share(tool, tolerance))
        findings.extend(_flat_blade(contour, tool.blade_width))
        strokes = [
            (run, 0.0) if whole else stroke(run, tool, ground) for run, whole in runs(target, tool)
        ]
        findings.extend(_left(contour, strokes))
        for path, left in strokes:
            findings.extend(_plunge(contour, path, tool, ground))
            made.append(contour.cut(written(path, tool, tolerance), left))
    return made, findings


def runs(target: Path, tool: Tool) -> Iterator[tuple[Path, bool]]:
    """The open stretches of a path between its corners; or, with True, one that overlaps itself."""
    lifts = lift_joints(target, tool.swivel_angle)
    if target.closed and not lifts:
        ends = 2 if tool.edges == "double" else 1
        yield opened(target, tool.overlap + ends * tool.overrun), True
        return
    whole = target
    if target.closed:
        whole = opened(target.starting_at(lifts[0]), 0.0)
        lifts = [i - lifts[0] for i in lifts[1:]]
    bounds = [0, *lifts, len(whole.segments)]
    for a, b in pairwise(bounds):
        inside = frozenset(i - a for i in whole.corners if a < i < b)
        yield Path(whole.segments[a:b], False, inside), False


def lift_joints(path: Path, swivel_angle: float) -> list[int]:
    """Corners that the blade is lifted at to turn, in order of travel."""

    def turn(i: int) -> float:
        return turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0))

    return [i for i in sorted(path.corners) if abs(turn(i)) > swivel_angle]


def stroke(run: Path, tool: Tool, ground: Ground) -> tuple[Path, float]:
    """A run with its run-ons, and the mm of it that the bottom face leaves uncut."""
    after = run_on(run, tool.overrun, ground)
    if tool.edges == "double":
        before = run_on(run.reversed(), tool.overrun, ground)
        return lengthened(run, before, after), _short(tool, before) + _short(tool, after)
    if _short(tool, after) > 0:
        back = run_on(run.reversed(), tool.overrun, ground)
        if back > after + WORTH_CUTTING:
            return lengthened(run.reversed(), 0.0, back), _short(tool, back)
    return lengthened(run, 0.0, after), _short(tool, after)


def _short(tool: Tool, run_on_length: float) -> float:
    short = tool.overrun - run_on_length
    return short if short > WORTH_CUTTING else 0.0


def run_on(run: Path, length: float, ground: Ground) -> float:
    """How far past its end a run may go straight on, at most `length` mm."""
    if length <= 0:
        return 0.0
    along = run.segments[-1].tangent(1.0)
    clear = ground.clear_length(Path((Line(run.end, run.end + length * along),), False))
    if clear >= length:
        return length
    return clear - STAND_OFF if clear - STAND_OFF > WORTH_CUTTING else 0.0


def lengthened(run: Path, before: float, after: float) -> Path:
    """A run with straight run-ons of these lengths (mm) at its ends; lines grow longer."""
    return _run_on_end(_run_on_end(run, after).reversed(), before).reversed()


def _run_on_end(run: Path, length: float) -> Path:
    if length <= 0:
        return run
    last = run.segments[-1]
    tip = last.end + length * last.tangent(1.0)
    if isinstance(last, Line):
        return Path((*run.segments[:-1], Line(last.start, tip)), False, run.corners)
    return Path((*run.segments, Line(last.end, tip)), False, run.corners)


def _left(contour: Contour, strokes: list[tuple[Path, float]]) -> Iterator[Finding]:
    short = [(path.end, left) for path, left in strokes if left > 0]
    if not short:
        return
    total = sum(left for _, left in short)
    what = f"the bottom face is left uncut over {total:.1f} mm at {len(short)} of the strokes' ends"
    at = contour.place(max(short, key=lambda s: s[1])[0])
    yield note("C521", at, what, "finish these by hand", contour.copy)


def _flat_blade(contour: Contour, width: float) -> Iterator[Finding]:
    radius, middle = smallest_radius(contour.path)
    bow = width * width / (8 * radius)
    if bow > FLAT_ON_CURVE:
        what = f"a blade {width:g} mm wide leaves {bow:.2f} mm on a curve of radius {radius:.1f} mm"
        yield note("C522", contour.place(middle), what, "", contour.copy)


def _plunge(contour: Contour, path: Path, tool: Tool, ground: Ground) -> Iterator[Finding]:
    beyond = tool.plunge - path.length
    if beyond <= 0 or run_on(path, beyond, ground) >= beyond:
        return
    what = f"the plunge reaches {beyond:.1f} mm past the end of a stroke of {path.length:.1f} mm"
    mend = "cut this by hand, or take a narrower blade"
    yield warning("C523", contour.place(path.end), what, mend, contour.copy)
