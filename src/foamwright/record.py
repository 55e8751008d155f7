"""The record of a cut (`record.json`): what was made, from what, for which tool, and the proof.

Plain data that `save` writes and `verify` reads, so that neither needs the other.  Paths are SVG
path data (`geometry/pathdata.py`) in sheet coordinates, y up, every digit kept.
Does not compute anything but its own checksum.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict


class Entry(BaseModel):
    """A table of the record: nothing unknown, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class InputEntry(Entry):
    """A file that was read, by its name relative to the job, with its hash."""

    name: str
    sha256: str


class ValueEntry(Entry):
    """A profile value as used, and the shelf and file it came from: `package:materials/x.toml`."""

    key: str
    value: Any
    origin: str


class ProfileEntry(Entry):
    kind: Literal["material", "machine"]
    id: str
    values: tuple[ValueEntry, ...]


class PieceEntry(Entry):
    """A copy on its sheet. target: outline and openings; slits and marks: path data each.

    rotation, x, y place the altered piece (mirrored, if so), its box starting at (0, 0).
    """

    name: str
    copy_name: str
    mirrored: bool
    sheet: int
    rotation: float
    x: float
    y: float
    target: str
    slits: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()


class SheetEntry(Entry):
    """A sheet. times_s: seconds of each operation, its travel with it; together `time_s`."""

    number: int
    material: str
    machine: str
    width: float
    length: float
    thickness: float
    usable: tuple[float, float, float, float]
    back: bool = False
    density: float
    used_length_mm: float
    time_s: float
    times_s: dict[str, float] = {}


class ContourEntry(Entry):
    """One run of the tool, in cutting order. left: mm of its target left for the hand."""

    copy_name: str
    contour: str
    operation: str
    band: int = 0
    left: float = 0.0


class FileEntry(Entry):
    """A written cut file. scale: mm in a unit of the file; origin: the file's zero in sheet mm."""

    name: str
    sheet: int
    material: str
    machine: str
    format: Literal["dxf", "svg"]
    version: str
    unit: str
    scale: float
    origin: tuple[float, float]
    layers: dict[str, str]
    tool: dict[str, Any]
    contours: tuple[ContourEntry, ...]
    sha256: str


class UnreachedEntry(Entry):
    """What the tool's size leaves over at a spot: depth in mm beyond the target."""

    copy_name: str
    x: float
    y: float
    depth: float


class PieceProof(Entry):
    copy_name: str
    worst_deviation_mm: float
    x: float = 0.0
    y: float = 0.0


class Verification(Entry):
    passed: bool
    limit_mm: float
    worst_deviation_mm: float
    unreached: tuple[UnreachedEntry, ...] = ()
    left_mm: float = 0.0
    pieces: tuple[PieceProof, ...] = ()


class PermitEntry(Entry):
    material: str
    machine: str
    issued_by: str
    reference: str
    date: str
    expires: str | None = None
    data_sheet: str | None = None


class Record(Entry):
    """The whole record. others: the run's files that are neither cut files nor this record."""

    schema_version: Literal[1] = 1
    version: str
    job: str
    unreached_max_mm: float = 0.5
    inputs: tuple[InputEntry, ...] = ()
    profiles: tuple[ProfileEntry, ...] = ()
    permits: tuple[PermitEntry, ...] = ()
    sheets: tuple[SheetEntry, ...]
    pieces: tuple[PieceEntry, ...]
    files: tuple[FileEntry, ...]
    others: tuple[str, ...] = ()
    layout: dict[str, Any]
    time_s: float
    findings: tuple[str, ...] = ()
    verification: Verification | None = None
    checksum: str = ""

    def to_text(self) -> str:
        """Canonical JSON with the checksum filled in; the same record gives the same bytes."""
        data = self.model_dump(mode="json", exclude={"checksum"})
        data["checksum"] = checksum_of(data)
        return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def checksum_of(data: dict[str, Any]) -> str:
    """sha256 over the record's data without its `checksum`, keys sorted, no spaces."""
    bare = {k: v for k, v in data.items() if k != "checksum"}
    text = json.dumps(bare, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
