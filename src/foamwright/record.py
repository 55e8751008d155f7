"""The record of a cut (`record.json`): what was made, from what, for which tool, and the proof.

Plain data that `save` writes and `verify` reads, so that neither needs the other.  Paths are SVG
path data (`geometry/pathdata.py`) in sheet coordinates, y up, every digit kept.
Does not compute anything but its own checksum.
"""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

#: The greatest `unreached_max` that a job may ask for, mm.
UNREACHED_AT_MOST = 100.0


class Entry(BaseModel):
    """A table of the record: nothing unknown, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


#: A measure of nought or more, and one of more than nought: mm, seconds, counts.
Amount = Annotated[float, Field(ge=0)]
Size = Annotated[float, Field(gt=0)]


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


class BridgeEntry(Entry):
    """A holding bridge: the middle of the target's stretch that stays uncut, in sheet mm; the
    stretch's length, and the width of the stock that stands.
    """

    x: float
    y: float
    length: float
    width: float


class PieceEntry(Entry):
    """A copy on its sheet. target: outline and openings; slits and marks: path data each.

    bridges: all that hold it in its sheet; they are left for the hand.
    turned: laid as its mirror image, to be turned over by hand.  grain: where its grain runs on the
    sheet, degrees; 90 is along it.
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
    bridges: tuple[BridgeEntry, ...] = ()
    turned: bool = False
    grain: float | None = None


class ZoneEntry(Entry):
    """A part of a sheet that pieces are kept off, as path data; pieces: only these, if any."""

    outline: str
    pieces: tuple[str, ...] = ()


class SheetEntry(Entry):
    """A sheet. times_s: seconds of each operation, its travel with it; together `time_s`.

    stock: its kind and name.  outline: of stock that is no rectangle, path data; room: how far
    inside it, and away from zones, pieces lie at least.  price: of the material used.
    """

    number: int
    material: str
    machine: str
    width: Size
    length: Size
    thickness: Size
    usable: tuple[float, float, float, float]
    back: bool = False
    density: Annotated[float, Field(ge=0, le=1)]
    used_length_mm: Amount
    time_s: Amount
    times_s: dict[str, Amount] = {}
    stock: str = ""
    outline: str = ""
    zones: tuple[ZoneEntry, ...] = ()
    room: Amount = 0.0
    price: Amount | None = None


class ContourEntry(Entry):
    """One run of the tool, in cutting order. left: mm of its target left for the hand; start: where
    it begins, in sheet mm."""

    copy_name: str
    contour: str
    operation: str
    band: Annotated[int, Field(ge=0)] = 0
    left: Amount = 0.0
    start: tuple[float, float] | None = None


class FileEntry(Entry):
    """A written cut file. scale: mm in a unit of the file; origin: the file's zero in sheet mm."""

    name: str
    sheet: int
    material: str
    machine: str
    format: Literal["dxf", "svg"]
    version: str
    unit: str
    scale: Size
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
    depth: Amount


class PieceProof(Entry):
    copy_name: str
    worst_deviation_mm: Amount
    x: float = 0.0
    y: float = 0.0


class FaceEntry(Entry):
    """Where a piece's edge lies on a face that does not hold its size, as the tool's section there
    leaves it: mm inside its target (beyond it: below nought), at least and at most.
    """

    copy_name: str
    face: Literal["top", "bottom"]
    least_mm: float
    most_mm: float


class Verification(Entry):
    passed: bool
    limit_mm: Size
    worst_deviation_mm: Amount
    unreached: tuple[UnreachedEntry, ...] = ()
    left_mm: Amount = 0.0
    far_face_mm: float = 0.0
    pieces: tuple[PieceProof, ...] = ()
    faces: tuple[FaceEntry, ...] = ()


class PermitEntry(Entry):
    material: str
    machine: str
    issued_by: str
    reference: str
    date: str
    expires: str | None = None
    data_sheet: str | None = None


Point = tuple[float, float]


class ExchangeNotch(Entry):
    """A notch of a pattern exchange file, in its block's mm and degrees."""

    layer: str
    at: Point
    depth: Size
    width: Amount
    angle: float


class ExchangePiece(Entry):
    """A block of a pattern exchange file: path data in the block's own mm, by the standard's layer.

    lines: layer to paths: 1 boundary, 8 internal lines, 11 cutouts and slits, 14 sew lines.
    """

    name: str
    block: str
    material: str
    count: Annotated[int, Field(ge=0)]
    mirrored: Annotated[int, Field(ge=0)]
    grain: float
    lines: dict[str, tuple[str, ...]]
    drills: tuple[Point, ...] = ()
    notches: tuple[ExchangeNotch, ...] = ()


class ExchangeEntry(Entry):
    """The pattern exchange file (ASTM D6673), which is no cut file. off_mm: how far its chords and
    rounding may lie off the lines."""

    name: str
    units: Literal["metric", "english"]
    off_mm: Size
    pieces: tuple[ExchangePiece, ...]


class Record(Entry):
    """The whole record. others: the run's files that are neither cut files nor this record;
    sealed: sha256 of those that must stay as they are, the operator's sheet, by name."""

    schema_version: Literal[1] = 1
    version: str
    job: str
    unreached_max_mm: Annotated[float, Field(ge=0, le=UNREACHED_AT_MOST)] = 0.5
    inputs: tuple[InputEntry, ...] = ()
    profiles: tuple[ProfileEntry, ...] = ()
    permits: tuple[PermitEntry, ...] = ()
    sheets: tuple[SheetEntry, ...]
    pieces: tuple[PieceEntry, ...]
    files: tuple[FileEntry, ...]
    exchange: ExchangeEntry | None = None
    others: tuple[str, ...] = ()
    sealed: dict[str, str] = {}
    layout: dict[str, Any]
    time_s: Amount
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
