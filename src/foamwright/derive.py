"""Plain values for the stages, derived from a job and its profiles, with the faults found on the
way.

Terms.  *Clearance*: the least gap between two pieces' targets that lets the tool pass between them.
*Run-in*: the straight way on which a drag knife's blade turns into the cut's direction.
Does not touch geometry; stages before `compensate` see only what comes out of here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from types import MappingProxyType

from foamwright.fields import BridgeKeys
from foamwright.findings import Finding, Refused, fault, note, refuse_on_fault, warning
from foamwright.laying import box_zone
from foamwright.measured import measured_cut, overlaid
from foamwright.model import Bridging, FileStyle, Footprint, Limits, Stock, Tool, TrueFace
from foamwright.profile_measured import metres_gone
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile
from foamwright.series import settled

#: Cutting speed where neither the material nor the machine gives one, mm/s; for the time only.
CUT_SPEED = 50.0
#: Turns up to this need no swivel of a drag knife, degrees (common practice, no source).
SWIVEL_ANGLE = 10.0
#: Degrees between an upright edge and the sheet.
UPRIGHT = 90.0
#: How far a blade's edge may lie off its target at the bottom face, where no profile says, mm
#: (common practice, no source).
FAR_FACE_MAX = 1.0
#: How far a knife's closed contour runs on past its start, mm (common practice, no source).
OVERLAP = 1.0
#: Greatest pivot-to-tip offset in use, mm (0.175 to 1.0; a blade seller's and a user's figures):
#: what layout allows for where the machine keeps its offset to itself.
WIDEST_BLADE_OFFSET = 1.0
#: A blade may stand this far off the cut's direction when it goes down, degrees.
RUN_IN_HEADING = 150.0
#: The tip's distance from the line at the end of the run-in, mm.
RUN_IN_SLACK = 0.002
#: Strip of scrap beside a knife's cut that must stay whole, mm (common practice, no source).
KNIFE_SCRAP = 1.0
#: A kerf's width one way over the other, at most: beyond that one is mistaken (no source).
OVAL_RATIO = 5.0
#: Two thicknesses that differ by less are the same, mm: nominal figures are rounded.
SAME = 1e-6
#: Degrees between a laser's lead and the contour, where no profile says (common practice, no
#: source: slanting leads leave the least scar).
LEAD_ANGLE = 45.0
#: How wide an opening is that a hand takes a piece out of, mm (common practice, no source).
HAND = 100.0
#: Stock that a holding bridge leaves standing, where nobody says, mm (common practice, no source).
BRIDGE_WIDTH = 1.0


def settings_for(machine: MachineProfile, material: MaterialProfile) -> CutSettings:
    """The material's settings for the machine. Raises Refused (J514, J521, J522) with every reason
    why the two don't go together.
    """
    faults = list(pair_faults(machine, material))
    try:
        cut = _own_settings(machine, material)
    except Refused as e:
        raise Refused((*faults, *e.findings)) from None
    refuse_on_fault(faults)
    return cut


def _own_settings(machine: MachineProfile, material: MaterialProfile) -> CutSettings:
    """The material's settings at its own thickness, what was measured in the place of what was
    not. Raises Refused (J514, J526).
    """
    cut = material.cut_for(machine.method, machine.id, machine.tool)
    found = measured_cut(cut, material, machine)
    if {k for p in cut.at for k in p.values} <= {f.key for f in found}:
        cut = cut.model_copy(update={"at": ()})
    return overlaid(settled(cut, material.thickness, _where(machine, material)), found)


def tool_for(
    machine: MachineProfile,
    material: MaterialProfile,
    cut: CutSettings,
    true_face: TrueFace = "top",
) -> Tool:
    """The tool with these settings. Raises Refused with every reason why it can't be meant.

    true_face: where the drafted size is to hold.
    """
    refuse_on_fault(tool_faults(machine, material, cut))
    laser = machine.method == "laser"
    across, along = _kerf(cut)
    taper = _taper(cut)
    depths = _pass_depths(machine, material, cut)
    there = {"top": 1.0, "middle": (1 + taper) / 2, "bottom": taper}[true_face]
    return Tool(
        method=machine.method,
        applies=frozenset(machine.applies),
        marks_by=machine.marks_by,
        curves=machine.curves,
        kerf=round(across * there, 9),
        kerf_y=None if along == across else round(along * there, 9),
        kerf_entry=None if taper == 1 else across,
        kerf_exit=None if taper == 1 else cut.kerf_exit,
        true_face=true_face,
        blade_offset=machine.blade_offset or 0.0,
        swivel_angle=_blade(cut.swivel_angle, machine.swivel_angle, SWIVEL_ANGLE),
        overlap=_blade(cut.overlap, machine.overlap, 0.0 if laser else OVERLAP),
        overrun=_overrun(machine, material, cut) if machine.method == "oscillating-knife" else 0.0,
        edges=cut.edges or machine.edges or "single",
        plunge=_plunge(machine, material, cut) if machine.method == "oscillating-knife" else 0.0,
        blade_width=_blade(cut.blade_width, machine.blade_width, 0.0),
        far_face_max=_blade(cut.far_face_max, machine.far_face_max, FAR_FACE_MAX),
        lead_in=cut.lead_in or 0.0,
        lead_out=cut.lead_out or 0.0,
        lead_angle=LEAD_ANGLE if cut.lead_angle is None else cut.lead_angle,
        clearance=asked_gap(material, cut) if laser else 0.0,
        passes=len(depths) or cut.passes,
        pass_depths=depths,
        focus_depth=cut.focus_depth,
        focus_step=cut.focus_step or 0.0,
        cut_speed=_cut_speed(machine, cut),
        travel_speed=machine.travel_speed,
        acceleration=machine.acceleration,
        band=machine.band if machine.feed == "roll" else None,
        far_first=None if machine.feed == "roll" else material.far_first,
    )


def _blade(cut: float | None, machine: float | None, otherwise: float) -> float:
    own = machine if cut is None else cut
    return otherwise if own is None else own


def _kerf(cut: CutSettings) -> tuple[float, float]:
    """Full widths across and along the sheet where the tool goes in, mm."""
    either = cut.kerf or 0.0
    across = either if cut.kerf_x is None else cut.kerf_x
    return across, either if cut.kerf_y is None else cut.kerf_y


def _taper(cut: CutSettings) -> float:
    """The kerf where the tool comes out, as a share of that where it goes in."""
    across, _ = _kerf(cut)
    return 1.0 if cut.kerf_exit is None or not across else cut.kerf_exit / across


def _overrun(machine: MachineProfile, material: MaterialProfile, cut: CutSettings) -> float:
    """How far an edge inclined to the sheet severs the bottom behind the top: t / tan(beta)."""
    return round(material.severed / _slope(machine, cut), 9)


def _plunge(machine: MachineProfile, material: MaterialProfile, cut: CutSettings) -> float:
    """Width of the blade's section at the stock's face when it is down, ahead of its tip, mm.

    A blade whose edge stands upright has no point: it is as wide at the face as anywhere.
    """
    width = _edge_width(machine, cut)
    upright = _blade(cut.edge_angle, machine.edge_angle, UPRIGHT) >= UPRIGHT
    if upright and math.isfinite(width):
        return round(width, 9)
    return round(min(_full_depth(material, cut) / _slope(machine, cut), width), 9)


def _full_depth(material: MaterialProfile, cut: CutSettings) -> float:
    """How deep a blade's tip goes below the stock's face, mm."""
    return max(cut.depth or 0.0, material.severed)


def _pass_depths(
    machine: MachineProfile, material: MaterialProfile, cut: CutSettings
) -> tuple[float, ...]:
    """How deep a knife's tip goes in each pass, mm; nothing where one pass does it.

    By `pass_depth`, the last pass as deep as is needed; else an oscillating knife's passes are even
    (a swivel blade stands as deep in each, pressed harder).
    """
    full = _full_depth(material, cut)
    if cut.pass_depth is not None:
        passes = math.ceil((full - SAME) / cut.pass_depth)
        step = cut.pass_depth
    else:
        passes = cut.passes if machine.method == "oscillating-knife" else 1
        step = full / passes
    if machine.method == "laser" or passes < 2:
        return ()
    return tuple(round(min(k * step, full), 6) for k in range(1, passes + 1))


def footprint_of(tool: Tool) -> Footprint:
    """What alterations must know of the tool's blade; a laser has none."""
    if tool.method == "drag-knife":
        unknown = tool.leaves_to_machine("blade-offset") and not tool.blade_offset
        return Footprint(swing=WIDEST_BLADE_OFFSET if unknown else tool.blade_offset)
    if tool.method == "oscillating-knife":
        ends = 2 if tool.edges == "double" else 1
        return Footprint(0.0, tool.section, tool.overrun, ends, tool.far_face_max)
    return Footprint()


def _slope(machine: MachineProfile, cut: CutSettings) -> float:
    return math.tan(math.radians(_blade(cut.edge_angle, machine.edge_angle, UPRIGHT)))


def _edge_width(machine: MachineProfile, cut: CutSettings) -> float:
    """How much of the blade's width one inclined edge takes, mm; endless where none is given."""
    width = _blade(cut.blade_width, machine.blade_width, math.inf)
    return width / 2 if (cut.edges or machine.edges) == "double" else width


def _cut_speed(machine: MachineProfile, cut: CutSettings) -> float:
    speeds = [s for s in (cut.speed, machine.cut_speed_max) if s is not None]
    return min(speeds, default=CUT_SPEED)


def pair_faults(machine: MachineProfile, material: MaterialProfile) -> Iterator[Finding]:
    """Why this machine can't take this material, whatever the settings: J521, J522."""
    where = _where(machine, material)
    thick = material.thickness if machine.method == "laser" else material.severed
    if thick > machine.max_thickness + SAME:
        what = f"{thick:g} mm is thicker than the {machine.max_thickness:g} mm it takes"
        yield fault("J521", where, what, "choose another machine or thinner stock")
    limp = material.hold or material.stretch != "none"
    if limp and machine.needs_hold and not set(machine.needs_hold) & set(material.hold):
        held = f"held by {' and '.join(material.hold)}" if material.hold else "not held by anything"
        reasons = {"roll": "it would bunch under the rollers", "mat": "it would drag on the mat"}
        reason = reasons.get(machine.feed, "it would move")
        what = f"the material is {held} and not by {' or '.join(machine.needs_hold)}: {reason}"
        mend = "back it and give the backed material a profile of its own, or change the machine"
        yield fault("J522", where, what, mend)


def tool_faults(
    machine: MachineProfile, material: MaterialProfile, cut: CutSettings
) -> Iterator[Finding]:
    """Why this machine can't cut this material with these settings: J521 to J525."""
    where = _where(machine, material)
    yield from pair_faults(machine, material)
    yield from _kerf_faults(where, machine, cut)
    yield from _blade_faults(where, machine, cut)
    if machine.method != "laser":
        yield from _height_faults(where, machine, material, cut)
    if machine.method != "laser" and cut.depth is not None and cut.depth < material.severed - SAME:
        what = f"a depth of {cut.depth:g} mm does not sever {material.severed:g} mm"
        yield fault("J525", where, what, "set the [[cut]]'s depth to the thickness or more")
    edge = _edge_width(machine, cut)
    if machine.method == "oscillating-knife" and _overrun(machine, material, cut) > edge + SAME:
        high = edge * _slope(machine, cut)
        what = f"its edge of {edge:g} mm width severs {high:.1f} mm of {material.severed:g} mm"
        yield fault("J525", where, what, "take a steeper edge_angle or a wider blade")


def blade_due(machine: MachineProfile) -> Iterator[Finding]:
    """J548 where the blade has gone as far as it should."""
    gone = metres_gone(machine.blade_log)
    if machine.blade_life is not None and gone * 1000 >= machine.blade_life:
        known = machine.basis_of("blade_life")
        what = f"its blade has gone {gone:.0f} m of {machine.blade_life / 1000:g} m ({known})"
        mend = "change it with the power off, and tell: profile record MACHINE --blade-changed"
        yield warning("J548", f"machine {machine.id}", what, mend)


def idle_rules(machine: MachineProfile, material: MaterialProfile) -> Iterator[Finding]:
    """L415 where the material wants an order of work that the machine's feed has no use for."""
    if machine.feed == "roll" and material.far_first is not None:
        what = f"far_first does nothing on {machine.id}: a roll is worked in bands as it is fed"
        mend = "cut it in sheets on a flat bed, if it grows too limp"
        yield note("L415", f"material {material.id}", what, mend)


def _height_faults(
    where: str, machine: MachineProfile, material: MaterialProfile, cut: CutSettings
) -> Iterator[Finding]:
    """Stock thicker than the blade in use has edge for."""
    thick = material.severed
    height = _blade(cut.blade_height, machine.blade_height, math.inf)
    if thick > height + SAME:
        what = f"{thick:g} mm is thicker than its blade's {height:g} mm of edge"
        yield fault("J521", where, what, "take a blade with a higher edge or thinner stock")


def _where(machine: MachineProfile, material: MaterialProfile) -> str:
    return f"{material.id or material.name} on {machine.id or machine.name}"


def _kerf_faults(where: str, machine: MachineProfile, cut: CutSettings) -> Iterator[Finding]:
    """J523 where a laser has no kerf, J524 for kerfs that can't be meant together."""
    each = (cut.kerf_x, cut.kerf_y)
    given = [k for k in (cut.kerf, *each) if k is not None]
    if machine.method != "laser":
        if any(given) or cut.kerf_exit:
            what = "the kerf of a knife is not compensated in this version"
            yield fault("J524", where, what, "set kerf to 0 mm, or leave it out")
        return
    if not given:
        yield fault("J523", where, "no kerf is given", "add kerf to the [[cut]] for laser")
        return
    if cut.kerf is not None and each != (None, None):
        what = "kerf stands beside kerf_x or kerf_y, which say the same thing"
        yield fault("J524", where, what, "give kerf alone, or kerf_x and kerf_y")
    elif cut.kerf is None and None in each:
        lacks = "kerf_y" if cut.kerf_y is None else "kerf_x"
        what = f"{lacks} is missing beside its other half"
        yield fault("J524", where, what, f"add {lacks}, or give one kerf for both ways")
    elif max(given) > OVAL_RATIO * min(given):
        what = f"a kerf of {given[0]:g} mm across and {given[-1]:g} mm along the sheet"
        mend = f"measure again: the wider is at most {OVAL_RATIO:g} times the narrower"
        yield fault("J524", where, what, mend)
    if cut.kerf_exit is not None and (cut.kerf_exit == 0) != (max(given) == 0):
        what = f"a kerf of {given[0]:g} mm that is {cut.kerf_exit:g} mm where the tool comes out"
        yield fault("J524", where, what, "measure both faces, or leave kerf_exit out")


def _blade_faults(where: str, machine: MachineProfile, cut: CutSettings) -> Iterator[Finding]:
    if machine.method == "drag-knife" and "blade-offset" not in machine.applies:
        if machine.blade_offset is None:
            mend = (
                'add it to the machine, or applies = ["blade-offset"] where its controller does it'
            )
            yield fault("J523", where, "no blade_offset is given", mend)
        elif machine.blade_offset <= 0:
            what = "blade_offset must be more than 0 mm: a drag knife's tip trails its pivot"
            yield fault("J523", where, what, "measure it, or take it from the blade's sheet")
    if machine.method == "oscillating-knife" and _blade(cut.edge_angle, machine.edge_angle, 0) == 0:
        mend = "add it to the machine or to the [[cut]]: degrees between edge and sheet"
        yield fault("J523", where, "no edge_angle is given", mend)


def style_for(machine: MachineProfile) -> FileStyle:
    """How the machine's software wants its files."""
    return FileStyle(
        dxf=machine.dxf,
        dxf_units=machine.dxf_units,
        origin=machine.origin,
        writes=machine.writes,
        layers=MappingProxyType({str(k): v for k, v in machine.layers.items()}),
        colours=MappingProxyType({str(k): v for k, v in machine.colours.items()}),
        margins=machine.margins,
    )


def limits_for(
    machine: MachineProfile,
    material: MaterialProfile,
    tool: Tool,
    stocks: Iterable[Stock] = (),
    cut: CutSettings | None = None,
) -> Limits:
    """What layout must know: reach, feed, margins, gaps in mm.

    stocks: those of the job, whose longest is a roll feed's reach along; without them the
    material's own.  cut: the settings in use, by default those that the material has.
    """
    settings = cut or _own_settings(machine, material)
    lengths = [s.length for s in stocks] or [s.length for s in material.stock]
    along = max(lengths) if machine.feed == "roll" else math.inf
    edge = _room(tool)
    return Limits(
        reach=(machine.reach[0], min((along, *machine.reach[1:]))),
        feed=machine.feed,
        margins=machine.margins,
        clearance=_clearance(material, tool, settings, edge),
        edge=edge,
        zones=tuple(box_zone((complex(*c.from_), complex(*c.to))) for c in machine.clamp),
        hand=HAND,
    )


def _room(tool: Tool) -> float:
    """How far from its target the tool works, mm: burn and lead, run-in, or overrun."""
    if tool.method == "laser":
        return max(tool.lead_in, tool.lead_out) + tool.widest_kerf
    if tool.method == "drag-knife":
        if tool.leaves_to_machine("blade-offset"):
            return tool.blade_offset or WIDEST_BLADE_OFFSET
        return tool.blade_offset + run_in_length(tool.blade_offset)
    return tool.overrun


def _clearance(material: MaterialProfile, tool: Tool, cut: CutSettings, room: float) -> float:
    """Gap between two targets, mm.

    Laser: the gap that is asked for (by default the thickness, as school guidance has it) between
    the cuts, so a kerf more between the targets.  Knives: room for one tool, and scrap.
    """
    if tool.method == "laser":
        return max(asked_gap(material, cut) + tool.widest_kerf, room)
    swing = tool.blade_offset if tool.method == "drag-knife" else 0.0
    return max(room + max(swing, KNIFE_SCRAP), cut.clearance or 0.0)


def asked_gap(material: MaterialProfile, cut: CutSettings) -> float:
    """mm that two cuts of a laser shall lie apart: by default the stock's thickness."""
    return material.thickness if cut.clearance is None else cut.clearance


def bridging_for(job: BridgeKeys | None, cut: CutSettings) -> Bridging | None:
    """The holding bridges of a piece: the job's, else the profile's; None where there are none.

    A job that gives no width takes the profile's.
    """
    asked = job or cut.bridges
    if asked is None or asked.count == 0:
        return None
    widths = [k.width for k in (job, cut.bridges) if k is not None and k.width is not None]
    return Bridging(asked.count, asked.spacing, widths[0] if widths else BRIDGE_WIDTH)


def bridging_faults(where: str, tool: Tool, bridging: Bridging | None) -> Iterator[Finding]:
    """J527: a knife makes no bridges, and a controller that compensates wants closed contours."""
    if bridging is None:
        return
    if tool.method != "laser":
        what = f"holding bridges are asked for, and a {tool.method} makes none in this version"
        yield fault("J527", where, what, "leave bridges out, or choose a laser")
    elif tool.leaves_to_machine("kerf"):
        what = "holding bridges need the kerf compensated in the file: the machine's own takes "
        what += "closed contours"
        yield fault("J527", where, what, "leave bridges out, or kerf out of the machine's applies")


def run_in_length(
    offset: float, heading: float = RUN_IN_HEADING, slack: float = RUN_IN_SLACK
) -> float:
    """Way in mm until a trailing tip, at first `heading` degrees off, is within `slack` mm of the
    line.

    The tractrix's heading error, tan(theta/2) = tan(theta0/2) exp(-s/e), solved for s where
    the tip's distance e sin(theta) is the slack.  3.8 mm at e = 0.5.
    """
    if offset <= slack:
        return 0.0
    off = math.tan(math.radians(heading) / 2) / math.tan(math.asin(slack / offset) / 2)
    return max(0.0, offset * math.log(off))
