"""A job looked at: its drafts' corners with numbers and names, its edges with their lengths."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from foamwright.cli import main
from foamwright.inspecting import job_drawing, side_by_side
from tests import jobs

HEAD = """
schema = 1
[job]
name = "Neck"
machine = "flatbed-knife-1200"
[[draft]]
name = "neck"
kind = "cylinder"
across = 90
height = 70
ends = "over"
thickness = 12
[[piece]]
name = "collar"
outline = "draft#neck"
material = "pu-foam-12mm"
"""
EDGES = """
[piece.edges]
rim = ["bottom-start", "bottom-end"]
seam = ["2", "3"]
"""


def job(folder: Path, more: str = EDGES) -> Path:
    file = folder / "job.toml"
    file.write_text(HEAD + more, "utf-8")
    return file


def inspect(*words: object) -> Result:
    return CliRunner().invoke(main, ["inspect", *map(str, words)])


def test_a_draft_s_corners_are_told_with_number_and_name(tmp_path: Path) -> None:
    ran = inspect(job(tmp_path), "--json")
    assert ran.exit_code == 0, ran.stderr
    collar, end = json.loads(ran.stdout)["pieces"]
    assert [(c["corner"], c["names"]) for c in collar["corners"]] == [
        (1, ["bottom-start"]),
        (2, ["bottom-end"]),
        (3, ["top-end"]),
        (4, ["top-start"]),
    ]
    assert end["name"] == "draft#neck-end"  # drafted, and no piece takes it


def test_edges_are_told_with_their_places_and_lengths(tmp_path: Path) -> None:
    told = json.loads(inspect(job(tmp_path), "--json").stdout)["pieces"][0]["edges"]
    rim, seam = told
    assert (rim["name"], rim["first"], rim["last"]) == ("rim", "bottom-start", "bottom-end")
    assert rim["length"] == pytest.approx(math.pi * (90 - 12))  # the tube's middle surface
    assert seam["length"] == pytest.approx(70 - 24)  # its ends lie over the wall


def test_people_read_numbers_names_and_edges(tmp_path: Path) -> None:
    ran = inspect(job(tmp_path))
    assert "collar, from draft#neck: corners, counter-clockwise" in ran.stdout
    assert "edge seam: from 2 to 3, 46.00" in ran.stdout
    assert any(
        line.split()[0] == "3" and line.endswith("top-end")
        for line in map(str.rstrip, ran.stdout.splitlines())
        if line
    )


def test_an_edge_between_places_that_are_not_there_is_a_fault_with_its_line(tmp_path: Path) -> None:
    ran = inspect(job(tmp_path, EDGES.replace('"3"', '"9"')))
    assert ran.exit_code == 1
    assert "fault A303 job.toml line 20, collar edge seam: no corner 9" in ran.stderr


def test_a_broken_job_is_refused_with_all_its_faults(tmp_path: Path) -> None:
    ran = inspect(job(tmp_path, "cuont = 3\nmirorred = 1\n"))
    assert ran.exit_code == 1
    assert ran.stderr.count("J503") == 2


def test_a_drawn_piece_is_told_under_the_job_s_name_and_at_drawn_size(tmp_path: Path) -> None:
    written = jobs.job(tmp_path, more='[[size]]\nname = "L"\nscale = 2.0')
    drawn, findings = job_drawing(written.file)
    assert [p.name for p in drawn.pieces] == ["plate"]
    assert drawn.pieces[0].outline.bounds[2] == pytest.approx(70.0)
    assert not [f for f in findings if f.is_fault]


def test_in_the_picture_no_piece_lies_on_another(tmp_path: Path) -> None:
    drawn, _ = job_drawing(job(tmp_path))
    boxes = [p.outline.bounds for p in side_by_side(drawn).pieces]
    assert boxes[0][2] < boxes[1][0]
    picture = tmp_path / "corners.svg"
    assert inspect(job(tmp_path), "--preview", picture).exit_code == 0
    assert "top-start" in picture.read_text("utf-8")
