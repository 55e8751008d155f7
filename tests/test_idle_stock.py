"""A job's stock that no piece is cut from: left aside where a shelf has it, else a slip."""

from __future__ import annotations

from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.findings import Finding, Refused
from tests.jobs import job

STOCK = """
[[stock]]
material = "{}"
width    = "300 mm"
length   = "200 mm"
price    = 4.5
"""


def faults(folder: Path, more: str) -> tuple[Finding, ...]:
    with pytest.raises(Refused) as refused:
        pipeline.plan(job(folder, more=more).request)
    return refused.value.findings


def test_stock_of_a_known_material_is_left_aside_and_told_with_its_line(tmp_path: Path) -> None:
    made = job(tmp_path, more=STOCK.format("card-1mm") + 2 * STOCK.format("Pu-Foam-25mm"))
    plan = pipeline.plan(made.request)
    (told,) = [f for f in plan.findings if f.code == "J553"]
    assert not told.is_fault
    assert "Pu-Foam-25mm" in told.what
    lines = made.file.read_text("utf-8").splitlines()
    line = lines.index('material = "Pu-Foam-25mm"') + 1
    assert told.where == f"job.toml line {line}, stock Pu-Foam-25mm"
    (sheet,) = [program.sheet for _, program in plan.programs]
    assert (sheet.stock.width, sheet.price) == (300, 4.5)


@pytest.mark.parametrize("slip", ["card-lmm", "profiles/materials/pu-foam-25mm.toml", "../x.toml"])
def test_stock_of_a_material_that_is_nowhere_is_a_slip(tmp_path: Path, slip: str) -> None:
    found = faults(tmp_path, STOCK.format(slip))
    assert [f.code for f in found if f.is_fault] == ["J508"]
    if slip == "card-lmm":
        assert found[0].mend == "did you mean card-1mm"


def test_stock_of_pieces_that_only_leaves_out_is_no_slip(tmp_path: Path) -> None:
    other = """
[[piece]]
name = "other"
outline = "plate.svg#plate"
drawn = "cut-line"
material = "pu-foam-3mm"
"""
    made = job(tmp_path, more=other + STOCK.format("pu-foam-3mm"))
    plan = pipeline.plan(Request.of(made.file, layout_time=0, only=("plate",)))
    assert "J553" not in [f.code for f in plan.findings]
