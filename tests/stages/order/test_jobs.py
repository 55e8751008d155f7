"""Whole jobs: worked from the far side where the material asks, and their time told."""

from __future__ import annotations

import json

import pytest
from tests.jobs import PAIRS, PLATE, bare, drawing, job

from foamwright import pipeline
from foamwright.stages.save.sheet import duration

LIMP = """\
schema = 1
based_on = "card-1mm"
name = "Limp card"
far_first = "60 mm"
"""


def test_a_job_is_worked_from_the_far_side_and_proven(tmp_path):
    written = job(tmp_path, material="limp")
    text = written.file.read_text("utf-8")
    written.file.write_text(text.replace('name = "plate"', 'name = "plate"\ncount = 30'), "utf-8")
    shelf = tmp_path / "profiles" / "materials"
    shelf.mkdir(parents=True)
    (shelf / "limp.toml").write_text(LIMP, "utf-8")
    result = pipeline.cut(written.request, tmp_path / "out")
    assert result.record.verification.passed
    for _, program in result.plan.programs:
        tops = {p.copy.name: p.piece.outline.bounds[3] for p in program.sheet.placements}
        outlines = [c for c in program.cuts if c.contour == "outline"]
        bands = [int((program.sheet.length - tops[c.copy]) // 60) for c in outlines]
        assert bands == sorted(bands)
        assert [c.band for c in outlines] == bands
    assert len(set(bands)) > 1
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    told = [v for p in record["profiles"] for v in p["values"] if v["key"] == "far_first"]
    assert [v["value"] for v in told] == [60.0]


@pytest.mark.parametrize("method", PAIRS)
def test_the_time_of_each_operation_stands_in_the_record_and_on_the_sheet(tmp_path, method):
    body = PLATE.replace("</g>", '<path class="slit" d="M22 20 H32"/></g>')
    request = bare(drawing(tmp_path, body), method)
    result = pipeline.cut(request, tmp_path / "out")
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    page = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    (told,) = record["sheets"]
    ((_, program),) = result.plan.programs
    assert told["times_s"] == {o: round(s, 3) for o, s in program.times}
    assert set(told["times_s"]) == {c.operation for c in program.cuts} >= {"CUT_INNER", "CUT_OUTER"}
    assert sum(told["times_s"].values()) == pytest.approx(told["time_s"], abs=0.002)
    assert told["time_s"] == record["time_s"]
    for seconds in told["times_s"].values():
        assert f", about {duration(seconds)}</li>" in page
