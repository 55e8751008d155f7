"""Cores in a job file: what parses, what contradicts itself, and a core cut from its shell."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Refused
from foamwright.job import Job, load_job
from foamwright.record import Record

from .jobs import svg

SHELL = """\
[job]
name = "limb"
machine = "flatbed-knife-1200"
[[piece]]
name = "leg"
outline = "leg.svg#leg"
material = "fleece-2mm"
[piece.edges]
bottom = ["1", "2"]
front = ["2", "3"]
back = ["4", "1"]
"""
CORE = """\
[[piece]]
name = "core"
material = "pu-foam-12mm"
"""


def job(tmp_path: Path, text: str) -> Job:
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    return load_job(tmp_path / "job.toml")


def refused(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(Refused) as stop:
        job(tmp_path, text)
    return [f.line() for f in stop.value.findings]


def test_a_core_needs_no_outline(tmp_path: Path) -> None:
    more = '[piece.core]\nof = "leg"\nsides = ["front", "back"]\nband = ["0 %", "12.5 %"]\n'
    core = job(tmp_path, SHELL + CORE + more + '[piece.core.inset]\nfront = "1/2 in"\n').piece[1]
    assert core.outline == ""
    assert core.core is not None
    assert core.core.band == (0.0, 12.5)
    assert core.core.inset == {"front": pytest.approx(12.7)}
    assert (core.core.by, core.core.neutral) == ("inset", 0.5)


def test_a_piece_without_outline_and_core_is_told(tmp_path: Path) -> None:
    (line,) = refused(tmp_path, SHELL + CORE)
    assert "J504" in line
    assert "line 12 [[piece]] core.outline" in line


@pytest.mark.parametrize(
    ("more", "code", "word"),
    [
        ('[piece.core]\nof = "lge"', "J508", "did you mean leg"),
        ('[piece.core]\nof = "core"', "J508", "no other piece"),
        ('[piece.core]\nof = "leg"\nby = "thickness"', "J509", "names no sides"),
        ('[piece.core]\nof = "leg"\nby = "thicknes"', "J505", "did you mean thickness"),
        ('[piece.core]\nof = "leg"\ninsets = {}', "J503", "did you mean inset"),
        ('[piece.core]\nof = "leg"\noversize = 2', "J505", "12 %"),
        ('[piece.core]\nof = "leg"\nneutral = 2', "J505", "less than or equal to 1"),
        (
            '[piece.core]\nof = "leg"\nsides = ["front", "back"]\nband = ["9 %", "1 %"]',
            "J509",
            "ends before it begins",
        ),
        ('[piece.core]\nof = "leg"\nsides = ["front", "bak"]', "J508", "did you mean back"),
        ('[piece.core]\nof = "leg"\n[piece.core.inset]\nfrnt = 5', "J508", "did you mean front"),
        (
            '[piece.core]\nof = "leg"\n[[seam]]\nname = "s"\njoins = ["core.front", "core.back"]\n'
            '[[seam.true]]\nedge = "core.bottom"',
            "J509",
            "derived from its shell",
        ),
        (
            '[piece.core]\nof = "leg"\n[[piece]]\nname = "foot"\noutline = "a.svg#a"\n'
            'material = "felt"\n[[piece.carry]]\nedge = "top"\nfrom = "core.bottom"',
            "J509",
            "derived from its shell",
        ),
        ('half = "fold"\n[piece.core]\nof = "leg"', "J509", "follows its shell"),
        ('scale = 2.0\n[piece.core]\nof = "leg"', "J509", "follows its shell"),
        ('outline = "a.svg#a"\n[piece.core]\nof = "leg"', "J509", "names no sides"),
        (
            'outline = "a.svg#a"\n[piece.core]\nof = "leg"\nsides = ["front", "back"]\n'
            'by = "thickness"',
            "J509",
            "drawn core",
        ),
        (
            '[piece.core]\nof = "leg"\n[[piece.relief]]\nedge = "frnt"\nat = "1 in"\n'
            'depth = "1 in"\nwidth = "1 in"',
            "J508",
            "did you mean front",
        ),
        (
            '[piece.core]\nof = "leg"\n[[piece.relief]]\nedge = "front"\nopposite = "bak"\n'
            'at = "1 in"\ndepth = "1 in"\nwidth = "1 in"',
            "J508",
            "did you mean back",
        ),
    ],
)
def test_what_a_core_contradicts_is_told(tmp_path: Path, more: str, code: str, word: str) -> None:
    (line,) = refused(tmp_path, SHELL + CORE + more + "\n")
    assert code in line
    assert word in line


def test_a_core_of_a_core_is_refused_and_all_faults_are_told_at_once(tmp_path: Path) -> None:
    second = CORE.replace("core", "inner") + '[piece.core]\nof = "core"\n'
    lines = refused(tmp_path, SHELL + CORE + '[piece.core]\nof = "lge"\n' + second)
    assert [line.split()[1] for line in lines] == ["J508", "J509"]


LEG = '<path id="leg" d="M20 210 H120 V10 H20 Z"/>'


def test_a_core_is_cut_at_each_size_from_its_shell(tmp_path: Path) -> None:
    """The foam's thickness is its profile's, and does not grow with the size."""
    (tmp_path / "leg.svg").write_text(svg(LEG, 200, 300), encoding="utf-8")
    sizes = '[[size]]\nname = "S"\nscale = 0.8\n[[size]]\nname = "M"\n'
    core = '[piece.core]\nof = "leg"\nsides = ["front", "back"]\nby = "thickness"\n'
    core += 'band = ["-1 %", "1 %"]\n'
    job(tmp_path, SHELL + CORE + core + sizes)
    request = pipeline.Request.of(tmp_path / "job.toml", layout_time=0)
    plan = pipeline.plan(request)
    assert [r.name for r in plan.checks.cores] == ["core-S", "core-M"]
    assert [round(r.middle.shell, 6) for r in plan.checks.cores] == [80, 100]
    thick = 12.0 * math.pi
    flat = [r.middle.flat for r in plan.checks.cores]
    assert flat == pytest.approx([80 - thick, 100 - thick], abs=1e-3)
    told = [f for f in plan.findings if f.code == "A352"]
    assert [f.piece for f in told] == ["core-S", "core-M"]
    assert all("line 15," in f.where for f in told)
    pipeline.cut(request, tmp_path / "out")
    record = Record.model_validate(json.loads((tmp_path / "out" / "record.json").read_text()))
    assert {p.name for p in record.pieces} == {"leg-S", "leg-M", "core-S", "core-M"}
    assert [i.name for i in record.inputs] == ["job.toml", "leg.svg"]
    assert record.verification.passed


def test_only_a_core_reads_its_shell(tmp_path: Path) -> None:
    (tmp_path / "leg.svg").write_text(svg(LEG, 200, 300), encoding="utf-8")
    job(tmp_path, SHELL + CORE + '[piece.core]\nof = "leg"\nsides = ["front", "back"]\n')
    plan = pipeline.plan(pipeline.Request.of(tmp_path / "job.toml", layout_time=0, only=["core"]))
    names = {p.copy.of for _, program in plan.programs for p in program.sheet.placements}
    assert names == {"core"}
    assert plan.checks.cores[0].middle.flat == pytest.approx(100 - 2 * 12.7)
