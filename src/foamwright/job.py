"""The job file (`job.toml`): strict reading, every error at once, each with its line and mend.

`Job` and its parts are what the file says, lengths already in mm.  Names of keys are the
contract's.  Does not open drawings or profiles; what keys must agree on between each other is in
`job_checks.py`.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError, ValidationInfo

from foamwright.exchange import ExchangeUnits
from foamwright.fields import BridgeKeys, Length, Name, Size, Table, Text, Width, bare_unit
from foamwright.findings import Finding, Refused
from foamwright.job_checks import cross_checks
from foamwright.job_cores import CoreKeys
from foamwright.job_drafts import DraftSpec
from foamwright.job_marks import Direction, Hand, LabelKeys, PieceLabel, Registration, SewThenCut
from foamwright.job_pattern import (
    AxisName,
    Carry,
    CornerKind,
    ScaleKeys,
    SizeKeys,
    SizeSpec,
    Spread,
    TrueKeys,
)
from foamwright.job_stock import LayKeys, SplitKeys, StockSpec
from foamwright.model import TrueFace
from foamwright.names import distinct_names, safe_name
from foamwright.strict_toml import Source, faults_of, read_toml
from foamwright.units import parse_length, unit_size

#: Unit of bare numbers where a job names none.
DEFAULT_UNITS = "mm"

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Count = Annotated[int, Field(strict=True, ge=0, le=100_000)]


class Part(Table):
    """A table of the job file."""


class Station(Part):
    """A place along an edge: mm from its start, or a fraction of its length (one of the two).

    back: from its end instead.
    """

    mm: float | None = None
    fraction: float | None = None
    back: bool = False

    def along(self, length: float) -> float:
        """Distance in mm along an edge of this length."""
        forth = self.mm if self.mm is not None else (self.fraction or 0.0) * length
        return length - forth if self.back else forth

    @property
    def from_the_other_end(self) -> Station:
        """The same place of the edge's mirror image, which runs the other way."""
        return Station(mm=self.mm, fraction=self.fraction, back=not self.back)


def _station(value: Any, info: ValidationInfo) -> Station:
    """A station from `2 in`, `50 %` or a bare number. Raises ValueError with the reason."""
    if isinstance(value, Station):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("a place along an edge is a length or a share, such as 2 in or 50 %")
    if not isinstance(value, str) or not value.rstrip().endswith("%"):
        place = Station(mm=parse_length(value, bare_unit(info)))
    else:
        try:
            place = Station(fraction=float(value.rstrip()[:-1]) / 100)
        except ValueError:
            raise ValueError(f"{value!r} is not a share such as 50 %") from None
    if place.mm is not None and place.mm < 0:
        raise ValueError("must not lie before the edge's start")
    if place.fraction is not None and not 0 <= place.fraction <= 1:
        raise ValueError("must lie between 0 % and 100 % of the edge")
    return place


Place = Annotated[Station, BeforeValidator(_station)]


class NotchKind(Part):
    """double: two notches, `apart` between their middles (common practice, no source)."""

    shape: Literal["v", "slit", "t", "castle", "u", "mark"] = "v"
    depth: Size = 4.0
    width: Size | None = None
    double: bool = False
    apart: Size = 8.0


class Notch(NotchKind):
    """A notch at a station of an edge, or at a named point of the outline."""

    edge: str | None = None
    at: Place | None = None
    point: str | None = None


class SeamNotch(NotchKind):
    """A notch on both edges of a seam, at a station of the first."""

    at: Place


class Relief(Part):
    """A V cut in from an edge of foam so that it bends: no notch.

    opposite: the edge across, which gets the same relief at the same distance from the same end.
    """

    edge: str
    opposite: str | None = None
    at: Place
    depth: Size
    width: Size


class Dart(Part):
    """A wedge taken up at an edge, with equal legs.

    at: the middle of its mouth; width: of the mouth along the edge, mm.  depth: how far inside its
    point lies, mm, or point: a named one.  relief: diameter of the round hole about it, mm.  cut:
    out of the piece (foam), or folded and marked; where it isn't said it is cut where the edge has
    no allowance.
    """

    edge: str
    at: Place
    width: Size
    depth: Size | None = None
    point: str | None = None
    relief: Width = 0.0
    cut: bool | None = None


class Bevel(Part):
    """An edge that leans by angle degrees from square: cut square here, and marked for the hand."""

    edge: str
    angle: Annotated[Number, Field(gt=0, le=75)]


class MarkSpec(Part):
    """A registration mark at a place in the drawing's coordinates, or at a named point."""

    shape: Literal["cross", "dot", "hole", "line"] = "cross"
    at: tuple[Length, Length] | None = None
    to: tuple[Length, Length] | None = None
    point: str | None = None
    size: Size = 6.0
    keep: Width = 0.0
    name: Name | None = None


class PieceSpec(ScaleKeys):
    """One `[[piece]]`: where it is drawn and what is to be made of it.

    hand: of its copies that are not mirrored.  grain, nap, stretch: arrows in place of drawn ones.
    outline: empty only where the piece is derived from another, as its `core` tells.
    mirror_of: another piece that it must be the mirror image of.  neck_min: its narrowest neck may
    not be narrower, whatever the material says.
    glued: it was glued with contact cement already, which counts to its composition.
    """

    name: Name
    outline: Name = ""
    core: CoreKeys | None = None
    drawn: Literal["stitch-line", "cut-line"] = "stitch-line"
    material: Name
    machine: Name | None = None
    count: Count = 1
    mirrored: Count = 0
    half: AxisName | None = None
    even: AxisName | None = None
    fixed: tuple[str, ...] = ()
    at_least: dict[str, Size] = Field(default_factory=dict)
    allowance: dict[str, Width] = Field(default_factory=dict)
    corners: dict[str, CornerKind] = Field(default_factory=dict)
    mark_stitch_line: bool = False
    edges: dict[str, tuple[Text, Text]] = Field(default_factory=dict)
    carry: tuple[Carry, ...] = ()
    spread: tuple[Spread, ...] = ()
    notch: tuple[Notch, ...] = ()
    relief: tuple[Relief, ...] = ()
    dart: tuple[Dart, ...] = ()
    bevel: tuple[Bevel, ...] = ()
    mark: tuple[MarkSpec, ...] = ()
    hand: Hand | None = None
    grain: Direction | None = None
    nap: Direction | None = None
    stretch: Direction | None = None
    label: PieceLabel | None = None
    sew_then_cut: SewThenCut | None = None
    mirror_of: Name | None = None
    neck_min: Width | None = None
    bridges: BridgeKeys | None = None
    glued: bool = False
    lay: LayKeys = LayKeys()
    split: tuple[SplitKeys, ...] = ()


class Seam(Part):
    """Two edges that are sewn together. ease: what the one is longer by, whichever it is."""

    name: Name
    joins: tuple[str, str]
    ease: Width = 0.0
    flat: bool = False
    notch: tuple[SeamNotch, ...] = ()
    true: tuple[TrueKeys, ...] = ()


def _date(value: Any) -> Any:
    """A date, as TOML or as text: no number, which would be seconds since 1970, and no hour."""
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    try:
        return datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError("must be a date such as 2026-11-02, without quotes") from None


Date = Annotated[datetime.date, BeforeValidator(_date)]


class Permit(Part):
    """Who at the site allowed a material on a machine, and until when."""

    material: Name
    machine: Name
    issued_by: Name
    reference: Name
    date: Date
    expires: Date | None = None
    data_sheet: Name | None = None


def _known_unit(value: Any) -> Any:
    if isinstance(value, str):
        unit_size(value)
    return value


class JobHead(SizeKeys):
    """The `[job]` table. drawing_units: of bare numbers in drawings; beats what a DXF states.

    author, licence: whose pattern it is and how it may be shared; both are told on paper.
    crossings: what becomes of an outline that crosses itself.

    true_face: where the drafted size holds if the kerf tapers; top is where the tool goes in.  It
    is the whole job's, for one tool cuts all pieces of a material.
    exchange: the pattern is written for other shops too, in these units.
    currency: a word told beside prices, which stand as they were typed.
    """

    name: Name
    author: Name | None = None
    licence: Name | None = None
    units: Annotated[str, BeforeValidator(_known_unit)] = DEFAULT_UNITS
    machine: Name | None = None
    drawing_units: Annotated[str, BeforeValidator(_known_unit)] | None = None
    corner_angle: Annotated[Number, Field(gt=0, le=90)] = 3.0
    crossings: Literal["refuse", "even-odd"] = "refuse"
    unreached_max: Annotated[Width, Field(le=100)] = 0.5
    true_face: TrueFace = "top"
    exchange: ExchangeUnits | None = None
    currency: Annotated[Name, Field(max_length=8)] | None = None


class Job(Part):
    """A whole job."""

    schema_: Literal[1] = Field(default=1, alias="schema")
    job: JobHead
    piece: tuple[PieceSpec, ...] = Field(min_length=1)
    size: tuple[SizeSpec, ...] = ()
    draft: tuple[DraftSpec, ...] = ()
    seam: tuple[Seam, ...] = ()
    label: LabelKeys | None = None
    registration: tuple[Registration, ...] = ()
    permit: tuple[Permit, ...] = ()
    stock: tuple[StockSpec, ...] = ()


def load_job(file: Path) -> Job:
    """The job in a file. Raises Refused with all its faults (J501 to J509), each with its line."""
    return _job(read_toml(file))


def job_for_drawing(
    drawing: Path,
    material: str,
    machine: str,
    pieces: Iterable[str],
    *,
    scale: float = 1.0,
    mirrored: int = 0,
    units: str = DEFAULT_UNITS,
) -> Job:
    """The job that cuts each named piece of a drawing once, and `mirrored` mirror images besides.

    The drawing shows cut lines.  units: of bare numbers; a drawing's own unit is its reader's
    matter.  Piece names that can't stand in a job are made so.  Raises Refused as `load_job` does.
    """
    drawn = tuple(pieces)
    data = {
        "job": {"name": drawing.stem or "job", "units": units, "machine": machine, "scale": scale},
        "piece": [
            {
                "name": name,
                "outline": f"{drawing.name}#{piece}",
                "drawn": "cut-line",
                "material": material,
                "mirrored": mirrored,
            }
            for piece, name in zip(drawn, piece_names(drawn), strict=True)
        ],
    }
    return _job(Source(drawing.name, data))


def piece_names(drawn: tuple[str, ...]) -> tuple[str, ...]:
    """The names as drawn where all of them can stand in a job, else safe ones."""
    usable = all(not set(n) & set("/.") and n.isprintable() and n.strip() for n in drawn)
    apart = distinct_names(drawn) == tuple(map(safe_name, drawn))
    return drawn if usable and apart else distinct_names(drawn)


def _job(source: Source) -> Job:
    faults: list[Finding] = []
    job = None
    try:
        job = Job.model_validate(source.data, context={"units": _units(source)})
    except ValidationError as e:
        faults.extend(faults_of(e, source, Job))
    faults.extend(cross_checks(source))
    if job is None or faults:
        raise Refused(sorted(faults, key=lambda f: _line_of(f, source)))
    return job


def _line_of(finding: Finding, source: Source) -> int:
    words = finding.where.removeprefix(source.name).split()
    return int(words[1]) if words[:1] == ["line"] else 0


def _units(source: Source) -> str:
    """The job's units, which must be known before anything else is read."""
    head = source.data.get("job")
    units = head.get("units", DEFAULT_UNITS) if isinstance(head, dict) else DEFAULT_UNITS
    try:
        unit_size(units)
    except (ValueError, TypeError):
        return DEFAULT_UNITS
    return str(units)
