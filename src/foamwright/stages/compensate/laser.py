"""Laser: a beam of full width `kerf`, half of it into the scrap.

Outlines and openings are offset by half a kerf to the right of travel, away from the material, or
by the beam's oval where that is wider one way than the other; slits and marks are followed on their
line.  A beam can't reach into an inside corner: what it leaves there is *unreached*, for a round
one of radius r in a wedge of angle phi: r (1/sin(phi/2) - 1) deep.  A gap that it can't enter
at all is *swallowed*, and a fault (`unreached` tells them apart).
A lead-in, where the tool has one, starts in the scrap and meets the contour at a slant.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator

from foamwright.findings import Finding, fault, note
from foamwright.geometry import region
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line
from foamwright.model import Cut, Sheet, Tool
from foamwright.stages.compensate.contours import (
    Contour,
    offset_target,
    offset_target_oval,
    plain,
    share,
    sheet_contours,
    starting_in,
    written,
)
from foamwright.stages.compensate.ground import HAIR, Ground
from foamwright.stages.compensate.unreached import unreached

#: Degrees between a lead-in and the contour it meets, tried in this order (common practice, no
#: source: slanting leads leave the least scar).
LEAD_ANGLES = (45.0, 30.0, 60.0, 90.0)
#: Places along a contour that a lead-in is tried at, at most: bounds the search.
LEAD_PLACES = 64


def cuts(
    sheet: Sheet, tool: Tool, tolerance: float, unreached_max: float, ground: Ground
) -> tuple[list[Cut], list[Finding]]:
    """Every contour of the sheet as the beam's centre must run."""
    made: list[Cut] = []
    findings: list[Finding] = []
    if tool.kerf > 0:
        findings.extend(_too_close(ground, tool.widest_kerf))
    for contour in sheet_contours(sheet, tool):
        paths, noticed = _compensated(contour, tool, tolerance, unreached_max)
        findings.extend(noticed)
        for path in paths:
            entered, noticed = _entered(contour, path, tool, ground)
            findings.extend(noticed)
            made.append(contour.cut(entered))
    return made, findings


def _compensated(
    contour: Contour, tool: Tool, tolerance: float, unreached_max: float
) -> tuple[tuple[Path, ...], list[Finding]]:
    if not contour.frees or tool.kerf <= 0 or tool.leaves_to_machine("kerf"):
        return (plain(contour, tool, tolerance),), []
    beam = tool.beam
    if beam.is_disc:
        paths = offset_target(contour, beam.radius, share(tool, tolerance))
    else:
        paths = offset_target_oval(contour, beam, share(tool, tolerance))
    findings = list(judged(contour, paths, beam, unreached_max))
    return tuple(written(p, tool, tolerance / beam.ratio) for p in paths), findings


def _entered(
    contour: Contour, path: Path, tool: Tool, ground: Ground
) -> tuple[Path, list[Finding]]:
    if not contour.frees or tool.lead_in <= 0:
        return path, []
    led = with_lead_in(path, tool, ground)
    if led is not None:
        return led, []
    what = f"no clear place for a lead-in of {tool.lead_in:g} mm"
    mend = "the cut starts on its line"
    return path, [note("C505", contour.place(path.start), what, mend, contour.copy)]


def _too_close(ground: Ground, kerf: float) -> Iterator[Finding]:
    for a, b in ground.closer_than(kerf):
        what = f"lies nearer to {b} than the kerf of {kerf:g} mm, so that cutting one harms both"
        yield fault("C506", a, what, "raise the clearance between pieces", a)


def judged(
    contour: Contour, paths: tuple[Path, ...], beam: Oval, unreached_max: float
) -> Iterator[Finding]:
    """What the beam leaves of a contour: swallowed places are faults, inside corners are told."""
    kerf = f"the kerf of {beam}"
    if not paths:
        what = f"{kerf} swallows the opening whole"
        mend = "widen the opening, or make it a mark"
        yield fault("C501", contour.place(contour.path.start), what, mend, contour.copy)
        return
    spots = [s for p in paths for s in unreached(contour.path, p, beam)]
    gaps = [s for s in spots if s.swallowed]
    for s in gaps:
        what = f"{kerf} swallows a gap, {s.depth:.2f} mm deep"
        mend = "widen the gap, or leave it out"
        yield fault("C502", contour.place(s.place), what, mend, contour.copy)
    if len(paths) > 1 and not gaps:
        lost = min(paths, key=lambda p: abs(p.area))
        what = f"{kerf} closes a neck, so that the contour falls apart in {len(paths)}"
        yield fault("C502", contour.place(lost.start), what, "widen the neck", contour.copy)
    corners = [s for s in spots if not s.swallowed]
    if not corners:
        return
    worst = max(corners, key=lambda s: s.depth)
    at = contour.place(worst.place)
    what = f"the beam leaves up to {worst.depth:.3f} mm at {len(corners)} inside corner"
    what += "s" if len(corners) > 1 else ""
    if worst.depth > unreached_max:
        mend = f"widen the angle, or raise unreached_max above {unreached_max:g} mm"
        yield fault("C504", at, what, mend, contour.copy)
    else:
        yield note("C503", at, what, piece=contour.copy)


def with_lead_in(path: Path, tool: Tool, ground: Ground) -> Path | None:
    """Lead-in and loop as one open path, or None where no place along it is clear."""
    if not path.closed:
        return None
    for segment, t in _places(path):
        spot = path.segments[segment]
        contact, along = spot.point(t), spot.tangent(t)
        for angle in LEAD_ANGLES:
            start = contact - tool.lead_in * along * cmath.rect(1.0, math.radians(angle))
            lead = region.polyline([start, contact])
            if ground.is_clear(lead, max(tool.widest_kerf / 2, HAIR)):
                loop = starting_in(path, segment, t)
                corners = frozenset({1} | {i + 1 for i in loop.corners})
                return Path((Line(start, contact), *loop.segments), False, corners)
    return None


def _places(path: Path) -> list[tuple[int, float]]:
    """Middles of segments, the longest first: away from corners and notches."""
    order = sorted(range(len(path.segments)), key=lambda i: (-path.segments[i].length(), i))
    return [(i, 0.5) for i in order[:LEAD_PLACES]]
