"""Drafts in a job file: cut with no drawing at all, and what is wrong told with its line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright.cli import main
from foamwright.findings import Refused
from foamwright.job import load_job

HEAD = """
[job]
name = "Ball"
units = "mm"
machine = "flatbed-knife-1200"
"""
BALL = """
[[draft]]
name = "head"
kind = "gores"
across = 120
gores = 8
[[draft]]
name = "leg"
kind = "limb"
top = "4.5 in"
bottom = "5.5 in"
length = "12 in"
knee = "6 in"
thickness = "1/2 in"
[[piece]]
name = "gore"
outline = "draft#head"
material = "pu-foam-12mm"
count = 8
[[piece]]
name = "core"
outline = "draft#leg-core"
material = "pu-foam-12mm"
edges = { knee = ["knee-end", "top-end"] }
mirrored = 1
"""


def job(folder: Path, text: str) -> Path:
    file = folder / "job.toml"
    file.write_text(HEAD + text, "utf-8")
    return file


def test_a_job_of_measures_is_cut_and_proven(tmp_path: Path) -> None:
    file = job(tmp_path, BALL)
    out = tmp_path / "out"
    ran = CliRunner().invoke(
        main, ["cut", str(file), "--out", str(out), "--layout-time", "1", "--json"]
    )
    assert ran.exit_code == 0, ran.stderr
    record = json.loads((out / "record.json").read_text("utf-8"))
    assert record["verification"]["passed"]
    assert len(record["pieces"]) == 10
    assert [i["name"] for i in record["inputs"]] == ["job.toml"]


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("gores = 8", "", "J504"),
        ("gores = 8", "gores = 8\nknee = 5", "J509"),
        ("draft#head", "draft#heat", "J508"),
        ("draft#leg-core", "draft#leg-end", "J508"),
        ('kind = "gores"', 'kind = "gore"', "J505"),
        ('name = "leg"', 'name = "head"', "J507"),
        ('kind = "gores"\nacross = 120', 'kind = "frustum"\nbottom = 9\ntop = 5', "J509"),
        ('kind = "gores"', 'kind = "stations"\nstation = [{ at = 3 }]', "J509"),
    ],
)
def test_what_is_wrong_with_a_draft_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, code: str
) -> None:
    assert old in BALL
    with pytest.raises(Refused) as stop:
        load_job(job(tmp_path, BALL.replace(old, new)))
    told = [f for f in stop.value.findings if f.code == code]
    assert told
    assert all(" line " in f.where for f in told)
