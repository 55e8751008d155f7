"""A finding that a job file causes is told with that file's line."""

from __future__ import annotations

from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Finding, Refused, fault, note
from foamwright.job_places import located, locator
from foamwright.strict_toml import read_toml

from .jobs import PLATE, bare, drawing, job

JOB = """\
[job]
name = "places"
machine = "desk"

[[piece]]
name = "sole"
material = "card"
edges = { heel = ["1", "2"] }

[[piece.notch]]
at = "1 in"

[[piece.notch]]
at = "2 in"

[[piece]]
name = "sole-a"
material = "felt"
machine = "knife"
half = "fold"

[[size]]
name = "a"

[[seam]]
name = "long seam"
"""

#: A finding's place and piece, and the line that its cause stands on.
PLACES = [
    ("A303", "sole notch-2", "sole", 13),
    ("A303", "sole notch-9", "sole", 10),
    ("A302", "sole at 3.0, 4.0 mm", "sole", 5),
    ("A308", "sole-a", "sole-a", 16),
    ("A319", "sole-a half", "sole-a", 20),
    ("A303", "sole edge heel", "sole", 8),
    ("A311", "seam long seam", "", 25),
    ("A317", "size a fit", "", 22),
    ("L401", "sole/drawn/1", "sole/drawn/1", 5),
    ("L401", "sole-a-a/drawn/1", "sole-a-a/drawn/1", 16),
    ("J511", "material felt", "", 18),
    ("J511", "machine desk", "", 3),
    ("J511", "machine knife", "", 19),
]


@pytest.mark.parametrize(("code", "where", "piece", "line"), PLACES)
def test_the_line_of_the_key(code: str, where: str, piece: str, line: int, tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB)
    told = located(fault(code, where, "what", "mend", piece), read_toml(tmp_path / "job.toml"))
    assert told.where == f"job.toml line {line}, {where}"


@pytest.mark.parametrize(
    "finding",
    [
        note("C503", "sole/drawn/1 at (1, 2) mm", "what", piece="sole/drawn/1"),
        fault("A311", "seam none", "what", "mend"),
        fault("A303", "boot notch-1", "what", "mend", "boot"),
        fault("J511", "job.toml line 3 [job] machine", "what", "mend"),
    ],
)
def test_what_the_file_doesnt_cause_or_has_its_line_stays(finding: Finding, tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB)
    assert located(finding, read_toml(tmp_path / "job.toml")) == finding


def test_a_file_that_is_gone_gives_no_line(tmp_path: Path) -> None:
    finding = fault("A311", "seam long seam", "what", "mend")
    assert locator(tmp_path / "job.toml")(finding) == finding


def refusals(folder: Path, material: str = "card-1mm", more: str = "") -> dict[str, str]:
    """Code and place of every fault of a job of one plate."""
    with pytest.raises(Refused) as stop:
        pipeline.plan(job(folder, material, more=more).request)
    return {f.code: f.where for f in stop.value.findings if f.is_fault}


def test_a_job_s_faults_name_their_lines(tmp_path: Path) -> None:
    notch = (
        '[piece.edges]\nlow = ["1", "77"]\n[[piece.notch]]\nedge = "low"\nat = "1 mm"\n'
        'depth = "2 mm"'
    )
    found = refusals(tmp_path / "a", more=notch)
    lines = (tmp_path / "a" / "job.toml").read_text().splitlines()
    assert found["A303"].startswith("job.toml line ")
    number = int(found["A303"].split()[2].rstrip(","))
    assert lines[number - 1] in ("[[piece.notch]]", 'low = ["1", "77"]')
    found = refusals(tmp_path / "b", material="no-such-card")
    assert found["J511"] == "job.toml line 10, material no-such-card"
    stock = '[[stock]]\nmaterial = "card-1mm"\nwidth = "30 mm"\nlength = "30 mm"'
    found = refusals(tmp_path / "c", more=stock)
    assert found["L401"] == "job.toml line 6, plate/drawn/1"


def test_a_bare_drawing_has_no_line(tmp_path: Path) -> None:
    large = PLATE.replace("H70", "H700")
    with pytest.raises(Refused) as stop:
        pipeline.plan(bare(drawing(tmp_path, large)))
    assert [f.where for f in stop.value.findings if f.code == "L401"] == ["plate/drawn/1"]
