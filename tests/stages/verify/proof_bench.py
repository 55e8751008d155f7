"""Folders of cut files made by hand for the proof's tests: pieces, cuts, tools; and planted faults.

Targets and cuts are written down in closed form here, so that the proof is tested against
mathematics, not against the project's own compensation.
"""

from __future__ import annotations

import cmath
import hashlib
import json
import math
import pathlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line, Segment
from foamwright.model import (
    Copy,
    Cut,
    FileStyle,
    Mark,
    Opening,
    Operation,
    Piece,
    Placement,
    Program,
    Sheet,
    Slit,
    Stock,
    Tool,
)
from foamwright.record import Record, Verification, checksum_of
from foamwright.stages.save.dxf import dxf_text
from foamwright.stages.save.record import file_entry, piece_entry, sheet_entry
from foamwright.stages.save.svg import svg_text
from foamwright.stages.verify import verify

LASER = Tool("laser", kerf=0.2)
DRAG = Tool("drag-knife", blade_offset=0.5)
SIZE = (200.0, 150.0)


@dataclass(frozen=True)
class Bench:
    """One sheet's pieces and cuts, and how they are written."""

    pieces: tuple[Piece, ...]
    cuts: tuple[Cut, ...]
    tool: Tool = LASER
    style: FileStyle = field(default_factory=FileStyle)
    size: tuple[float, float] = SIZE
    unreached_max: float = 0.5

    def program(self) -> Program:
        stock = Stock("card", "sheet", *self.size)
        placed = tuple(
            Placement(Copy(f"{p.name}/drawn/1", p.name, p, False, "card", "bench"), 0.0, 0.0, 0.0)
            for p in self.pieces
        )
        sheet = Sheet(1, stock, "bench", *self.size, placed)
        return Program(sheet, self.tool, self.cuts, 1.0)

    def write(self, folder: pathlib.Path) -> pathlib.Path:
        program = self.program()
        texts = {
            "job-1.dxf": dxf_text(program, self.style),
            "job-1.svg": svg_text(program, self.style),
        }
        kinds = {"job-1.dxf": "dxf", "job-1.svg": "svg"}
        files = []
        for name, text in texts.items():
            (folder / name).write_bytes(text.encode())
            files.append(file_entry(name, kinds[name], program, self.style, text.encode()))  # type: ignore[arg-type]
        usable = (0.0, 0.0, *self.size)
        record = Record(
            version="0",
            job="bench",
            unreached_max_mm=self.unreached_max,
            sheets=(sheet_entry(program, 2.0, usable),),
            pieces=tuple(piece_entry(p, 1) for p in program.sheet.placements),
            files=tuple(files),
            layout={},
            time_s=1.0,
        )
        (folder / "record.json").write_text(record.to_text(), encoding="utf-8")
        return folder

    def prove(self, folder: pathlib.Path) -> tuple[Verification, tuple[Finding, ...]]:
        return verify(self.write(folder))


def faults(findings: Sequence[Finding]) -> list[tuple[str, str]]:
    """Code and piece of every fault."""
    return [(f.code, f.piece) for f in findings if f.is_fault]


def edit(
    folder: pathlib.Path, name: str, change: Callable[[str], str], rehash: bool = True
) -> None:
    """Changes a cut file's text, and the record's hash with it."""
    path = folder / name
    before = path.read_text(encoding="utf-8")
    after = change(before)
    assert after != before
    path.write_text(after, encoding="utf-8")
    if rehash:
        amend(folder, lambda r: set_hash(r, name, after))


def amend(
    folder: pathlib.Path, change: Callable[[dict[str, Any]], None], seal: bool = True
) -> None:
    """Changes the record, and its checksum with it."""
    path = folder / "record.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    change(data)
    if seal:
        data["checksum"] = checksum_of(data)
    path.write_text(json.dumps(data), encoding="utf-8")


def set_hash(record: dict[str, Any], name: str, text: str) -> None:
    for entry in record["files"]:
        if entry["name"] == name:
            entry["sha256"] = hashlib.sha256(text.encode()).hexdigest()


# Pieces and cuts in closed form


def square(name: str, corner: complex, side: float) -> Piece:
    return Piece(name, rectangle(corner, side, side))


def rectangle(corner: complex, wide: float, high: float) -> Path:
    return Path.polygon([corner, corner + wide, corner + complex(wide, high), corner + 1j * high])


def rounded(corner: complex, wide: float, high: float, radius: float) -> Path:
    """A rectangle offset outward by a radius: the path of a beam about it."""
    made: list[Segment] = []
    points = [corner, corner + wide, corner + complex(wide, high), corner + 1j * high]
    for k, p in enumerate(points):
        ahead = cmath.exp(1j * k * math.pi / 2)
        end = points[(k + 1) % 4]
        right = -1j * ahead * radius
        made.append(Line(p + right, end + right))
        made.append(Arc(end + right, end + right * 1j, math.tan(math.pi / 8)))
    return Path.of(made, True)


def outline_cut(piece: Piece, path: Path, **more: Any) -> Cut:
    return cut(piece, "outline", "CUT_OUTER", path, **more)


def cut(piece: Piece, contour: str, operation: Operation, path: Path, **more: Any) -> Cut:
    return Cut(f"{piece.name}/drawn/1", contour, operation, path, **more)


def with_slits(piece: Piece, *slits: Path) -> Piece:
    return Piece(
        piece.name,
        piece.outline,
        piece.openings,
        tuple(Slit(str(k), s) for k, s in enumerate(slits)),
        piece.marks,
    )


def ring(name: str, centre: complex, outer: float, inner: float) -> Piece:
    hole = Path.circle(centre, inner).reversed()
    return Piece(name, Path.circle(centre, outer), (Opening("eye", hole),))


def cross(name: str, at: complex, arm: float) -> Mark:
    lines = [Path.polygon([at - d * arm, at + d * arm], closed=False) for d in (1, 1j)]
    return Mark(name, "cross", at, tuple(lines))
