"""What profiles say of a laser besides its kerf: beam, leads, passes, bridges, thicknesses.

Terms.  *Series*: `[[cut.at]]` tables of one `[[cut]]`, each a thickness and the values measured
there; between two of them values are taken by straight lines (`series.py`).  Every point of a
series gives the same keys, and none that the `[[cut]]` itself gives.
Lengths in mm, speeds in mm/s, angles in degrees after validation.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from foamwright.fields import BridgeKeys, Length, Name, Size, Speed, Table, Text, Width
from foamwright.findings import Finding
from foamwright.strict_toml import Source
from foamwright.toml_lines import KeyPath
from foamwright.units import parse_length

Passes = Annotated[int, Field(strict=True, ge=1, le=100)]
#: Degrees between a lead and the contour that it meets: a flatter one would run along its cut.
LeadAngle = Annotated[float, Field(strict=True, ge=15, le=90)]
#: What of a point is no value of the cut.
_OF_THE_POINT = ("thickness", "source")


class BeamKeys(Table):
    """A laser's optics; a cut's values go before its machine's. All three together, or none.

    waist: the beam's full width at its focus.  m2: how many times faster than an ideal beam's it
    spreads.  They tell what beam to expect, beside an estimate; a kerf is measured.
    """

    waist: Size | None = None
    wavelength: Size | None = None
    m2: Annotated[float, Field(strict=True, ge=1, le=100)] | None = None


class CutPoint(Table):
    """One `[[cut.at]]`: what was measured in stock of this thickness. source: where and when."""

    thickness: Size
    kerf: Width | None = None
    kerf_x: Width | None = None
    kerf_y: Width | None = None
    kerf_exit: Width | None = None
    clearance: Width | None = None
    speed: Speed | None = None
    passes: Passes | None = None
    power: Text | None = None
    focus: Text | None = None
    air: Text | None = None
    focus_depth: Length | None = None
    focus_step: Length | None = None
    source: Name | None = None

    @property
    def values(self) -> Mapping[str, Any]:
        """The cut's keys that this point gives."""
        return self.model_dump(exclude_none=True, exclude=set(_OF_THE_POINT))


class LaserKeys(BeamKeys):
    """What a `[[cut]]` says of a laser alone.

    lead_in, lead_out: lengths in the scrap before and after a contour; lead_angle: between them and
    it.  focus_depth: of the first pass's focus below the face; focus_step: how much deeper each
    further pass has it.  bridges: what holds a piece in its sheet.  at: the series by thickness.
    """

    lead_in: Width | None = None
    lead_out: Width | None = None
    lead_angle: LeadAngle | None = None
    focus_depth: Length | None = None
    focus_step: Length | None = None
    bridges: BridgeKeys | None = None
    at: Annotated[tuple[CutPoint, ...], Field(max_length=100)] = ()

    @model_validator(mode="after")
    def _optics(self) -> LaserKeys:
        beam = (self.waist, self.wavelength, self.m2)
        if any(v is not None for v in beam) and None in beam:
            raise ValueError("waist, wavelength and m2 go together")
        return self


#: Keys of a `[[cut]]` that only a laser has.
LASER_ONLY = (*BeamKeys.model_fields, "lead_out", "lead_angle", "focus_depth", "focus_step", "at")


def laser_faults(kind: Literal["material", "machine"], source: Source) -> Iterator[Finding]:
    """J513 for what a profile's own tables say of a laser that can't be meant, each with its line.

    What has the wrong kind is passed over: the reader of the values tells it.
    """
    if kind == "machine":
        yield from _of_no_laser(source, (), source.data)
        return
    cuts = source.data.get("cut")
    for number, cut in enumerate(cuts if isinstance(cuts, list) else ()):
        if isinstance(cut, Mapping):
            yield from _of_no_laser(source, ("cut", number), cut)
            yield from _series(source, ("cut", number), cut)


def _of_no_laser(source: Source, path: KeyPath, table: Mapping[str, Any]) -> Iterator[Finding]:
    method = table.get("method")
    if method in ("drag-knife", "oscillating-knife"):
        for key in (*LASER_ONLY, "bridges"):
            if key in table:
                what = f"goes with a laser, and this is for a {method}"
                yield source.fault("J513", (*path, key), what, "leave it out")


def _series(source: Source, path: KeyPath, cut: Mapping[str, Any]) -> Iterator[Finding]:
    listed = cut.get("at")
    points = [
        ((*path, "at", k), p)
        for k, p in enumerate(listed if isinstance(listed, list) else ())
        if isinstance(p, Mapping)
    ]
    every = {k for _, p in points for k in p} & (CutPoint.model_fields.keys() - {*_OF_THE_POINT})
    for at, point in points:
        for key in sorted(every & point.keys() & cut.keys()):
            what = "stands in the [[cut]] as well"
            yield source.fault("J513", (*at, key), what, "say it in one of the two places")
        for key in sorted(every - point.keys()):
            what = f"gives no {key}, which another thickness gives"
            yield source.fault("J513", at, what, "give the same keys for every thickness")
    for (_, before), (at, point) in pairwise(points):
        low, high = _thickness(before), _thickness(point)
        if low is not None and high is not None and high <= low:
            what = f"{high:g} mm does not lie above the {low:g} mm before it"
            yield source.fault("J513", (*at, "thickness"), what, "list each once, thinnest first")


def _thickness(point: Mapping[str, Any]) -> float | None:
    try:
        return parse_length(point["thickness"], "")
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
