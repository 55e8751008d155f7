"""A drawing that crosses itself, from the job's key to proven files."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright.cli import main
from foamwright.findings import Refused
from foamwright.pipeline import cut

from .jobs import drawing, job

#: Two sides that overshoot the plate's upper left corner by a millimetre.
OVERSHOT = '<path id="plate" d="M10 9V50H60V10H9V9Z"/>'
KEY = 'crossings = "even-odd"'


def test_without_the_key_it_is_refused_with_the_place_and_the_key(tmp_path: Path) -> None:
    with pytest.raises(Refused) as stop:
        cut(job(tmp_path / "j", body=OVERSHOT).request, tmp_path / "out")
    (told,) = (f for f in stop.value.findings if f.is_fault)
    assert told.code == "R102"
    assert "(10.00, 70.00) mm" in told.what
    assert KEY in told.mend


def test_with_the_key_the_plate_is_cut_and_proven_and_the_mend_is_told(tmp_path: Path) -> None:
    made = cut(job(tmp_path / "j", body=OVERSHOT, head=KEY).request, tmp_path / "out")
    assert made.record.verification is not None
    assert made.record.verification.passed
    assert [f.code for f in made.findings if f.code.startswith("R1")] == ["R117"]
    assert any("R117" in line for line in made.record.findings)
    (placed,) = made.plan.programs[0][1].sheet.placements
    assert placed.piece.outline.area == pytest.approx(50 * 40)


def test_inspect_lists_what_the_rule_makes_of_it(tmp_path: Path) -> None:
    file, picture = drawing(tmp_path, OVERSHOT), tmp_path / "p.svg"
    refused = CliRunner().invoke(main, ["inspect", str(file), "--preview", str(picture)])
    assert refused.exit_code == 1
    assert "#999999" in picture.read_text("utf-8")
    words = ["inspect", str(file), "--even-odd", "--preview", str(picture)]
    shown = CliRunner().invoke(main, words)
    assert shown.exit_code == 0
    assert "plate-2" in shown.output
    assert "R117" in shown.output
    assert ">1</text>" in picture.read_text("utf-8")


def test_the_key_takes_known_words_only(tmp_path: Path) -> None:
    with pytest.raises(Refused) as stop:
        cut(job(tmp_path / "j", head='crossings = "evenodd"').request, tmp_path / "out")
    (told,) = stop.value.findings
    assert told.code == "J505"
    assert "even-odd" in told.what + told.mend
