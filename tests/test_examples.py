"""Every folder of examples is a job that cuts, is proven, and gives the same bytes everywhere."""

from __future__ import annotations

import json
import math
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.job import load_job
from foamwright.job_sizes import by_size

from .conftest import EXAMPLES, ExampleCut

#: Pictures of the pages for people, as the guide's commands make them.
PICTURES = EXAMPLES / "heron" / "pictures"


def test_it_is_cut(example: ExampleCut) -> None:
    assert example.ran.exit_code == 0, example.ran.stderr
    assert example.told["ok"] is True
    assert {p.name for p in example.out.iterdir()} == {
        *example.told["files"],
        "operator-sheet.html",
        "record.json",
    }


def test_it_is_proven_from_the_files_alone(example: ExampleCut) -> None:
    proof, findings = pipeline.verify_folder(example.out)
    assert proof.passed, [f.line() for f in findings]
    assert proof.worst_deviation_mm <= 0.01
    assert proof.model_dump(mode="json") == example.told["verification"]


def test_every_copy_of_the_job_is_there_and_proven(example: ExampleCut) -> None:
    job, _ = by_size(load_job(example.job))
    wanted = {
        f"{p.name}/{kind}/{k}"
        for p in job.piece
        for kind, count in (("drawn", p.count), ("mirrored", p.mirrored))
        for k in range(1, count + 1)
    }
    record = json.loads((example.out / "record.json").read_text("utf-8"))
    assert {p["copy_name"] for p in record["pieces"]} == wanted
    assert {p["copy_name"] for p in record["verification"]["pieces"]} == wanted
    for format_ in ("dxf", "svg"):
        outlines = [
            c["copy_name"]
            for f in record["files"]
            if f["format"] == format_
            for c in f["contours"]
            if c["contour"] == "outline"
        ]
        assert set(outlines) == wanted


def test_its_seams_meet(example: ExampleCut) -> None:
    for seam in example.told["seams"]:
        first, second = seam["lengths_mm"]
        assert first == pytest.approx(second - seam["ease_mm"], abs=0.05)


def test_the_shipped_layout_is_the_one_in_use(example: ExampleCut) -> None:
    """Else it must be made and committed anew: foamwright cut JOB --out FOLDER --fresh-layout."""
    shipped = sorted(example.source.glob("*.layout.json"))
    assert [p.name for p in shipped] == [p.name for p in example.job.parent.glob("*.layout.json")]
    for file in shipped:
        assert file.read_bytes() == (example.job.parent / file.name).read_bytes()


def test_no_place_of_this_machine_is_in_a_file(example: ExampleCut) -> None:
    for file in example.out.iterdir():
        data = file.read_bytes()
        assert b"\r" not in data
        assert str(example.out.parent).encode() not in data
        assert str(Path.home()).encode() not in data or Path.home() == Path("/")


def test_its_drawing_is_listed_at_80_columns(example: ExampleCut) -> None:
    for drawing in sorted(example.source.glob("*.svg")):
        ran = CliRunner().invoke(main, ["inspect", str(drawing)])
        assert ran.exit_code == 0, ran.stderr
        assert max(map(len, ran.stdout.splitlines())) <= 80


def test_it_can_be_checked(example: ExampleCut) -> None:
    assert example.checked.exit_code == 0, example.checked.stderr
    sheets = len(example.told["sheets"])
    told = f": {sheets} sheet{'s' if sheets > 1 else ''}\n"
    assert told in example.checked.stdout


def record_of(example: ExampleCut) -> dict[str, Any]:
    return dict(json.loads((example.out / "record.json").read_text("utf-8")))


@pytest.mark.parametrize("example", ["otter"], indirect=True)
def test_the_otter_is_cut_from_the_back_with_its_nap_one_way(example: ExampleCut) -> None:
    record = record_of(example)
    assert [s["back"] for s in record["sheets"]] == [True]
    assert {s["thickness"] for s in record["sheets"]} == {1.5}  # the backing, not the pile
    turned = {p["copy_name"].split("/")[0]: p["rotation"] for p in record["pieces"]}
    # drawn with the nap down the page it is turned round; the ears are drawn with theirs up
    assert turned == {"back": 180, "belly": 180, "face": 180, "tail": 180, "ear": 0}
    assert "laid face down" in (example.out / "operator-sheet.html").read_text("utf-8")
    seams = {s["name"]: s["lengths_mm"] for s in example.told["seams"]}
    assert seams["root"] == pytest.approx([40 * math.pi, 40 * math.pi], abs=0.01)


@pytest.mark.parametrize("example", ["foam-head"], indirect=True)
def test_the_foam_head_is_as_round_as_its_measures(example: ExampleCut) -> None:
    record = record_of(example)
    assert [i["name"] for i in record["inputs"] if not i["name"].endswith(".toml")] == []
    seams = {s["name"]: s["lengths_mm"] for s in example.told["seams"]}
    # a cone's slant by Pythagoras; a neck as high as it was asked for
    assert seams["muzzle"] == pytest.approx([math.hypot(60, 15)] * 2, abs=0.01)
    assert seams["neck"] == pytest.approx([70, 70], abs=0.01)
    # the length of a half width of (pi R / n) cos(y / R) at y, to the middle of the foam
    radius, low = 94.0, -math.acos(45 / 100)
    steps = 20000
    at = [low + (math.pi / 2 - low) * (k + 0.5) / steps for k in range(steps)]
    slope = [math.pi / 8 * math.sin(a) for a in at]
    arc = sum(math.hypot(1, s) for s in slope) * radius * (math.pi / 2 - low) / steps
    assert seams["gore-to-gore"] == pytest.approx([arc, arc], abs=0.05)


@pytest.mark.parametrize("example", ["owls"], indirect=True)
def test_the_owls_are_five_sizes_with_eyes_of_one(example: ExampleCut) -> None:
    record = record_of(example)
    drawn = 66.23 / 34  # the side by the hem, as `inspect` lists them
    seams = {s["name"]: s["lengths_mm"][0] for s in example.told["seams"]}
    for name, hem in {"XS": 26, "S": 29, "M": 32, "L": 35, "XL": 38}.items():
        assert seams[f"left-{name}"] == pytest.approx(hem * drawn, abs=0.02)
        front = next(p for p in record["pieces"] if p["name"] == f"front-{name}")
        rounds = [p for p in front["target"].split("M") if p][1:]
        assert len(rounds) == 2
        for eye in rounds:
            assert {round(float(r), 3) for r in re.findall(r"A([0-9.]+) ", eye)} == {3.0}


@pytest.mark.parametrize("example", ["bear"], indirect=True)
def test_the_bear_s_core_hems_and_upper_are_made_from_its_shell_and_sole(
    example: ExampleCut,
) -> None:
    # half an inch off each side; rolled of 12 mm foam it is 12 pi wider outside
    (core,) = example.told["cores"]
    assert core["flat_mm"] == pytest.approx(core["shell_mm"] - 25.4, rel=2e-3)
    assert core["outside_mm"] == pytest.approx(core["flat_mm"] + 12 * math.pi, rel=1e-3)
    assert all(0 <= s <= 8 for s in core["strain_percent"])
    seams = {s["name"]: s for s in example.told["seams"]}
    for angles in seams["leg-back"]["corners_degrees"]:
        assert angles == pytest.approx([90, 90], abs=1e-3)  # drawn as 98.6 and 81.4
    assert seams["ankle"]["lengths_mm"] == pytest.approx([280, 280], abs=0.01)
    targets = {p["copy_name"]: p["target"] for p in record_of(example)["pieces"]}
    radii = [float(r) for r in re.findall(r"A([0-9.]+)", targets["haunch/drawn/1"])]
    assert sum(r == pytest.approx(5) for r in radii) >= 6  # three round reliefs in their arcs


@pytest.mark.parametrize("name", sorted(p.name for p in EXAMPLES.iterdir() if p.is_dir()))
def test_the_guide_s_commands_run(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lines of the guide that begin with `foamwright`, in a folder that holds the examples."""
    guide = (EXAMPLES / "README.md").read_text("utf-8")
    lines = [x.split() for x in re.findall(rf"^    (foamwright .*\b{name}\b.*)$", guide, re.M)]
    assert {"check", "cut"} <= {x[1] for x in lines}
    shutil.copytree(EXAMPLES / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    for words in lines:
        ran = CliRunner().invoke(main, words[1:])
        assert ran.exit_code == 0, (words, ran.stderr)
    for shown in PICTURES.glob(f"{name}-*.svg"):
        assert (tmp_path / shown.name).read_bytes() == shown.read_bytes(), f"{shown} is stale"


def test_every_picture_that_is_shown_is_there() -> None:
    for page in (EXAMPLES / "README.md", EXAMPLES.parent / "README.md"):
        shown = re.findall(r"!\[[^]]+\]\(([^)]+)\)", page.read_text("utf-8"))
        assert shown
        for name in shown:
            assert (page.parent / name).is_file(), name
