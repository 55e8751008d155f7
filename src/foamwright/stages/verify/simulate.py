"""What a tool does when it follows a file's runs: where its edge goes, at the face and below it.

Laser: a disc of the kerf's width, or an oval where that differs in x and y, runs along the path.
Drag knife: the tip trails the pivot, its heading unknown at the start of the file and kept through
every lift after it.  Oscillating knife: the edge's top follows the stroke, and its lower end trails
(`section`), so that the bottom face is severed up to that much short of a stroke's exit (and,
double-edged, of its entry).  A controller's blade offset is simulated too; its kerf, its overrun
and its turning of a blade are taken as done.
Does not know the pieces.
"""

from __future__ import annotations

import cmath
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, get_args

import numpy as np
from pydantic import TypeAdapter, ValidationError

from foamwright.geometry.oval import POINT, Oval
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region, polyline
from foamwright.geometry.segments import Points
from foamwright.model import Tool, TrueFace
from foamwright.stages.verify.blade import driven_by_controller, tip_trace
from foamwright.stages.verify.section import (
    Sections,
    is_straight,
    overreach,
    sections,
    severed_below,
)

#: Headings of the blade off the first move at the start of a file, degrees: all up to 150 off may
#: be; these stand for them.
START_HEADINGS = (-150.0, -90.0, -20.0, 60.0, 150.0)
#: Two kerfs that differ by less are the same, mm: they are kept with 9 decimals.
SAME = 1e-6
#: Operations whose runs sever the stock.
SEVERING = frozenset({"CUT_INNER", "CUT_OUTER"})
#: Operations whose runs must lie on the record's slits and marks.
WITHIN = frozenset({"PEN", "SCORE", "HOLE", "CUT_SLIT"})
#: Operations that do not go through to the bottom face.
ON_THE_FACE = frozenset({"PEN", "SCORE"})


#: The lengths that a tool's measure may have where it has one, mm.
LENGTHS = (1e-6, 1e3)
_TOOL = TypeAdapter(Tool)


class BadToolError(Exception):
    """The record's tool is not one."""


@dataclass(frozen=True)
class Trace:
    """One run as the stock sees it.

    number: its place in the file, from nought.  edges: the line that the tool's middle or tip
    follows on the true face, one for each start heading that still matters.  beam: the section of
    what is removed.  bottom: the line severed at the bottom face, empty where none is; None: the
    same as the face.  double: the blade lags at a stroke's start too.  blade: its sections on the
    way, where they leave the line.
    """

    number: int
    operation: str
    path: Path
    edges: tuple[Points, ...]
    beam: Oval
    bottom: Points | None = None
    double: bool = False
    blade: Sections | None = None

    def edge(self, variant: int) -> Points:
        return self.edges[min(variant, len(self.edges) - 1)]

    @cached_property
    def lines(self) -> tuple[Region, ...]:
        return tuple(polyline(e) for e in self.edges)

    def line(self, variant: int) -> Region:
        return self.lines[min(variant, len(self.lines) - 1)]


def read_tool(values: Mapping[str, Any]) -> Tool:
    """The tool of a record's file. Raises BadToolError with the reason."""
    known = {f.name for f in fields(Tool)}
    if set(values) - known or "method" not in values:
        raise BadToolError(
            f"unknown or missing: {', '.join(sorted(set(values) - known)) or 'method'}"
        )
    try:
        tool = _TOOL.validate_json(json.dumps(dict(values)), strict=True)
    except ValidationError as err:
        first = err.errors()[0]
        raise BadToolError(f"{first['loc'][0]}: {first['msg']}") from None
    if tool.method == "hand":
        raise BadToolError("method: what is cut by hand has no file")
    lengths = (tool.kerf, tool.blade_offset, tool.overrun)
    if not all(v == 0 or LENGTHS[0] <= v <= LENGTHS[1] for v in lengths):
        raise BadToolError("kerf, blade_offset and overrun are lengths in mm from nought up")
    wrong = next(_wrong_kerf(tool), None)
    if wrong:
        raise BadToolError(wrong)
    return tool


def _wrong_kerf(tool: Tool) -> Iterator[str]:
    """Why a tool's kerfs don't agree with each other and with the true face."""
    if tool.true_face not in get_args(TrueFace):
        yield f"no face {tool.true_face!r}"
        return
    more = [v for v in (tool.kerf_y, tool.kerf_entry, tool.kerf_exit) if v is not None]
    if not all(isinstance(v, int | float) and 0 < v < math.inf for v in more):
        yield "kerf_y, kerf_entry and kerf_exit are lengths in mm above nought"
    elif more and not tool.kerf:
        yield "its kerf is nought one way and not the other"
    elif (tool.kerf_entry is None) != (tool.kerf_exit is None):
        yield "kerf_entry and kerf_exit go together"
    elif tool.kerf_entry is not None and tool.kerf_exit is not None:
        middle = (tool.kerf_entry + tool.kerf_exit) / 2
        held = {"top": tool.kerf_entry, "middle": middle, "bottom": tool.kerf_exit}[tool.true_face]
        if abs(held - tool.kerf) > SAME:
            yield f"its kerf is not that of its {tool.true_face} face"


def removed(tool: Tool) -> Oval:
    """The section of what the tool removes about the line it follows, on the true face.

    A point where the controller keeps the edge on the written path.
    """
    return POINT if tool.leaves_to_machine("kerf") else tool.beam


def simulate(runs: Sequence[tuple[str, Path]], tool: Tool, fine: float) -> tuple[Trace, ...]:
    """Each (operation, path) of a file, in order, as the tool does it. fine: mm, for curves."""
    if tool.method == "drag-knife" and tool.blade_offset:
        if tool.leaves_to_machine("blade-offset"):
            return _controlled(runs, tool, fine)
        return _dragged(runs, tool, fine)
    beam = removed(tool)
    turned = tool.method == "oscillating-knife" and tool.section > 0
    turned = turned and not tool.leaves_to_machine("overrun")
    made = []
    for number, (operation, path) in enumerate(runs):
        if turned and operation not in ON_THE_FACE:
            made.append(_stroke(number, operation, path, tool, fine))
            continue
        section = POINT if operation == "PEN" else beam
        made.append(Trace(number, operation, path, (path.flatten(fine),), section))
    return tuple(made)


def _stroke(number: int, operation: str, path: Path, tool: Tool, fine: float) -> Trace:
    """A turned blade on a stroke: what it cuts at the top and the bottom, where its body is."""
    blade = sections(path, tool)
    top = np.concatenate([path.flatten(fine), overreach(path, blade)])
    start, end = severed_below(path, tool, blade)
    bottom = np.zeros(0, dtype=np.complex128)
    if end - start > fine:
        bottom = path.between(start, end).flatten(fine)
    straight = is_straight(path)
    return Trace(
        number,
        operation,
        path,
        (top,),
        removed(tool),
        bottom if tool.overrun else None,
        tool.edges == "double",
        None if straight else blade,
    )


def _controlled(runs: Sequence[tuple[str, Path]], tool: Tool, fine: float) -> tuple[Trace, ...]:
    """A swivel blade whose controller runs the pivot ahead of what is written."""
    beam = removed(tool)
    made = []
    for number, (operation, path) in enumerate(runs):
        if operation == "PEN":
            made.append(Trace(number, operation, path, (path.flatten(fine),), POINT))
            continue
        pivot = driven_by_controller(path, tool.blade_offset)
        tips, _ = tip_trace(pivot, tool.blade_offset, path.segments[0].tangent(0.0), fine)
        made.append(Trace(number, operation, path, (tips,), beam))
    return tuple(made)


def _dragged(runs: Sequence[tuple[str, Path]], tool: Tool, fine: float) -> tuple[Trace, ...]:
    """A swivel blade keeps its heading when lifted; a pen has no blade to turn."""
    headings: tuple[complex, ...] = ()
    beam = removed(tool)
    made = []
    for number, (operation, path) in enumerate(runs):
        if operation == "PEN":
            made.append(Trace(number, operation, path, (path.flatten(fine),), POINT))
            continue
        if not headings:
            first = path.segments[0].tangent(0.0)
            headings = tuple(first * cmath.rect(1.0, math.radians(a)) for a in START_HEADINGS)
        driven = [tip_trace(path, tool.blade_offset, h, fine) for h in headings]
        made.append(Trace(number, operation, path, tuple(t for t, _ in driven), beam))
        headings = _told_apart([h for _, h in driven], tool.blade_offset, fine)
    return tuple(made)


def _told_apart(headings: Sequence[complex], offset: float, fine: float) -> tuple[complex, ...]:
    """The headings, or one of them once they put the tip in the same place."""
    spread = max(abs(h - headings[0]) for h in headings) * offset
    return (headings[0],) if spread < fine / 100 else tuple(headings)
