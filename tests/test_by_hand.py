"""Hand cutting as a machine of its own: paper and marks, no cut file."""

from __future__ import annotations

from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Refused

from .jobs import bare, drawing, job

BOTH = """
[[piece]]
name = "by-hand"
outline = "plate.svg#plate"
drawn = "cut-line"
material = "vinyl-cloth"
machine = "hand-cutting"
"""


def test_what_is_cut_by_hand_is_left_out_of_the_files_and_told(tmp_path: Path) -> None:
    made = pipeline.cut(job(tmp_path, more=BOTH).request, tmp_path / "out")
    assert {p.name for p in made.record.pieces} == {"plate"}
    assert {f.machine for f in made.record.files} == {"desk-laser-600"}
    (told,) = [f for f in made.findings if f.code == "J552"]
    assert (told.severity.value, "piece by-hand" in told.where) == ("note", True)
    assert "foamwright paper" in told.mend
    assert any(f.code == "S004" and "held in the hand" in f.what for f in made.findings)
    assert pipeline.verify_folder(tmp_path / "out")[0].passed


def test_a_job_for_the_hand_alone_has_no_cut_file(tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        pipeline.plan(job(tmp_path, "muslin", "hand-cutting").request)
    assert [f.code for f in refused.value.findings if f.is_fault] == ["J552"]


def test_the_paper_pattern_has_its_pieces(tmp_path: Path) -> None:
    pages, findings = pipeline.paper(
        job(tmp_path, more=BOTH).request, "a4", tmp_path / "pattern.pdf"
    )
    assert pages >= 2
    assert not [f for f in findings if f.code == "J552"]


def test_nothing_is_by_hand_on_other_machines(tmp_path: Path) -> None:
    planned = pipeline.plan(bare(drawing(tmp_path)))
    assert "J552" not in [f.code for f in planned.findings]
    assert planned.asked.by_hand == frozenset()
