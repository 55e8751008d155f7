"""The pattern's checks through the command: tables, documents, the operator's sheet."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright.cli import main
from tests.jobs import job

#: A slanted piece: its left side goes 20 mm across and 50 along, its right one y - 10 along.
SLANTED = '<path id="plate" d="M10 10 H50 L70 {y} L30 60 Z"/>'
SEAM = """
[piece.edges]
right = ["3", "4"]
left = ["1", "2"]
[[seam]]
name = "back"
joins = ["plate.right", "plate.left"]
"""


def run(*words: str) -> tuple[int, str]:
    ran = CliRunner().invoke(main, [*words, "--layout-time", "1"])
    return ran.exit_code, ran.stdout


def test_a_wrong_seam_is_shown_with_the_table_and_refused(tmp_path: Path) -> None:
    made = job(tmp_path, body=SLANTED.format(y=50), more=SEAM)
    status, text = run("check", str(made.file))
    assert status == 1
    row = next(line for line in text.splitlines() if line.startswith("back"))
    assert row.split()[-1] == "WRONG"
    assert "44.72" in text  # sqrt(20^2 + 40^2)
    assert "53.85" in text  # sqrt(20^2 + 50^2)
    assert max(map(len, text.splitlines())) <= 80
    status, text = run("check", str(made.file), "--json")
    told = json.loads(text)
    assert status == 1
    assert told["ok"] is False
    (seam,) = told["seams"]
    assert seam["ok"] is False
    assert seam["lengths_mm"] == pytest.approx([44.72, 53.85], abs=0.01)
    assert [f["code"] for f in told["findings"] if f["severity"] == "fault"] == ["A312"]
    status, text = run("cut", str(made.file), "--out", str(tmp_path / "out"))
    assert status == 1
    assert "44.72" in text
    assert not (tmp_path / "out").exists()


def test_all_tables_stand_in_check_cut_document_and_sheet(tmp_path: Path) -> None:
    more = (
        'mirrored = 1\n[piece.allowance]\ndefault = 6\n[[piece.notch]]\nedge = "right"\nat = 20\n'
    )
    more += '[[piece.notch]]\nedge = "left"\nat = 33.85\nshape = "slit"\n' + SEAM
    made = job(tmp_path, body=SLANTED.format(y=60), more=more)
    text = made.file.read_text("utf-8").replace('drawn = "cut-line"', 'drawn = "stitch-line"')
    made.file.write_text(text, "utf-8")
    status, shown = run("check", str(made.file))
    assert status == 0
    titles = ("Seams", "Notches in their allowance", "Lefts and rights", "Narrowest necks")
    for title in titles:
        assert title in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert "WRONG" not in shown
    out = tmp_path / "out"
    status, text = run("cut", str(made.file), "--out", str(out), "--json")
    assert status == 0
    told = json.loads(text)
    assert told["seams"][0]["notches"] == [1, 1]
    assert told["seams"][0]["notches_off_mm"] == pytest.approx(0, abs=0.01)
    assert [n["allowance_mm"] for n in told["notches"]] == [6, 6]
    (pair,) = told["pairs"]
    assert pair["ok"] is True
    assert pair["mirrored_off_mm"] < 0.01
    assert pair["turned_off_mm"] > 1
    assert [n["piece"] for n in told["necks"]] == ["plate"]
    sheet = (out / "operator-sheet.html").read_text("utf-8")
    for title in titles:
        assert title in sheet
    assert "<td>53.85<br>53.85</td>" in sheet


def test_a_twin_drawn_by_hand_is_measured(tmp_path: Path) -> None:
    """Two pieces that say they are a pair, the second as drawn and then mirrored."""
    left = 'id="plate" d="M10 10 H40 L46 30 L20 44 Z"'
    twin = '[[piece]]\nname = "twin"\noutline = "plate.svg#twin"\nmaterial = "card-1mm"\n'
    twin += 'mirror_of = "plate"\n'
    for points, status in (("M90 10 H60 L54 30 L80 44 Z", 0), ("M55 10 H85 L91 30 L65 44 Z", 1)):
        body = f'<path {left}/><path id="twin" d="{points}"/>'
        made = job(tmp_path / str(status), body=body, more=twin)
        found, text = run("check", str(made.file), "--json")
        told = json.loads(text)
        assert found == status
        assert [p["ok"] for p in told["pairs"]] == [status == 0]
        assert [f["code"] for f in told["findings"] if f["severity"] == "fault"] == [
            "A362"
        ] * status


@pytest.mark.parametrize(("points", "ok"), [("M90 10 H60 L54 30 L80 44 Z", True), (None, False)])
def test_a_twin_of_a_piece_cut_mirrored_alone_is_measured_too(
    tmp_path: Path, points: str | None, ok: bool
) -> None:
    """No drawn copy of the one lies on a sheet, which once left the pair unmeasured."""
    left = 'id="plate" d="M10 10 H40 L46 30 L20 44 Z"'
    body = f'<path {left}/><path id="twin" d="{points or "M55 10 H85 L91 30 L65 44 Z"}"/>'
    more = 'count = 0\nmirrored = 1\n[[piece]]\nname = "twin"\noutline = "plate.svg#twin"\n'
    more += 'material = "card-1mm"\nmirror_of = "plate"\n'
    status, text = run("check", str(job(tmp_path, body=body, more=more).file), "--json")
    told = json.loads(text)
    assert [(p["first"], p["ok"]) for p in told["pairs"]] == [("plate/mirrored/1", ok)]
    assert status == (0 if ok else 1)


def test_a_twin_of_a_material_cut_from_its_back_is_its_twin(tmp_path: Path) -> None:
    """Fur is cut as its mirror image, its lining is not: the finished pieces are compared."""
    left = 'id="plate" d="M10 10 H40 L46 30 L20 44 Z"'
    body = f'<path {left}/><path id="twin" d="M90 10 H60 L54 30 L80 44 Z"/>'
    more = '[[piece]]\nname = "twin"\noutline = "plate.svg#twin"\n'
    more += 'material = "faux-fur-long-pile"\nmirror_of = "plate"\ndrawn = "cut-line"\n'
    made = job(tmp_path, "fleece-2mm", "flatbed-knife-1200", body=body, more=more)
    status, text = run("check", str(made.file), "--json")
    told = json.loads(text)
    assert [p["ok"] for p in told["pairs"]] == [True]
    assert status == 0


def test_a_twin_must_be_there(tmp_path: Path) -> None:
    made = job(tmp_path, more='mirror_of = "plat"')
    status, text = run("check", str(made.file), "--json")
    assert status == 1
    assert [f["code"] for f in json.loads(text)["findings"]] == ["J508"]


def test_a_neck_that_the_piece_may_not_have_is_refused(tmp_path: Path) -> None:
    made = job(tmp_path, more='neck_min = "9 mm"')
    status, text = run("check", str(made.file), "--json")
    told = json.loads(text)
    (neck,) = told["necks"]
    assert status == 1
    assert neck["least_mm"] == 9
    assert neck["stated"] is True
    # the plate's eye, 10 mm in radius about 28 mm down, beside the edge at 10 mm
    assert neck["width_mm"] == pytest.approx(8, abs=0.02)
    assert [f["code"] for f in told["findings"] if f["severity"] == "fault"] == ["A363"]
