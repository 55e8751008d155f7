"""A record with its programs for the sheet's tests: foam on a knife table, card on a laser."""

from __future__ import annotations

import cmath
from typing import Any

from foamwright.geometry.path import Path
from foamwright.model import (
    Copy,
    Cut,
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
from foamwright.record import (
    ContourEntry,
    FileEntry,
    PermitEntry,
    ProfileEntry,
    Record,
    SheetEntry,
    UnreachedEntry,
    ValueEntry,
    Verification,
)

FOAM = {
    "name": "Polyurethane foam, 25 mm",
    "composition": ["polyurethane-foam"],
    "composition_basis": "label",
    "thickness": 25.0,
    "hold": ["vacuum-film"],
    "nap": "none",
    "cut.method": "oscillating-knife",
    "cut.speed": 60.0,
    "cut.passes": 1,
    "cut.blade": "single-edge 45",
    "cut.basis": "estimate",
}
CARD = {
    "name": "Card, 1 mm",
    "composition": ["card"],
    "composition_basis": "data-sheet",
    "thickness": 1.0,
    "stretch": "across",
    "cut_from": "back",
    "nap": "one-way",
    "cut.method": "laser",
    "cut.kerf": 0.2,
    "cut.speed": 20.0,
    "cut.power": "45 %",
    "cut.basis": "published",
    "cut.source": "a laboratory's table, 2024",
}
KNIFE = {
    "name": "Flatbed knife, 1200 x 800 mm",
    "method": "oscillating-knife",
    "feed": "flat",
    "applies": [],
    "edge_angle": 45.0,
}
LASER = {
    "name": "Desktop laser, 600 x 400 mm",
    "method": "laser",
    "feed": "flat",
    "applies": ["kerf"],
}
PERMIT = PermitEntry(
    material="card-1mm",
    machine="desk-laser-600",
    issued_by="Site safety officer",
    reference="RA-17",
    date="2026-01-10",
    expires="2026-12-31",
)


def piece(name: str, size: float) -> Piece:
    """A star-edged piece with a round opening, a slit and a cross."""
    points = [
        cmath.rect(size * (1.0 if i % 2 else 0.72), i * cmath.pi / 7) * (1 + 0.25j)
        for i in range(14)
    ]
    cross = (
        Path.polygon([-0.5 * size - 3, -0.5 * size + 3], closed=False),
        Path.polygon([-0.5 * size - 3j, -0.5 * size + 3j], closed=False),
    )
    return Piece(
        name=name,
        outline=Path.polygon(points),
        openings=(Opening("eye", Path.circle(complex(0.3 * size, 0), 0.2 * size).reversed()),),
        slits=(Slit("vein", Path.polygon([-0.2j * size, -0.45j * size], closed=False)),),
        marks=(Mark("toe", "cross", complex(-0.5 * size, 0), cross),),
    )


KNIFE_TOOL = Tool("oscillating-knife", overrun=25.0)
LASER_TOOL = Tool("laser", applies=frozenset({"kerf"}), kerf=0.2)
FOAM_PAIR = ("pu-foam-25mm", "flatbed-knife-1200")
CARD_PAIR = ("card-1mm", "desk-laser-600")


def program(number: int, pair: tuple[str, str], size: tuple[float, float], *names: str) -> Program:
    """A sheet with the named pieces in a row, every second turned, and a cut a contour."""
    laser = pair == CARD_PAIR
    tool = LASER_TOOL if laser else KNIFE_TOOL
    step = size[0] / (len(names) + 0.2)
    placed: list[Placement] = []
    cuts: list[Cut] = []
    for i, name in enumerate(names):
        copy = Copy(name, name.split("/")[0], piece(name, 0.4 * step), i % 2 == 1, *pair)
        placed.append(Placement(copy, 90.0 * (i % 2), step * (i + 0.6), size[1] / 2))
        cuts += contours(placed[-1], "SCORE" if laser else "PEN")
    sheet = Sheet(number, Stock(pair[0], "sheet", *size), pair[1], *size, tuple(placed), laser)
    times = (("SCORE" if laser else "PEN", 5.5 * number), ("CUT_OUTER", 70.0 * number))
    return Program(sheet, tool, tuple(cuts), 75.5 * number, times=times)


def contours(placed: Placement, mark: Operation) -> list[Cut]:
    """A piece's contours in cutting order."""
    target = placed.piece
    runs: list[tuple[str, Operation, Path]] = [("mark:toe", mark, p) for p in target.marks[0].paths]
    runs.append(("slit:vein", "CUT_SLIT", target.slits[0].path))
    runs.append(("opening:eye", "CUT_INNER", target.openings[0].path))
    runs.append(("outline", "CUT_OUTER", target.outline))
    return [Cut(placed.copy.name, contour, op, path) for contour, op, path in runs]


def entry(kind: Any, name: str, values: dict[str, Any]) -> ProfileEntry:
    origin = f"package:{kind}s/{name}.toml"
    told = tuple(ValueEntry(key=k, value=v, origin=origin) for k, v in values.items())
    return ProfileEntry(kind=kind, id=name, values=told)


def file_entry(made: Program, name: str, kind: Any, version: str, unit: str) -> FileEntry:
    contours = tuple(
        ContourEntry(copy_name=c.copy, contour=c.contour, operation=c.operation, left=c.left)
        for c in made.cuts
    )
    sheet = made.sheet
    return FileEntry(
        name=name, sheet=sheet.number, material=sheet.material, machine=sheet.machine, format=kind,
        version=version, unit=unit, scale=25.4 if unit == "in" else 1.0, origin=(0.0, 0.0),
        layers={}, tool={"method": made.tool.method}, contours=contours, sha256="0",
    )  # fmt: skip


def sheet_entry(made: Program) -> SheetEntry:
    sheet = made.sheet
    return SheetEntry(
        number=sheet.number, material=sheet.material, machine=sheet.machine, width=sheet.width,
        length=sheet.length, thickness=1.0, usable=(10, 10, sheet.width - 10, sheet.length - 10),
        back=sheet.back, density=0.5, used_length_mm=sheet.length, time_s=made.time_s,
    )  # fmt: skip


def sample(name: str = "Heron legs", extra: str = "gauge") -> tuple[Record, list[Program]]:
    """The record and its programs: two sheets of foam, one of card."""
    programs = [
        program(1, FOAM_PAIR, (1000, 800), "sole/drawn/1", "sole/mirrored/1", "core/drawn/1"),
        program(2, FOAM_PAIR, (1000, 800), "core/drawn/2"),
        program(3, CARD_PAIR, (300, 420), extra, f"{extra}/2"),
    ]
    files = []
    for made in programs:
        stem = f"heron-{made.sheet.material}-{made.sheet.machine}-{made.sheet.number}"
        bare = made.tool.method == "laser"
        version, unit = ("r12", "in") if bare else ("r2000", "mm")
        files.append(file_entry(made, f"{stem}.dxf", "dxf", version, unit))
        files.append(file_entry(made, f"{stem}.svg", "svg", "1.1", "mm"))
    record = Record(
        version="0.1.0",
        job=name,
        profiles=(
            entry("material", "pu-foam-25mm", FOAM),
            entry("machine", "flatbed-knife-1200", KNIFE),
            entry("material", "card-1mm", CARD),
            entry("machine", "desk-laser-600", LASER),
        ),
        permits=(PERMIT,),
        sheets=tuple(sheet_entry(p) for p in programs),
        pieces=(),
        files=tuple(files),
        layout={},
        time_s=sum(p.time_s for p in programs),
        findings=(
            "warning S004 card-1mm on desk-laser-600: caution: card with a laser",
            "note A001 sole: a V notch lies in the allowance",
        ),
        verification=Verification(
            passed=True,
            limit_mm=0.05,
            worst_deviation_mm=0.00731,
            unreached=(UnreachedEntry(copy_name=extra, x=12.3, y=45.6, depth=0.041),),
            left_mm=12.5,
        ),
    )
    return record, programs
