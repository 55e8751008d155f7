"""Oscillating knife: a blade that the machine turns along the path, with an inclined edge.

A *stroke* of the file is the line that the edge cuts in the top face, which is the true face.  The
blade goes in with its tip at the stroke's start, its *section* (`Tool.section`) reaching ahead; the
edge severs the bottom face `overrun` behind the top one.  So the outline is cut in strokes between
its corners, each run on past its end along the tangent there (a double-edged blade: past both ends)
until the bottom is severed too.  Where that would cut into this piece or another the stroke stops
short, and what the bottom face leaves for the hand is told (`Cut.left`).

A stroke must hold the section that goes in: a shorter one is made longer into the scrap, at either
end; where there is none the blade can't go in, which is a fault.  Where a stroke starts on a curve
it runs in along the tangent from the scrap, if there is any.  Of the two ways to run a stroke the
one is taken that can go in, leaves less, and goes in straighter.
A contour without corners is one stroke that overlaps its start; where that would be on a curve, it
starts at its flattest place.
Corners of at most `swivel_angle` are followed without a lift, less where the back would swing out
beyond `far_face_max`.  How far a flat blade is off a curve is in `flat`.
Does not model the blade's section: the proof does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from foamwright.findings import Finding, fault, note
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Cut, Entry, Sheet, Tool
from foamwright.stages.compensate.contours import (
    Contour,
    fitted_target,
    plain,
    share,
    sheet_contours,
    written,
)
from foamwright.stages.compensate.flat import Bent, bent, bow
from foamwright.stages.compensate.ground import Ground
from foamwright.stages.compensate.places import even_places, ways

#: mm that a stroke stops short of another piece.
STAND_OFF = 0.1
#: mm: shorter run-ons than this are left out, and shorter lengths left uncut are not told.
WORTH_CUTTING = 0.05
#: mm that a flat blade may be off a curve before it is told (the proof's own limit), and off its
#: stroke as it goes in.
FLAT_ON_CURVE, GOES_IN_STRAIGHT = 0.01, 0.01


@dataclass(frozen=True, slots=True)
class Stroke:
    """One run of the blade. left: mm uncut at the bottom.  lacks: mm that the blade has too little
    room for to go in.  bow: mm that its flat lies off the stroke as it does.  beyond: mm that one
    goes on once it is round a contour without corners.
    """

    path: Path
    left: float = 0.0
    lacks: float = 0.0
    bow: float = 0.0
    beyond: float = 0.0

    @property
    def is_good(self) -> bool:
        return self.left <= 0 and self.lacks <= 0 and self.bow <= GOES_IN_STRAIGHT

    @property
    def cost(self) -> tuple[bool, int, int]:
        """What the one of two ways is worse by."""
        by_left, by_bow = self.left / WORTH_CUTTING, self.bow / GOES_IN_STRAIGHT
        return self.lacks > 0, round(by_left), math.floor(by_bow)


def cuts(
    sheet: Sheet, tool: Tool, tolerance: float, unreached_max: float, ground: Ground
) -> tuple[list[Cut], list[Finding]]:
    """Every contour of the sheet as strokes; pen marks and scores as they are."""
    made: list[Cut] = []
    findings: list[Finding] = []
    for contour in sheet_contours(sheet, tool):
        if contour.operation in ("PEN", "SCORE") or tool.leaves_to_machine("overrun"):
            entries = ways(plain(contour, tool, tolerance))
            made.append(contour.cut(entries[0].path, entries=entries))
            continue
        target = fitted_target(contour, share(tool, tolerance))
        strokes = [
            whole(run, tool, ground) if closed else stroke(run, tool, ground)
            for run, closed in runs(target, tool)
        ]
        findings.extend(_left(contour, strokes))
        findings.extend(_goes_in(contour, strokes, tool))
        paths = [written(s.path, tool, tolerance) for s in strokes]
        findings.extend(_flat_blade(contour, paths, strokes, tool))
        for s, path in zip(strokes, paths, strict=True):
            loop = written(target, tool, tolerance) if s.beyond else None
            entries = tuple(_rounds(loop, s, tool, ground)) if loop else ()
            made.append(contour.cut(path, s.left, (Entry(path), *entries) if entries else ()))
    return made, findings


def _rounds(loop: Path, first: Stroke, tool: Tool, ground: Ground) -> Iterator[Entry]:
    """The ways round a contour without corners on which the blade goes in as straight."""
    for segment, t in even_places(loop):
        entry = Entry(loop, segment, t, beyond=first.beyond)
        if bow(entry.path, tool.section) > GOES_IN_STRAIGHT:
            on, along = entry.start, loop.segments[segment].tangent(t)
            back = run_on(entry.path.reversed(), tool.section, ground)
            before = (Line(on - back * along, on),) if back > 0 else ()
            entry = Entry(loop, segment, t, before, beyond=first.beyond)
        if bow(entry.path, tool.section) <= max(first.bow, GOES_IN_STRAIGHT):
            yield entry


def runs(target: Path, tool: Tool) -> Iterator[tuple[Path, bool]]:
    """The open stretches of a path between its corners; or, with True, the whole without any."""
    lifts = lift_joints(target, lift_angle(tool))
    if target.closed and not lifts:
        yield target, True
        return
    whole = target
    if target.closed:
        whole = target.starting_at(lifts[0]).opened()
        lifts = [i - lifts[0] for i in lifts[1:]]
    bounds = [0, *lifts, len(whole.segments)]
    for a, b in pairwise(bounds):
        inside = frozenset(i - a for i in whole.corners if a < i < b)
        yield Path(whole.segments[a:b], False, inside), False


def lift_angle(tool: Tool) -> float:
    """Degrees of turn above which the blade is lifted: its back, turned about the edge in the
    stock, may swing out by no more than the far face may be off."""
    if tool.section <= tool.far_face_max:
        return tool.swivel_angle
    swings = math.degrees(math.asin(tool.far_face_max / tool.section))
    return min(tool.swivel_angle, swings)


def lift_joints(path: Path, angle: float) -> list[int]:
    """Corners that the blade is lifted at to turn, in order of travel."""

    def turn(i: int) -> float:
        return turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0))

    return [i for i in sorted(path.corners) if abs(turn(i)) > angle]


def whole(target: Path, tool: Tool, ground: Ground) -> Stroke:
    """A closed contour without corners, from its flattest place once round and on."""
    ends = 2 if tool.edges == "double" else 1
    on = max(tool.overlap + ends * tool.overrun, tool.section - target.length)
    run = target.opened(on)
    off = bow(run, tool.section)
    if off > GOES_IN_STRAIGHT:
        run = _flattest_first(target).opened(on)
        off = bow(run, tool.section)
    if off > GOES_IN_STRAIGHT:
        before = run_on(run.reversed(), tool.section, ground)
        run = lengthened(run, before, 0.0)
        off = bow(run, tool.section)
    return Stroke(run, bow=off, beyond=on)


def _flattest_first(target: Path) -> Path:
    """The closed path started half way along its longest line, else its arc of largest radius."""

    def flatness(i: int) -> tuple[float, float]:
        s = target.segments[i]
        return (s.radius if isinstance(s, Arc) else math.inf), s.length()

    return target.starting_in(max(range(len(target.segments)), key=flatness), 0.5)


def stroke(run: Path, tool: Tool, ground: Ground) -> Stroke:
    """A run with its run-ons, the way round that serves best; the way it is drawn where equal."""
    first = _one_way(run, tool, ground)
    if first.is_good:
        return first
    return min(first, _one_way(run.reversed(), tool, ground), key=lambda s: s.cost)


def _one_way(run: Path, tool: Tool, ground: Ground) -> Stroke:
    back = run.reversed()
    after = run_on(run, tool.overrun, ground)
    before, left = 0.0, _short(tool, after)
    if tool.edges == "double":
        before = run_on(back, tool.overrun, ground)
        left += _short(tool, before)
    if bow(run, tool.section) > GOES_IN_STRAIGHT:
        before = max(before, run_on(back, tool.section, ground))
    lacks = tool.section - run.length - before - after
    if lacks > 0:
        after, lacks = _further(run, after, lacks, ground)
    if lacks > 0:
        before, lacks = _further(back, before, lacks, ground)
    path = lengthened(run, before, after)
    return Stroke(path, left, lacks if lacks > WORTH_CUTTING else 0.0, bow(path, tool.section))


def _further(run: Path, on: float, lacks: float, ground: Ground) -> tuple[float, float]:
    """A run-on made longer by what is lacking, as far as is clear, and what is lacking still."""
    found = max(on, run_on(run, on + lacks, ground))
    return found, lacks - (found - on)


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


def _left(contour: Contour, strokes: list[Stroke]) -> Iterator[Finding]:
    short = [s for s in strokes if s.left > 0]
    if not short:
        return
    total = sum(s.left for s in short)
    what = f"the bottom face is left uncut over {total:.1f} mm at the ends of {len(short)} strokes"
    at = contour.place(max(short, key=lambda s: s.left).path.end)
    yield note("C521", at, what, "finish these by hand", contour.copy)


def _goes_in(contour: Contour, strokes: list[Stroke], tool: Tool) -> Iterator[Finding]:
    for s in strokes:
        if s.lacks > 0:
            what = f"a stroke of {s.path.length:.1f} mm, its run-ons with it, is too short for the"
            what += f" blade, {tool.section:.1f} mm wide at the face, to go in without cutting into"
            what += " a piece"
            mend = "make it a mark for the hand, or take a steeper or narrower blade"
            yield fault("C523", contour.place(s.path.start), what, mend, contour.copy)


def _flat_blade(
    contour: Contour, paths: list[Path], strokes: list[Stroke], tool: Tool
) -> Iterator[Finding]:
    """paths: the strokes as they are written; chords turn the blade farther than their arcs do."""
    found = [(b, s) for p, s in zip(paths, strokes, strict=True) if (b := bent(p, tool))]
    if not found:
        return
    worst, at_stroke = max(found, key=lambda f: f[0].worst)
    if worst.worst <= FLAT_ON_CURVE:
        return
    worst = _of_curve(worst, at_stroke, tool)
    what = bent_words(worst, tool)
    at = contour.place(worst.at)
    if worst.worst <= tool.far_face_max:
        yield note("C522", at, what, piece=contour.copy)
        return
    mend = "widen the curve, take a steeper blade, or raise far_face_max above "
    mend += f"{tool.far_face_max:g} mm"
    yield fault("C522", at, f"{what}: far_face_max is {tool.far_face_max:g} mm", mend, contour.copy)


def _of_curve(found: Bent, s: Stroke, tool: Tool) -> Bent:
    """What was found on chords, with the radius of the curve that they stand for."""
    if math.isfinite(found.radius):
        return found
    drawn = bent(s.path, tool)
    return found if drawn is None else replace(found, radius=drawn.radius)


def bent_words(worst: Bent, tool: Tool) -> str:
    """What a flat blade leaves on a curve, in a line."""
    width = tool.section
    radius = worst.radius
    by_curve = math.hypot(radius, width) - radius if math.isfinite(radius) else 0.0
    is_kink = by_curve < worst.back / 2
    where = "at a kink" if is_kink else f"on a curve of radius {radius:.1f} mm"
    if width > 2 * worst.radius:
        return (
            f"the blade, {width:.1f} mm wide at the face, is wider than a curve of radius "
            f"{worst.radius:.1f} mm: its back swings out {worst.back:.2f} mm"
        )
    return (
        f"the blade, {width:.1f} mm wide at the face, leaves {worst.flat:.2f} mm {where}, its back "
        f"lies {worst.back:.2f} mm off and its edge at the bottom face {worst.far:.2f} mm"
    )
