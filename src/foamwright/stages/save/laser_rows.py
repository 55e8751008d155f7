"""Rows of the operator's sheet for a laser: passes, focus by pass, expected beam, kerf's origin.

Does not say what is compensated: `sheet_view` prints the cut's own values.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from foamwright.beam import Optics, at_the_faces
from foamwright.model import Tool
from foamwright.stages.save.sheet import Setting

#: Optics as profiles name them.
_OPTICS = ("waist", "wavelength", "m2")


def laser_rows(
    tool: Tool, told: Mapping[str, Any], gear: Mapping[str, Any], thickness: float
) -> Iterator[Setting]:
    """Rows for a laser's tool. told, gear: the material's and the machine's values as recorded."""
    if tool.method != "laser":
        return
    yield from _points(told, thickness)
    if tool.passes > 1:
        yield Setting("Passes", _passes(tool), "job", "")
    if tool.focus_depth is not None and tool.passes > 1:
        depths = [tool.focus_depth + k * tool.focus_step for k in range(tool.passes)]
        said = f"{_depth(depths[0])}, in every pass"
        if tool.focus_step:
            said = "; ".join(f"{k}: {_depth(d)}" for k, d in enumerate(depths, 1))
        yield Setting("Focus by pass", said, "job", "")
    yield from _beam(tool, told, gear, thickness)


def _passes(tool: Tool) -> str:
    said = f"{tool.passes} of all that cuts through, marks once; the file holds each contour once"
    if tool.focus_step:
        return f"{said}: run the cuts of the whole sheet, set the focus anew, run them again"
    return f"{said}: let the machine repeat each before the next"


def _depth(depth: float) -> str:
    if depth == 0:
        return "on the face"
    return f"{abs(depth):g} mm {'below' if depth > 0 else 'above'} the face"


def _points(told: Mapping[str, Any], thickness: float) -> Iterator[Setting]:
    """Which thicknesses the cut's values were taken from."""
    points = told.get("cut.at") or ()
    if not points:
        return
    at = [f"{p['thickness']:g}" for p in points]
    said = f"what was found in {at[0]} mm stock"
    if len(at) > 1:
        said = f"what was found in {at[0]} and {at[1]} mm stock, by a straight line"
    sources = [p["source"] for p in points if p.get("source")]
    if sources:
        said += f" ({'; '.join(dict.fromkeys(sources))})"
    name = f"Values at {thickness:g} mm from"
    yield Setting(name, said, str(told.get("cut.basis", "estimate")), "")


def _beam(
    tool: Tool, told: Mapping[str, Any], gear: Mapping[str, Any], thickness: float
) -> Iterator[Setting]:
    """The beam that the optics let expect, beside an estimate only: a measured kerf needs none."""
    optics = [told.get(f"cut.{k}", gear.get(k)) for k in _OPTICS]
    bases = told.get("cut.bases") or {}
    if bases.get("kerf", told.get("cut.basis", "estimate")) != "estimate" or None in optics:
        return
    if tool.focus_depth is None:
        return
    faces = at_the_faces(Optics(*optics), thickness, tool.focus_depth, tool.passes, tool.focus_step)
    said = f"{faces.entry:.2f} mm where it goes in, {faces.exit:.2f} mm where it comes out; "
    said += "not used: a coupon measures the kerf"
    yield Setting("Beam to expect", said, "calculated", "")
