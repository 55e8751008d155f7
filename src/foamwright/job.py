"""The job file (`job.toml`): strict reading, every error at once, each with its file, line and mend.

`Job` and its parts are what the file says, lengths already in mm.  Names of keys are the contract's.
Does not open drawings or profiles.
"""

from __future__ import annotations

import datetime
import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from foamwright.units import parse_length


def _length(value: Any, info: ValidationInfo) -> float:
    return parse_length(value, (info.context or {}).get("units"))


#: A length in mm after validation; bare numbers take the context's `units`.
Length = Annotated[float, BeforeValidator(_length)]


class Part(BaseModel):
    """A table of the job file: no unknown keys, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


class Station(Part):
    """A place along an edge: mm from its start, or a fraction of its length (one of the two)."""

    mm: float | None = None
    fraction: float | None = None

    def along(self, length: float) -> float:
        """Distance in mm along an edge of this length."""
        return self.mm if self.mm is not None else (self.fraction or 0.0) * length


class Notch(Part):
    """A notch at a station of an edge, or at a named point of the outline."""

    edge: str | None = None
    at: Station | None = None
    point: str | None = None
    shape: Literal["v", "slit", "t", "castle", "u"] = "v"
    depth: Length = 4.0
    width: Length | None = None


class Relief(Part):
    """A V cut in from an edge of foam so that it bends: no notch."""

    edge: str
    at: Station
    depth: Length
    width: Length


class MarkSpec(Part):
    """A registration mark at a place in the drawing's coordinates, or at a named point."""

    shape: Literal["cross", "dot", "hole", "line"] = "cross"
    at: tuple[Length, Length] | None = None
    to: tuple[Length, Length] | None = None
    point: str | None = None
    size: Length = 6.0
    keep: Length = 0.0
    name: str | None = None


class PieceSpec(Part):
    """One `[[piece]]`: where it is drawn and what is to be made of it."""

    name: str
    outline: str
    drawn: Literal["stitch-line", "cut-line"] = "stitch-line"
    material: str
    machine: str | None = None
    count: int = Field(default=1, ge=0)
    mirrored: int = Field(default=0, ge=0)
    fixed: tuple[str, ...] = ()
    allowance: dict[str, Length] = Field(default_factory=dict)
    edges: dict[str, tuple[str, str]] = Field(default_factory=dict)
    notch: tuple[Notch, ...] = ()
    relief: tuple[Relief, ...] = ()
    mark: tuple[MarkSpec, ...] = ()

    @property
    def allowance_width(self) -> float:
        """The allowance of the whole outline, mm."""
        return self.allowance.get("default", 0.0)


class Seam(Part):
    """Two edges that are sewn together."""

    name: str
    joins: tuple[str, str]
    ease: Length = 0.0
    flat: bool = False


class Permit(Part):
    """Who at the site allowed a material on a machine, and until when."""

    material: str
    machine: str
    issued_by: str
    reference: str
    date: datetime.date
    expires: datetime.date | None = None
    data_sheet: str | None = None


class StockSpec(Part):
    """Stock on hand; overrides the material's."""

    material: str
    kind: Literal["roll", "sheet"] | None = None
    width: Length
    length: Length
    count: int | None = Field(default=None, ge=1)


class JobHead(Part):
    """The `[job]` table."""

    name: str
    units: str = "mm"
    machine: str | None = None
    scale: float = Field(default=1.0, gt=0, lt=math.inf)
    corner_angle: float = 3.0
    unreached_max: Length = 0.5


class Job(Part):
    """A whole job."""

    schema_: Literal[1] = Field(default=1, alias="schema")
    job: JobHead
    piece: tuple[PieceSpec, ...] = Field(min_length=1)
    seam: tuple[Seam, ...] = ()
    permit: tuple[Permit, ...] = ()
    stock: tuple[StockSpec, ...] = ()
