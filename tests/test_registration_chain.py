"""[[registration]] through the whole chain: in the files, proven, its faults with their line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Refused
from foamwright.job import load_job
from tests import jobs

BODY = """\
<g id="plate"><path d="M10 10 H90 V70 H10 Z"/></g>
<g id="cover"><path d="M110 10 H190 V70 H110 Z"/></g>"""
MORE = """
[[piece.mark]]
name = "rod"
at = [30, 50]
[[piece]]
name = "cover"
outline = "plate.svg#cover"
drawn = "cut-line"
material = "card-1mm"
[[registration]]
name = "on"
from = "plate"
to = "cover"
at = [["1", "2"], ["2", "1"]]
face_to_face = true
"""


def test_a_carried_mark_is_cut_and_proven(tmp_path: Path) -> None:
    made = jobs.job(tmp_path / "job", more=MORE, body=BODY)
    pipeline.cut(made.request, tmp_path / "cut")
    record = json.loads((tmp_path / "cut" / "record.json").read_text("utf-8"))
    assert record["verification"]["passed"]
    for entry in record["files"]:
        held = [c for c in entry["contours"] if c["contour"] == "mark:on-rod"]
        assert [c["copy_name"] for c in held] == ["cover/drawn/1"] * 2


def test_the_piece_that_bears_the_mark_is_read_though_it_is_not_cut(tmp_path: Path) -> None:
    made = jobs.job(tmp_path / "job", more=MORE, body=BODY)
    request = pipeline.Request.of(made.file, only=["cover"], layout_time=0)
    plan = pipeline.plan(request)
    ((_, program),) = plan.programs
    assert {c.contour for c in program.cuts} == {"outline", "mark:on-rod"}


def test_at_several_sizes_each_size_has_its_own(tmp_path: Path) -> None:
    sizes = '[[size]]\nname = "S"\nscale = 0.5\n[[size]]\nname = "L"\nscale = 1.5\n'
    made = jobs.job(tmp_path / "job", more=MORE + sizes, body=BODY)
    plan = pipeline.plan(pipeline.Request.of(made.file, layout_time=0))
    found = {c.copy: c.contour for _, p in plan.programs for c in p.cuts if "rod" in c.contour}
    assert found["cover-S/drawn/1"] == "mark:on-S-rod"
    assert found["cover-L/drawn/1"] == "mark:on-L-rod"


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('to = "cover"', 'to = "covert"', "J508"),
        ('to = "cover"', 'to = "plate"', "J509"),
        ('at = [["1", "2"], ["2", "1"]]', "", "J509"),
        ('at = [["1", "2"], ["2", "1"]]', 'seam = "hem"', "J508"),
        ('at = [["1", "2"], ["2", "1"]]', 'at = [["1", "1"]]', "J504"),
        ("face_to_face = true", "face_to_fase = true", "J503"),
    ],
)
def test_what_is_wrong_with_its_keys_is_told(tmp_path: Path, old: str, new: str, code: str) -> None:
    assert old in MORE
    made = jobs.job(tmp_path, more=MORE.replace(old, new), body=BODY)
    with pytest.raises(Refused) as stop:
        load_job(made.file)
    told = [f for f in stop.value.findings if f.code == code]
    assert told
    assert all(" line " in f.where for f in told)


def test_what_can_t_be_carried_is_told_with_its_line(tmp_path: Path) -> None:
    made = jobs.job(tmp_path, more=MORE.replace('["2", "1"]', '["2", "4"]'), body=BODY)
    with pytest.raises(Refused) as stop:
        pipeline.plan(made.request)
    (told,) = [f for f in stop.value.findings if f.code == "A344"]
    assert told.where == "job.toml line 20, registration on"
