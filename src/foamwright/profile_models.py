"""Profiles of materials and machines: what their files may say. The keys are the contract's.

Lengths in mm, speeds in mm/s, angles in degrees after validation.  Does not find or combine files
(`profiles.py`), nor judge whether a material may be cut (`safety.py`).
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from foamwright.fields import Acceleration, Length, Name, Size, Speed, Table, Text, Width
from foamwright.findings import Refused, fault
from foamwright.job_stock import ClampKeys, StockKeys, Turns
from foamwright.model import MarkMaker, Method
from foamwright.profile_laser import BeamKeys, LaserKeys
from foamwright.profile_measured import BladeEntry, MeasuredEntry, Operation, ResultEntry
from foamwright.units import parse_length

#: What may hold stock down or together while it is cut.
Hold = Literal["vacuum-film", "carrier", "underlay", "stabiliser"]
Basis = Literal["estimate", "published", "measured"]
#: The bases, the weakest first.
BASES: tuple[Basis, ...] = get_args(Basis)
#: The form of profile files that this version writes; older ones are migrated (`migrations.py`).
SCHEMA: Literal[2] = 2
Layer = Literal[
    "PEN", "SCORE", "HOLE", "CUT_SLIT", "CUT_INNER", "CUT_OUTER", "TEXT", "STOCK", "CHECK"
]
#: Degrees between a blade's edge and the sheet: under 10 the overrun would pass any stock.
EdgeAngle = Annotated[float, Field(strict=True, ge=10, le=90)]
#: Length of one band of a roll's feed, where the machine's profile gives none, mm.
BAND = 300.0


def _way(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("a way with a unit belongs here, such as 300 m")
    way = parse_length(value, "mm" if not isinstance(value, str) else "")
    if way <= 0:
        raise ValueError("must be more than nought")
    return way


def _colour(text: str) -> str:
    if not re.fullmatch(r"#[0-9A-Fa-f]{6}", text):
        raise ValueError("must be a colour such as #D55E00")
    return text.upper()


def _layer_name(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,31}", text):
        raise ValueError("must be 1 to 31 letters, digits, _ or -")
    return text


#: How far a blade goes before it is due, mm; may pass 1 km, unlike any length of stock.
Way = Annotated[float, BeforeValidator(_way)]


class KnownKeys(Table):
    """How values are known: their basis, and that of single ones where it differs.

    source: where and when; with an estimate, its reason.
    """

    basis: Basis = "estimate"
    bases: dict[str, Basis] = Field(default_factory=dict)
    source: Name | None = None

    def basis_of(self, key: str) -> Basis:
        return self.bases.get(key, self.basis)

    @model_validator(mode="after")
    def _known(self) -> Self:
        strange = sorted(set(self.bases) - type(self).model_fields.keys())
        if strange:
            raise ValueError(f"bases names {strange[0]}, which is no key here")
        known = {*self.bases.values(), self.basis} - {"estimate"}
        if known and not self.source:
            raise ValueError(f"basis {min(known)} needs a source: where and when")
        return self


class BladeKeys(Table):
    """What a blade is like; a cut's values go before its machine's.

    edge_angle: of the cutting edge to the sheet.  edges: whether one or both edges cut.
    swivel_angle: turns up to this need no swivel.  overlap: how far a closed contour runs on.
    blade_height: what its edge can sever.  far_face_max: how far the edge may lie off its target
    at the bottom face on a curve, and the blade's flat off its stroke.
    """

    edge_angle: EdgeAngle | None = None
    edges: Literal["single", "double"] | None = None
    blade_width: Size | None = None
    blade_height: Size | None = None
    far_face_max: Width | None = None
    swivel_angle: Annotated[float, Field(strict=True, gt=0, le=90)] | None = None
    overlap: Width | None = None


class CutSettings(BladeKeys, LaserKeys, KnownKeys):
    """One `[[cut]]` of a material: values for a method, or for one machine or tool.

    tool: what must be in the machine for these values (its `tool`).  operation: cut through, or
    score the face for marks.
    kerf, or kerf_x and kerf_y: full width removed where the tool goes in, across and along the
    sheet.  kerf_exit: across it where the tool comes out (along it in proportion).
    pass_depth: how much deeper a knife goes with each pass; the passes follow from it.
    clearance: gap between cuts, where the stock's thickness isn't meant.  blade, force, power,
    focus and air are for the operator, in the machine's own words.  What goes with a laser alone,
    and values by thickness (`at`), are in `profile_laser.py`.
    """

    method: Method
    machine: Name | None = None
    tool: Name | None = None
    operation: Operation = "cut"
    kerf: Width | None = None
    kerf_x: Width | None = None
    kerf_y: Width | None = None
    kerf_exit: Width | None = None
    clearance: Width | None = None
    speed: Speed | None = None
    passes: Annotated[int, Field(strict=True, ge=1, le=100)] = 1
    blade: Text | None = None
    depth: Size | None = None
    pass_depth: Size | None = None
    force: Text | None = None
    power: Text | None = None
    focus: Text | None = None
    air: Text | None = None

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.pass_depth is not None and (self.method == "laser" or self.passes > 1):
            raise ValueError("pass_depth goes with a knife, and says how many passes it takes")
        return self


class StockProfile(StockKeys):
    """One `[[stock]]` of a material."""

    kind: Literal["roll", "sheet"]
    width: Size
    length: Size


class MaterialProfile(KnownKeys):
    """A material. id: the file's name.  backing: of fur, what the blade must sever of it.

    turns: those that a piece without nap, stretch or grain line may have, by default quarter turns.
    far_first: where a sheet grows limp as it is freed, the depth of the bands in which it is worked
    from its far side on; without it the way is the shortest.  A roll is worked as it is fed.
    neck_min: pieces with a narrower neck are refused.
    """

    id: str = ""
    schema_: Literal[2] = Field(default=SCHEMA, alias="schema")
    based_on: Name | None = None
    name: Name
    composition: tuple[Name, ...] = Field(min_length=1)
    composition_basis: Literal["data-sheet", "label", "guess"]
    thickness: Size
    backing: Size | None = None
    cut_from: Literal["front", "back"] = "front"
    turnable: bool = False
    turns: Turns | None = None
    nap: Literal["none", "one-way"] = "none"
    stretch: Literal["none", "across", "along", "both"] = "none"
    hold: tuple[Hold, ...] = ()
    far_first: Size | None = None
    neck_min: Width | None = None
    stock: tuple[StockProfile, ...] = Field(min_length=1)
    cut: tuple[CutSettings, ...] = Field(min_length=1)
    measured: tuple[MeasuredEntry, ...] = ()
    result: tuple[ResultEntry, ...] = ()

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        seen = [aim_of(c) for c in self.cut]
        twice = next((x for x in seen if seen.count(x) > 1), None)
        if twice:
            raise ValueError(f"two [[cut]] tables are for {_aim_said(twice)}: keep one")
        if self.backing is not None and self.backing > self.thickness:
            raise ValueError("the backing is thicker than the whole material")
        return self

    @property
    def severed(self) -> float:
        """Thickness that a blade must sever, mm: fur's backing, else all of it."""
        return self.thickness if self.backing is None else self.backing

    def cut_for(
        self, method: Method, machine: str, tool: str | None = None, operation: Operation = "cut"
    ) -> CutSettings:
        """The settings for a machine of this method with this tool in it: the most specific.

        Raises Refused (J514) where there are none.
        """
        found = self.found_for(method, machine, tool, operation)
        if found is not None:
            return found
        known = ", ".join(dict.fromkeys(_aim_said(aim_of(c)) for c in self.cut))
        what = f"has no [[cut]] for {method} (it has {known})"
        mend = (
            f'choose another machine, or add [[cut]] method = "{method}" to a profile of your own'
        )
        raise Refused([fault("J514", f"material {self.id or self.name}", what, mend)])

    def found_for(
        self, method: Method, machine: str, tool: str | None, operation: Operation
    ) -> CutSettings | None:
        """As `cut_for`; None where there are none."""
        fitting = [
            c
            for c in self.cut
            if (c.method, c.operation) == (method, operation)
            and c.machine in (machine, None)
            and c.tool in (tool, None)
        ]
        return max(fitting, key=lambda c: (bool(c.machine), bool(c.tool)), default=None)


def aim_of(cut: CutSettings) -> tuple[str | None, ...]:
    """What a `[[cut]]` is for; a material has one for each."""
    return (cut.method, cut.machine, cut.tool, cut.operation)


def _aim_said(aim: tuple[str | None, ...]) -> str:
    method, machine, tool, operation = aim
    said = f"{method}" + (f" on {machine}" if machine else "") + (f" with {tool}" if tool else "")
    return said if operation == "cut" else f"{said}, to score"


class MachineProfile(BladeKeys, BeamKeys, KnownKeys):
    """A machine. id: the file's name.  tool: what is in it now, a blade or a lens.

    blade_life: how far a blade goes before it is due.
    reach: across and along; a roll's second is how long a stock it feeds, and may be left out.
    needs_hold: the material must be held by one of these.  band: of the feed, on a roll.
    clamp: boxes of the bed that pieces are kept off.
    """

    id: str = ""
    schema_: Literal[2] = Field(default=SCHEMA, alias="schema")
    based_on: Name | None = None
    name: Name
    method: Method
    reach: Annotated[tuple[Size, ...], Field(min_length=1, max_length=2)]
    margins: tuple[Width, Width, Width, Width] = (0.0, 0.0, 0.0, 0.0)
    clamp: tuple[ClampKeys, ...] = ()
    feed: Literal["flat", "mat", "roll"]
    band: Size = BAND
    max_thickness: Size
    needs_hold: tuple[Hold, ...] = ()
    applies: tuple[Literal["kerf", "blade-offset", "tangent", "overrun"], ...]
    blade_offset: Length | None = None
    tool: Name | None = None
    blade_life: Way | None = None
    blade_log: tuple[BladeEntry, ...] = ()
    measured: tuple[MeasuredEntry, ...] = ()
    marks_by: MarkMaker
    dxf: Literal["r12", "r2000"] = "r2000"
    dxf_units: Literal["mm", "in"] = "mm"
    curves: Literal["arcs", "lines"] = "arcs"
    origin: Literal["bottom-left", "bottom-right", "top-left", "top-right", "centre"] = (
        "bottom-left"
    )
    writes: tuple[Literal["TEXT", "STOCK", "CHECK"], ...] = ()
    cut_speed_max: Speed | None = None
    travel_speed: Speed = 200.0
    acceleration: Acceleration = 1000.0
    layers: dict[Layer, Annotated[str, AfterValidator(_layer_name)]] = Field(default_factory=dict)
    colours: dict[Layer, Annotated[str, AfterValidator(_colour)]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if len(self.reach) == 1 and self.feed != "roll":
            raise ValueError("reach needs two lengths, across and along")
        left, right, near, far = self.margins
        if left + right >= self.reach[0] or (len(self.reach) > 1 and near + far >= self.reach[1]):
            raise ValueError("the margins leave nothing of the reach")
        names = [self.layers.get(x, x).lower() for x in get_args(Layer)]
        if len(set(names)) < len(names):
            raise ValueError("two layers would bear the same name")
        return self
