"""Labels through the whole chain: in every file, held by the proof, faults told with their line."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.findings import Refused
from foamwright.job import load_job
from foamwright.stages.verify import verify
from tests import jobs
from tests.planting import Run, read_runs, write_runs

BODY = """\
<g id="plate"><path d="M10 10 H90 V70 H10 Z"/></g>
<g id="strap"><path d="M110 10 H180 V40 H110 Z"/></g>"""
MORE = """
hand = "left"
mirrored = 1
allowance = { default = "6 mm" }
edges = { side = ["1", "2"] }
[[piece]]
name = "strap"
outline = "plate.svg#strap"
material = "fleece-2mm"
allowance = { default = "6 mm" }
edges = { side = ["1", "2"] }
[label]
height = "3 mm"
[[seam]]
name = "hem"
joins = ["plate.side", "strap.side"]
ease = "30 mm"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("labels")
    made = jobs.job(place / "job", *jobs.PAIRS["oscillating-knife"], more=MORE, body=BODY)
    text = made.file.read_text("utf-8").replace('drawn = "cut-line"', "", 1)
    made.file.write_text(text, "utf-8")
    pipeline.cut(made.request, place / "cut")
    return place / "cut"


def record_of(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "record.json").read_text("utf-8"))
    return data


def label_runs(entry: dict[str, Any]) -> list[int]:
    """Which paths of a file are strokes of letters."""
    letters = ("mark:label", "mark:joint")
    return [k for k, c in enumerate(entry["contours"]) if c["contour"].startswith(letters)]


def codes_after(
    folder: Path, place: Path, change: Callable[[list[Run], dict[str, Any]], list[Run]]
) -> set[str]:
    """The proof's faults once both files are changed alike, and the record's contours with them."""
    planted = shutil.copytree(folder, place)
    data = record_of(planted)
    changed = {}
    for entry in data["files"]:
        changed[entry["name"]] = change(read_runs(folder, entry), entry)
    (planted / "record.json").write_text(json.dumps(data), "utf-8")
    for entry in data["files"]:
        write_runs(planted, entry, changed[entry["name"]])
    verification, findings = verify(planted)
    codes = {f.code for f in findings if f.is_fault}
    assert verification.passed == (not codes)
    return codes


def test_every_copy_bears_its_label_and_its_joint_s_number_in_both_files(folder: Path) -> None:
    data = record_of(folder)
    assert data["verification"]["passed"]
    for entry in data["files"]:
        held = {(c["copy_name"], c["contour"]) for c in entry["contours"]}
        for copy in ("plate/drawn/1", "plate/mirrored/1", "strap/drawn/1"):
            assert {(copy, "mark:label"), (copy, "mark:joint-1-side")} <= held
        assert all(entry["contours"][k]["operation"] == "PEN" for k in label_runs(entry))


def test_any_lost_stroke_of_a_letter_is_refused(folder: Path, tmp_path: Path) -> None:
    """Lost from both files and from the record's list of paths: only the piece's target tells."""
    count = len(label_runs(record_of(folder)["files"][0]))
    assert count > 40
    for number in range(0, count, 7):

        def lose(runs: list[Run], entry: dict[str, Any], number: int = number) -> list[Run]:
            k = label_runs(entry)[number]
            del entry["contours"][k]
            return [r for j, r in enumerate(runs) if j != k]

        assert "V015" in codes_after(folder, tmp_path / f"lost-{number}", lose)


def test_any_moved_stroke_of_a_letter_is_refused(folder: Path, tmp_path: Path) -> None:
    count = len(label_runs(record_of(folder)["files"][0]))
    for number in range(3, count, 9):

        def move(runs: list[Run], entry: dict[str, Any], number: int = number) -> list[Run]:
            k = label_runs(entry)[number]
            moved = runs[k].mapped(lambda p: p + 0.05 + 0.05j)
            entry["contours"][k]["start"] = [moved.corners[0][0].real, moved.corners[0][0].imag]
            return [*runs[:k], moved, *runs[k + 1 :]]

        assert codes_after(folder, tmp_path / f"moved-{number}", move) & {"V015", "V016"}


def test_a_stroke_that_no_label_has_is_refused(folder: Path, tmp_path: Path) -> None:
    def add(runs: list[Run], entry: dict[str, Any]) -> list[Run]:
        k = label_runs(entry)[-1]
        entry["contours"].insert(k, entry["contours"][k])
        return [*runs[:k], runs[k].mapped(lambda p: p + 2 + 2j), *runs[k:]]

    assert codes_after(folder, tmp_path / "added", add)


@pytest.mark.parametrize(
    ("text", "code", "where"),
    [
        ('label = { heigth = "3 mm" }', "J503", "line 11"),
        ('label = { height = "1 mm" }', "J505", "line 11"),
        ('label = { on = "back" }', "J505", "line 11"),
        ('label = { edge = "hem" }', "J508", "line 11"),
        (
            'label = { on = "face", edge = "side" }\nedges = { side = ["1", "2"] }',
            "J509",
            "line 11",
        ),
        ("label = {}\nmirrored = 1", "J504", "line"),
        ('hand = "upper"', "J505", "line 11"),
    ],
)
def test_what_is_wrong_with_a_label_s_keys_is_told(
    tmp_path: Path, text: str, code: str, where: str
) -> None:
    made = jobs.job(tmp_path, more=text)
    with pytest.raises(Refused) as stop:
        load_job(made.file)
    (told,) = stop.value.findings
    assert told.code == code
    assert where in told.where


def test_a_label_without_room_is_told_at_its_line(tmp_path: Path) -> None:
    made = jobs.job(tmp_path, more='[piece.label]\nheight = "3 mm"')
    plan = pipeline.plan(Request.of(made.file, layout_time=0))
    (told,) = [f for f in plan.findings if f.code == "A341"]
    assert told.where == "job.toml line 11, plate label"


def test_printed_labels_stand_on_the_operator_s_sheet_where_they_are_asked_for(
    folder: Path, tmp_path: Path
) -> None:
    none = (folder / "operator-sheet.html").read_text("utf-8")
    assert "Labels to cut out" not in none
    more = MORE.replace('height = "3 mm"', 'on = "none"\nstickers = true')
    made = jobs.job(tmp_path / "job", *jobs.PAIRS["oscillating-knife"], more=more, body=BODY)
    text = made.file.read_text("utf-8").replace('drawn = "cut-line"', "", 1)
    made.file.write_text(text, "utf-8")
    pipeline.cut(made.request, tmp_path / "cut")
    sheet = (tmp_path / "cut" / "operator-sheet.html").read_text("utf-8")
    assert "Labels to cut out" in sheet
    for words in ("plate, left", "plate, right", "strap", "side to joint 1"):
        assert f">{words}<" in sheet
    assert all(not label_runs(entry) for entry in record_of(tmp_path / "cut")["files"])


def test_printed_labels_want_the_hand_too(tmp_path: Path) -> None:
    more = 'label = { on = "none", stickers = true }\nmirrored = 1'
    with pytest.raises(Refused) as stop:
        load_job(jobs.job(tmp_path, more=more).file)
    assert [f.code for f in stop.value.findings] == ["J504"]


@pytest.mark.parametrize("method", ["laser", "drag-knife"])
def test_every_method_draws_labels_that_its_proof_holds(tmp_path: Path, method: str) -> None:
    material, machine = jobs.PAIRS[method]
    more = '[piece.label]\non = "face"\nheight = "4 mm"\nkeep = "2 mm"'
    made = jobs.job(tmp_path / "job", material, machine, more=more)
    pipeline.cut(made.request, tmp_path / "cut")
    data = record_of(tmp_path / "cut")
    assert data["verification"]["passed"]
    due = "SCORE" if method == "laser" else "PEN"
    for entry in data["files"]:
        held = label_runs(entry)
        assert len(held) > 10
        assert {entry["contours"][k]["operation"] for k in held} == {due}

    def lose(runs: list[Run], entry: dict[str, Any]) -> list[Run]:
        k = label_runs(entry)[3]
        del entry["contours"][k]
        return [r for j, r in enumerate(runs) if j != k]

    assert "V015" in codes_after(tmp_path / "cut", tmp_path / "lost", lose)
