"""Fills in the record of a cut from the programs that were written."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any, Literal

from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import to_path_data
from foamwright.model import Bridge, FileStyle, Piece, Placement, Program, Tool
from foamwright.record import (
    BridgeEntry,
    ContourEntry,
    FileEntry,
    PieceEntry,
    SheetEntry,
    ZoneEntry,
)
from foamwright.stages.save.dxf import file_origin, file_scale
from foamwright.stages.save.layers import used_layers

Box = tuple[float, float, float, float]


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def target_data(piece: Piece) -> str:
    """Outline, then openings, as path data with every digit."""
    paths = [piece.outline, *(o.path for o in piece.openings)]
    return " ".join(to_path_data(p, None) for p in paths)


def piece_entry(placed: Placement, sheet: int, bridges: Sequence[Bridge] = ()) -> PieceEntry:
    piece, copy = placed.piece, placed.copy
    return PieceEntry(
        name=copy.of,
        copy_name=copy.name,
        mirrored=copy.mirrored,
        sheet=sheet,
        rotation=placed.rotation,
        x=placed.x,
        y=placed.y,
        target=target_data(piece),
        slits=tuple(to_path_data(s.path, None) for s in piece.slits),
        marks=tuple(" ".join(to_path_data(p, None) for p in m.paths) for m in piece.marks),
        bridges=tuple(
            BridgeEntry(
                x=round(b.at.real, 6),
                y=round(b.at.imag, 6),
                length=round(b.length, 6),
                width=round(b.width, 6),
            )
            for b in bridges
        ),
        turned=copy.turned,
        grain=round((90.0 + placed.rotation if piece.grain is None else piece.grain) % 360, 6),
    )


def bridges_of(program: Program, copy: str) -> tuple[Bridge, ...]:
    """The holding bridges that a program leaves at a copy, in cutting order."""
    return tuple(c.bridge for c in program.cuts if c.copy == copy and c.bridge is not None)


def sheet_entry(program: Program, thickness: float, usable: Box) -> SheetEntry:
    """usable: left, near, right, far of the place where targets may lie, in sheet mm."""
    sheet = program.sheet
    return SheetEntry(
        number=sheet.number,
        material=sheet.material,
        machine=sheet.machine,
        width=sheet.width,
        length=sheet.length,
        thickness=thickness,
        usable=usable,
        back=sheet.back,
        density=round(sheet.density, 6),
        used_length_mm=round(max(p.piece.outline.bounds[3] for p in sheet.placements), 6),
        time_s=round(program.time_s, 3),
        times_s={operation: round(seconds, 3) for operation, seconds in program.times},
        stock=" ".join(filter(None, (sheet.stock.kind, sheet.stock.name))),
        outline=_whole(sheet.stock.outline),
        zones=tuple(ZoneEntry(outline=_whole(z.outline), pieces=z.pieces) for z in sheet.zones),
        room=sheet.room,
        price=None if sheet.price is None else round(sheet.price, 4),
    )


def _whole(path: Path | None) -> str:
    """Path data with every digit; nothing for no path."""
    return "" if path is None else to_path_data(path, None)


def file_entry(
    name: str, kind: Literal["dxf", "svg"], program: Program, style: FileStyle, data: bytes
) -> FileEntry:
    sheet = program.sheet
    origin = file_origin(program, style) if kind == "dxf" else complex(0, sheet.length)
    return FileEntry(
        name=name,
        sheet=sheet.number,
        material=sheet.material,
        machine=sheet.machine,
        format=kind,
        version=style.dxf if kind == "dxf" else "1.1",
        unit=style.dxf_units if kind == "dxf" else "mm",
        scale=file_scale(style) if kind == "dxf" else 1.0,
        origin=(origin.real, origin.imag),
        layers=used_layers(program, style),
        tool=tool_values(program.tool),
        contours=tuple(
            ContourEntry(
                copy_name=c.copy,
                contour=c.contour,
                operation=c.operation,
                band=c.band,
                left=round(c.left, 6),
                start=(round(c.path.start.real, 6), round(c.path.start.imag, 6)),
            )
            for c in program.cuts
        ),
        sha256=sha256(data),
    )


def tool_values(tool: Tool) -> dict[str, Any]:
    """The tool's parameters as plain JSON values, in a fixed order."""
    lists = {"applies": sorted(tool.applies), "pass_depths": list(tool.pass_depths)}
    return {**asdict(tool), **lists}


def layout_summary(programs: Sequence[Program]) -> dict[str, Any]:
    """Density over all sheets, metres of length used, and how many sheets."""
    sheets = [p.sheet for p in programs]
    covered = sum(s.density * s.area for s in sheets)
    used = sum(max(p.piece.outline.bounds[3] for p in s.placements) for s in sheets)
    return {
        "density": round(covered / sum(s.area for s in sheets), 6),
        "used_length_mm": round(used, 6),
        "sheets": len(sheets),
    }


def total_time(programs: Iterable[Program]) -> float:
    return round(sum(p.time_s for p in programs), 3)
