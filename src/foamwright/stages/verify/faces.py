"""Where a piece's edge lies on the faces that do not hold its size, where the kerf tapers.

The tool's section on each face runs along the written path, and the part that it frees there is
measured against the target.  Top is where the tool goes in, however the stock lies.
Does not judge: how far a face may be off is the profile's and the maker's matter, but what is cut
away or hangs on there is told as a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, TypeAlias

import numpy as np

from foamwright.geometry.oval import Oval
from foamwright.geometry.region import (
    Region,
    boundary_points,
    contains_points,
    directed_deviation,
)
from foamwright.model import Tool
from foamwright.stages.verify.compare import STEP, Face, Fault, freed_part, hangs_on, window_of
from foamwright.stages.verify.simulate import Trace
from foamwright.stages.verify.targets import Target

Side: TypeAlias = Literal["top", "bottom"]

#: Two kerfs that differ by less are the same, mm.
SAME = 1e-6
_ANEW = "cut the job anew"


def other_faces(tool: Tool) -> tuple[tuple[Side, Oval], ...]:
    """The faces that do not hold the drafted size, with the section of what is removed there."""
    if tool.kerf_entry is None or tool.kerf_exit is None:
        return ()
    widths: tuple[tuple[Side, float], ...] = (("top", tool.kerf_entry), ("bottom", tool.kerf_exit))
    beam = tool.beam
    return tuple(
        (side, Oval(beam.rx * width / tool.kerf, beam.ry * width / tool.kerf))
        for side, width in widths
        if side != tool.true_face and abs(width - tool.kerf) > SAME
    )


def prove_faces(
    target: Target, cuts: Sequence[Trace], tool: Tool, limit: float
) -> tuple[tuple[Face, ...], list[Fault]]:
    """Each other face as its own simulation leaves it. cuts: the severing traces near the piece."""
    lines = [c.line(0) for c in cuts]
    made: list[Face] = []
    faults: list[Fault] = []
    for side, section in other_faces(tool):
        part = freed_part(target, lines, section, limit, by_hand=tool.beam)
        if part is None:
            faults.append(_fault(target, f"its inside is cut away at the {side} face"))
        elif hangs_on(part, window_of(target, section)):
            faults.append(_fault(target, f"it is not cut free at the {side} face"))
        else:
            made.append(_measured(side, part, target, tool.beam, limit))
    return tuple(made), faults


def _fault(target: Target, what: str) -> Fault:
    return Fault("V009", target.inside, what, _ANEW)


def _measured(side: Side, part: Region, target: Target, true: Oval, limit: float) -> Face:
    """The part's edge against its target, but about bridges, where a hand severs it."""
    wanted = target.closed(true)
    points = boundary_points(part, STEP)
    points = points[~target.at_bridges(points, 3 * true.radius + limit)]
    off = directed_deviation(points, wanted)
    signed = np.where(contains_points(wanted, points), off, -off)
    return Face(side, float(signed.min()), float(signed.max()))


def told(tool: Tool, faces: Sequence[Face], back: bool, limit: float) -> str:
    """What to tell of a sheet whose pieces' other faces were measured so; nothing where none was.

    back: the sheet lies face down, so that the tool goes in at the material's back.
    """
    said = []
    for side, _ in other_faces(tool):
        mine = [f for f in faces if f.side == side]
        if mine:
            amount = _amount(min(f.least for f in mine), max(f.most for f in mine), limit)
            said.append(f"{amount} at the {_named(side, back)}")
    if not said:
        return ""
    widths = f"{tool.kerf_entry:g} mm at the top and {tool.kerf_exit:g} mm at the bottom"
    true = "halfway through" if tool.true_face == "middle" else f"at the {tool.true_face} face"
    return f"the kerf is {widths}: the size holds {true}, the edge lies {', '.join(said)}"


def _named(side: Side, back: bool) -> str:
    if not back:
        return f"{side} face"
    return f"{side} face, the material's {'back' if side == 'top' else 'front'}"


def _amount(least: float, most: float, limit: float) -> str:
    """`0.050 mm inside it`, `0.030 to 0.075 mm beyond it`: a range where it is wider than the
    limit, else what is farthest off.
    """
    if least < 0 < most and most - least > limit:
        return f"from {most:.3f} mm inside it to {-least:.3f} mm beyond it"
    inside = most + least > 0
    low, high = sorted((abs(least), abs(most)))
    span = f"{low:.3f} to {high:.3f}" if high - low > limit else f"{high:.3f}"
    return f"{span} mm {'inside' if inside else 'beyond'} it"
