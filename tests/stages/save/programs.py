"""Programs made by hand for the writers' tests: every operation, bands, arcs wide and narrow."""

from __future__ import annotations

import dataclasses
import difflib
import math
import os
import pathlib
from collections.abc import Sequence

import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import (
    Copy,
    Cut,
    FileStyle,
    Mark,
    Opening,
    Piece,
    Placement,
    Program,
    Sheet,
    Slit,
    Stock,
    Tool,
)

GOLDEN = pathlib.Path(__file__).parents[2] / "golden"
#: The default palette, as Okabe and Ito published it (2008).
OKABE_ITO = {
    "PEN": "#009E73",
    "SCORE": "#56B4E9",
    "HOLE": "#CC79A7",
    "CUT_SLIT": "#E69F00",
    "CUT_INNER": "#0072B2",
    "CUT_OUTER": "#D55E00",
}
PEOPLE = ("TEXT", "STOCK", "CHECK")
ALL_FOR_PEOPLE = FileStyle(writes=PEOPLE)


def tab(at: complex = 20 + 20j) -> Path:
    """A 60 x 30 mm box with a half round end of radius 15 (an arc of 180 degrees)."""
    a, b, c, d = at, at + 60, at + 60 + 30j, at + 30j
    return Path.of([Line(a, b), Arc(b, c, 1.0), Line(c, d), Line(d, a)], True)


def piece(name: str = "tab", at: complex = 20 + 20j) -> Piece:
    cross = (
        Path.polygon([at + 45 + 15j, at + 51 + 15j], closed=False),
        Path.polygon([at + 48 + 12j, at + 48 + 18j], closed=False),
    )
    hole = Path.circle(at + 8 + 8j, 1.5)
    return Piece(
        name,
        tab(at),
        openings=(Opening("eye", Path.circle(at + 30 + 15j, 5).reversed()),),
        slits=(Slit("vein", Path.polygon([at + 10 + 22j, at + 20 + 22j], closed=False)),),
        marks=(
            Mark("toe", "cross", at + 48 + 15j, cross),
            Mark("pin", "hole", at + 8 + 8j, (hole,)),
        ),
    )


def cuts_of(made: Piece, copy: str, band: int = 0) -> list[Cut]:
    """Every contour of the piece in the order of a file."""
    cross, pin = made.marks
    return [
        Cut(copy, "mark:toe", "PEN", cross.paths[0], band),
        Cut(copy, "mark:toe", "SCORE", cross.paths[1], band),
        Cut(copy, "mark:pin", "HOLE", pin.paths[0], band),
        Cut(copy, "slit:vein", "CUT_SLIT", made.slits[0].path, band),
        Cut(copy, "opening:eye", "CUT_INNER", made.openings[0].path, band),
        Cut(copy, "outline", "CUT_OUTER", made.outline, band),
    ]


def program(
    names: Sequence[str] = ("tab/drawn/1",),
    size: tuple[float, float] = (200.0, 120.0),
    banded: bool = False,
) -> Program:
    """A sheet with a tab for each name, one above the other; banded: each a band of its own."""
    placed, cuts = [], []
    for k, name in enumerate(names):
        made = piece(name.partition("/")[0], 20 + (20 + 60 * k) * 1j)
        placed.append(Placement(Copy(name, made.name, made, False, "card", "bench"), 0, 0, 0))
        cuts += cuts_of(made, name, k if banded else 0)
    if not banded:
        order = list(OKABE_ITO)
        cuts.sort(key=lambda c: order.index(c.operation))
    sheet = Sheet(1, Stock("card", "sheet", *size), "bench", *size, tuple(placed))
    return Program(sheet, Tool("laser"), tuple(cuts), 12.5)


def with_cut(path: Path, size: tuple[float, float] = (200.0, 120.0)) -> Program:
    """A sheet with one run only."""
    made = program(size=size)
    return dataclasses.replace(made, cuts=(Cut("tab/drawn/1", "outline", "CUT_OUTER", path),))


def assert_golden(name: str, text: str) -> None:
    """The text as it is kept in `tests/golden`; the difference is shown line by line.

    FOAMWRIGHT_GOLDEN=write keeps the new text instead, to be looked at before it is committed.
    """
    file = GOLDEN / name
    if os.environ.get("FOAMWRIGHT_GOLDEN") == "write":
        file.write_text(text, encoding="utf-8", newline="\n")
    kept = file.read_text(encoding="utf-8") if file.exists() else ""
    if kept != text:
        lines = difflib.unified_diff(
            kept.splitlines(), text.splitlines(), f"kept {name}", "written now", lineterm=""
        )
        pytest.fail("\n".join([f"{name} is not written as it was", *lines]))


def third_of_circle() -> Path:
    """An open arc of exactly 120 degrees, radius 20, about (60, 60)."""
    start = 60 + 60j + 20
    end = 60 + 60j + 20 * complex(math.cos(2 * math.pi / 3), math.sin(2 * math.pi / 3))
    return Path.of([Arc(start, end, math.tan(math.pi / 6))], False)
