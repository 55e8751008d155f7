"""Every folder of examples is a job that cuts, is proven, and gives the same bytes everywhere."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.job import load_job
from foamwright.job_sizes import by_size

from .conftest import ExampleCut


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
    assert f": {len(example.told['sheets'])} sheet" in example.checked.stdout
