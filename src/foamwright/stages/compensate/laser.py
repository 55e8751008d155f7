"""Laser: a beam of full width `kerf`, half of it into the scrap.

Outlines and openings are offset by half a kerf to the right of travel, away from the material, or
by the beam's oval where that is wider one way than the other; slits and marks are followed on their
line.  A beam can't reach into an inside corner: what it leaves there is *unreached*, for a round
one of radius r in a wedge of angle phi: r (1/sin(phi/2) - 1) deep.  A gap that it can't enter
at all is *swallowed*, and a fault (`unreached` tells them apart).
Leads, where the tool has them, begin and end a contour in the scrap (`leads`); holding bridges are
gaps in an outline (`bridges`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry import region
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.model import Cut, Sheet, Tool
from foamwright.stages.compensate import bridges
from foamwright.stages.compensate.contours import (
    Contour,
    offset_target,
    offset_target_oval,
    plain,
    share,
    sheet_contours,
    written,
)
from foamwright.stages.compensate.ground import Ground
from foamwright.stages.compensate.leads import (
    Kept,
    LeadGround,
    Leads,
    keeping,
    led_at_bridges,
    led_ways,
)
from foamwright.stages.compensate.places import ways
from foamwright.stages.compensate.unreached import unreached

#: mm by which a gap may miss the clearance: what a layout's own check allows.
ROUNDING = 0.02


@dataclass(frozen=True, slots=True)
class _Way:
    """One way of the beam's middle for a contour, and the gaps in it."""

    contour: Contour
    path: Path
    gaps: tuple[bridges.Gap, ...] = ()


def cuts(
    sheet: Sheet, tool: Tool, tolerance: float, unreached_max: float, ground: Ground
) -> tuple[list[Cut], list[Finding]]:
    """Every contour of the sheet as the beam's centre must run."""
    findings: list[Finding] = []
    if tool.kerf > 0:
        findings.extend(_too_close(ground, tool.widest_kerf))
    findings.extend(_crowded(sheet, tool, ground))
    plain_ways: list[_Way] = []
    for contour in sheet_contours(sheet, tool):
        paths, noticed = _compensated(contour, tool, tolerance, unreached_max)
        findings.extend(noticed)
        plain_ways.extend(_Way(contour, path) for path in paths)
    bridged, noticed = _bridged(plain_ways, sheet, tool, ground)
    findings.extend(noticed)
    kept = [g.neck for w in bridged for g in w.gaps]
    held = {id(w): _held(w, tool, ground, kept) for w in bridged if w.gaps}
    clear = LeadGround(ground, tool, kept)
    made: list[Cut] = []
    for way in bridged:
        cut, leads = held[id(way)] if way.gaps else _free(way, tool, clear)
        made.extend(cut)
        findings.extend(_told(way, leads, tool))
    return made, findings


def _bridged(
    plain_ways: list[_Way], sheet: Sheet, tool: Tool, ground: Ground
) -> tuple[list[_Way], list[Finding]]:
    """The ways, with bridges in outlines that ask for them; C510 where some find no place."""
    asking = {p.copy.name: p for p in sheet.placements if p.copy.bridging is not None}
    made, findings = [], []
    for way in plain_ways:
        place = asking.get(way.contour.copy)
        bridging = place.copy.bridging if place else None
        if place is None or bridging is None or way.contour.name != "outline" or tool.kerf <= 0:
            made.append(way)
            continue
        slits = [s.path for s in place.piece.slits]
        found = bridges.gaps(way.path, way.contour.path, bridging, tool, slits=slits, ground=ground)
        made.append(replace(way, gaps=tuple(found)))
        asked = bridges.wanted(way.path, bridging)
        if len(found) < asked:
            what = f"{len(found)} of {asked} holding bridges find a place with room"
            mend = "ask for fewer or narrower ones, or hold the piece otherwise"
            where = way.contour.place(way.path.start)
            findings.append(warning("C510", where, what, mend, way.contour.copy))
    return made, findings


def _held(way: _Way, tool: Tool, ground: Ground, kept: list[Kept]) -> tuple[list[Cut], list[Leads]]:
    """A run for each stretch between bridges, with its leads; these are kept from others too."""
    made, leads = [], []
    clear = LeadGround(ground, tool, kept)
    for run, gap in bridges.runs(way.path, way.gaps):
        path = run
        if tool.lead_in or tool.lead_out:
            path, lead = led_at_bridges(run, tool, clear)
            leads.append(lead)
            kept.extend(keeping(path, lead, gap.bridge.width, tool.widest_kerf / 2))
        cut = way.contour.cut(path, left=gap.bridge.length)
        made.append(replace(cut, bridge=gap.bridge))
    return made, leads


def _free(way: _Way, tool: Tool, clear: LeadGround) -> tuple[list[Cut], list[Leads]]:
    """One run once round, with leads where they are wished for and one lies clear."""
    contour, path = way.contour, way.path
    wants = contour.frees and bool(tool.lead_in or tool.lead_out)
    if not wants or not path.closed or tool.leaves_to_machine("kerf"):
        entries = ways(path)
        return [contour.cut(entries[0].path, entries=entries)], []
    entries, lead = led_ways(path, tool, clear)
    entries = entries or ways(path)
    return [contour.cut(entries[0].path, entries=entries)], [lead]


def _told(way: _Way, leads: list[Leads], tool: Tool) -> Iterator[Finding]:
    """C505 where a lead has no place at all, C509 where it had to be shortened or turned."""
    contour, at = way.contour, way.contour.place(way.path.start)
    if any(tool.lead_in and not lead.begin for lead in leads):
        what = f"no clear place for a lead-in of {tool.lead_in:g} mm"
        yield note("C505", at, what, "the cut starts on its line", contour.copy)
    if any(tool.lead_out and not lead.end for lead in leads):
        what = f"no clear place for a lead-out of {tool.lead_out:g} mm"
        yield note("C505", at, what, "the cut ends on its line", contour.copy)
    for lead in leads:
        short = [v for v in (lead.begin, lead.end) if v]
        asked = [v for v, w in ((tool.lead_in, lead.begin), (tool.lead_out, lead.end)) if w]
        if short and (short != asked or lead.angle != tool.lead_angle):
            lengths = " and ".join(f"{v:g}" for v in short)
            what = f"only leads of {lengths} mm at {lead.angle:g} degrees lie clear"
            yield note("C509", at, what, "", contour.copy)
            return


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


def _too_close(ground: Ground, kerf: float) -> Iterator[Finding]:
    for a, b in ground.closer_than(kerf):
        what = f"lies nearer to {b} than the kerf of {kerf:g} mm, so that cutting one harms both"
        yield fault("C506", a, what, "raise the clearance between pieces", a)


def _crowded(sheet: Sheet, tool: Tool, ground: Ground) -> Iterator[Finding]:
    """C508 where two cuts' middle lines lie nearer to each other than the clearance."""
    if tool.clearance <= 0:
        return
    asked = f"the {tool.clearance:g} mm that are asked for between cuts"
    for a, b in ground.closer_than(tool.clearance + tool.widest_kerf - ROUNDING):
        what = f"its cut and that of {b} lie nearer to each other than {asked}"
        yield warning("C508", a, what, "lay them farther apart, or mind the heat there", a)
    for p in sheet.placements:
        lines = [region.curve(x) for x in (p.piece.outline, *(o.path for o in p.piece.openings))]
        found = region.near(lines).pairs(max(0.0, tool.clearance - tool.kerf - ROUNDING))
        if found:
            land = min(region.distance(lines[i], lines[j]) for i, j in found)
            what = f"{land:.2f} mm of stock stay between two of its cuts, less than {asked}"
            yield note("C508", p.copy.name, what, "mind the heat there", p.copy.name)


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
