"""Arrows through the whole chain: on the sheet as laid, and a piece that can't lie so is named."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Refused
from foamwright.job import load_job
from tests import jobs

FLEECE = ("fleece-2mm", "flatbed-knife-1200")
SMALL = """
[[stock]]
material = "fleece-2mm"
kind = "sheet"
width = 200
length = 150
"""


def test_a_piece_is_turned_for_its_arrow_and_the_sheet_shows_it(tmp_path: Path) -> None:
    made = jobs.job(tmp_path / "job", *FLEECE, more="grain = 0" + SMALL)
    pipeline.cut(made.request, tmp_path / "cut")
    record = json.loads((tmp_path / "cut" / "record.json").read_text("utf-8"))
    (piece,) = record["pieces"]
    assert piece["rotation"] == 90.0
    sheet = (tmp_path / "cut" / "operator-sheet.html").read_text("utf-8")
    assert "<td>grain and nap up</td>" in sheet
    assert 'class="way grain"' in sheet


def test_a_piece_whose_arrows_can_t_be_met_is_refused_by_name_and_line(tmp_path: Path) -> None:
    made = jobs.job(tmp_path / "job", *FLEECE, more="grain = 0\nnap = 90")
    with pytest.raises(Refused) as stop:
        pipeline.plan(made.request)
    (told,) = [f for f in stop.value.findings if f.is_fault]
    assert (told.code, told.piece) == ("A347", "plate")
    assert told.where.startswith("job.toml line 6, plate arrows")
    assert "on fleece-2mm its nap, drawn at 90 degrees, must lie up the roll" in told.what


@pytest.mark.parametrize("value", ['"up"', "[1]", "true", "inf", "[1, 2, 3]"])
def test_what_is_no_arrow_is_told_with_its_line(tmp_path: Path, value: str) -> None:
    made = jobs.job(tmp_path, more=f"stretch = {value}")
    with pytest.raises(Refused) as stop:
        load_job(made.file)
    (told,) = stop.value.findings
    assert told.code == "J505"
    assert "line 11" in told.where
