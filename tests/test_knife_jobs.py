"""Knives through the whole chain: notches that the blade changes, bevels, passes, the sheet."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from foamwright.pipeline import cut

from . import jobs

BLOCK = '<g id="plate"><path d="M10 10 H90 V60 H10 Z"/></g>'
FOAM = """\
schema = 1
based_on = "pu-foam-12mm"
name = "Foam, 12 mm, in passes"

[[cut]]
method       = "oscillating-knife"
edge_angle   = 80
depth        = "12.5 mm"
pass_depth   = "5 mm"
blade_height = "30 mm"
"""


def test_a_bevel_and_passes_reach_the_record_the_files_and_the_sheet(tmp_path: Path) -> None:
    more = """
[piece.edges]
toe = ["1", "2"]
[[piece.bevel]]
edge = "toe"
angle = 30
"""
    written = jobs.job(
        tmp_path / "job",
        "foam",
        "flatbed-knife-1200",
        more=more,
        body=BLOCK,
    )
    (written.folder / "profiles" / "materials").mkdir(parents=True)
    (written.folder / "profiles" / "materials" / "foam.toml").write_text(FOAM, "utf-8")
    result = cut(written.request, tmp_path / "out")
    assert "A332" in [f.code for f in result.findings]
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    tool = record["files"][0]["tool"]
    assert (tool["passes"], tool["pass_depths"]) == (3, [5.0, 10.0, 12.5])
    marks = [c for c in record["files"][0]["contours"] if c["contour"] == "mark:bevel-1"]
    assert [c["operation"] for c in marks] == ["PEN"]
    sheet = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    assert "3, 5, 10 and 12.5 mm deep" in sheet
    assert "its bevel of 30 degrees is for the hand" in sheet
    assert (
        "as the edge cuts in the top face; tip in at the start, out 2.2 mm before the end" in sheet
    )
    assert "Usable height of the edge" in sheet


def test_a_narrow_v_becomes_a_slit_and_the_proof_holds(tmp_path: Path) -> None:
    more = """
allowance = { default = 6 }
edges = { toe = ["1", "2"] }
[[piece.notch]]
edge = "toe"
at = "50 %"
width = 0.4
[[piece.notch]]
edge = "toe"
at = "20 %"
"""
    written = jobs.job(
        tmp_path / "job", "stabilised-felt-1mm", "roll-drag-knife-600", more=more, body=BLOCK
    )
    result = cut(written.request, tmp_path / "out")
    (changed,) = [f for f in result.findings if f.code == "A331"]
    assert "notch-1" in changed.where
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    names = [c["contour"] for c in record["files"][0]["contours"]]
    assert names.count("slit:notch-1") == 1
    assert record["verification"]["passed"]
    sheet = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    assert "the v notch became a slit" in sheet
    assert "stabiliser" in sheet


def test_a_small_openings_swivels_do_not_make_it_run_backwards(tmp_path: Path) -> None:
    """Two copies, so that the second opening begins with a swivel of many short steps."""
    body = '<path id="plate" d="M5 5 H210 V180 H110 L108 170 L106 180 H5 Z M30 30 H36 V33 H30 Z"/>'
    written = jobs.job(
        tmp_path / "job",
        "stabilised-felt-1mm",
        "roll-drag-knife-600",
        more="count = 2",
        body=body,
    )
    cut(written.request, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    assert record["verification"]["passed"]


@pytest.mark.parametrize("high", [0.8, 2.0, 4.0, 9.0])
def test_the_tip_of_a_wedge_is_not_where_the_blade_finds_its_heading(
    tmp_path: Path, high: float
) -> None:
    """What a run-in may leave beside its line is more than the limit along so sharp a tip."""
    body = f'<path id="plate" d="M20 15 L65 {15 + high} L15 15 Z"/>'
    written = jobs.job(tmp_path / "job", "stabilised-felt-1mm", "roll-drag-knife-600", body=body)
    cut(written.request, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    assert record["verification"]["passed"]
