"""A laser's leads, bridges, passes and optics through the whole chain."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.findings import Refused

from .jobs import Written, job
from .stages.verify.proof_bench import amend

MATERIAL = """\
schema = 1
name = "Card, 3 mm, ours"
composition = ["card"]
composition_basis = "label"
thickness = "{thickness} mm"
{head}
[[stock]]
kind = "sheet"
width = "420 mm"
length = "297 mm"
[[cut]]
method = "laser"
kerf = "0.2 mm"
{cut}
[[cut]]
method = "drag-knife"
"""
#: Waist 0.12 mm, M2 1.2, 10.6 um: 0.86 mm at the faces of 12.7 mm with the focus half way.
OPTICS = 'waist = "0.12 mm"\nwavelength = "10.6 um"\nm2 = 1.2\nfocus_depth = "1.5 mm"'


def ours(
    folder: Path, cut: str = "", *, head: str = "", thickness: float = 3, **more: str
) -> Written:
    shelf = folder / "profiles" / "materials"
    shelf.mkdir(parents=True)
    text = MATERIAL.format(head=head, cut=cut, thickness=thickness)
    (shelf / "our-card.toml").write_text(text, encoding="utf-8")
    return job(folder, "our-card", **more)


def page(folder: Path) -> str:
    return re.sub(r"\s+", " ", (folder / "out" / "operator-sheet.html").read_text("utf-8"))


def test_held_pieces_are_proven_told_and_left_for_the_hand(tmp_path: Path) -> None:
    written = ours(
        tmp_path,
        'lead_in = "3 mm"\nlead_out = "1 mm"\nbridges = { spacing = "60 mm", width = "0.8 mm" }',
        more="[piece.bridges]\ncount = 3\n",
    )
    result = pipeline.cut(written.request, tmp_path / "out")
    (piece,) = result.record.pieces
    assert [b.width for b in piece.bridges] == [0.8] * 3
    assert [b.length for b in piece.bridges] == pytest.approx([1.0] * 3, abs=1e-6)
    proof = result.record.verification
    assert proof is not None
    assert proof.left_mm == pytest.approx(3.0, abs=1e-3)
    outlines = [c for c in result.record.files[0].contours if c.contour == "outline"]
    assert [c.left for c in outlines] == pytest.approx([1.0] * 3, abs=1e-6)
    told = page(tmp_path)
    assert "Holding bridges on sheet 1: left for the hand" in told
    assert "<td>3</td><td>0.8</td><td>3.0</td>" in told
    assert told.count('class="bridge"') >= 3
    assert "Every holding bridge of our-card, 3.0 mm of edge in all" in told
    again, findings = pipeline.verify_folder(tmp_path / "out")
    assert again.passed, findings
    shown = CliRunner().invoke(main, ["verify", str(tmp_path / "out"), "--explain", "plate"])
    assert "left for the hand by holding bridges: 3.0 mm" in shown.output


def test_a_bridge_struck_from_the_record_is_refused(tmp_path: Path) -> None:
    pipeline.cut(ours(tmp_path, more="[piece.bridges]\ncount = 3\n").request, tmp_path / "out")
    amend(tmp_path / "out", lambda r: r["pieces"][0]["bridges"].pop())
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert not proof.passed
    assert "V009" in {f.code for f in findings}


def test_a_job_may_leave_out_the_bridges_of_a_profile(tmp_path: Path) -> None:
    written = ours(tmp_path, "bridges = { count = 4 }", more="[piece.bridges]\ncount = 0\n")
    ((_, program),) = pipeline.plan(written.request).programs
    assert all(c.bridge is None for c in program.cuts)


@pytest.mark.parametrize("machine", ["roll-drag-knife-600", "own-kerf"])
def test_bridges_where_none_can_be_made_are_refused(tmp_path: Path, machine: str) -> None:
    written = ours(tmp_path, thickness=0.5, machine=machine, more="[piece.bridges]\ncount = 2\n")
    shelf = tmp_path / "profiles" / "machines"
    shelf.mkdir()
    own = 'schema = 1\nname = "Own"\nbased_on = "desk-laser-600"\napplies = ["kerf"]\n'
    (shelf / "own-kerf.toml").write_text(own, encoding="utf-8")
    with pytest.raises(Refused) as e:
        pipeline.plan(written.request)
    assert "J527" in [f.code for f in e.value.findings]


def test_passes_and_focus_are_on_the_sheet_and_in_the_time(tmp_path: Path) -> None:
    steps = 'passes = 3\nfocus_depth = "-0.5 mm"\nfocus_step = "0.5 mm"'
    thrice = pipeline.cut(ours(tmp_path, steps).request, tmp_path / "out")
    told = page(tmp_path)
    assert "1: 0.5 mm above the face; 2: on the face; 3: 0.5 mm below the face" in told
    assert "3 of all that cuts through, marks once; the file holds each contour once" in told
    assert "set the focus anew, run them again" in told
    tool = thrice.record.files[0].tool
    assert (tool["passes"], tool["focus_depth"], tool["focus_step"]) == (3, -0.5, 0.5)
    assert len(thrice.record.files[0].contours) == 2
    once = pipeline.plan(ours(tmp_path / "once").request)
    assert thrice.record.time_s > 2.5 * once.programs[0][1].time_s


def test_the_beam_to_expect_stands_beside_an_estimate_and_is_not_used(tmp_path: Path) -> None:
    """0.12 mm waist, M2 = 1.2, 3 mm slab: 0.12 sqrt(1 + (1.5 / 0.8891)^2) = 0.24 mm."""
    result = pipeline.cut(ours(tmp_path, OPTICS).request, tmp_path / "out")
    assert "0.24 mm where it goes in, 0.24 mm where it comes out" in page(tmp_path)
    assert result.record.files[0].tool["kerf"] == 0.2
    shown = CliRunner().invoke(
        main, ["profile", "show", "our-card", "--job", str(tmp_path / "job.toml"), "--json"]
    )
    (beam,) = json.loads(shown.stdout)["beam_to_expect"]
    assert (beam["cut"], round(beam["entry"], 3)) == (1, 0.235)
    told = CliRunner().invoke(
        main, ["profile", "show", "our-card", "--job", str(tmp_path / "job.toml")]
    )
    assert "beam to expect" in told.stdout


def test_no_beam_stands_beside_a_measurement(tmp_path: Path) -> None:
    measured = f'{OPTICS}\nbasis = "measured"\nsource = "our coupon"'
    pipeline.cut(ours(tmp_path, measured).request, tmp_path / "out")
    assert "Beam to expect" not in page(tmp_path)
    shown = CliRunner().invoke(
        main, ["profile", "show", "our-card", "--job", str(tmp_path / "job.toml"), "--json"]
    )
    assert json.loads(shown.stdout)["beam_to_expect"] == []


def test_a_taper_cut_from_the_back_names_the_materials_sides(tmp_path: Path) -> None:
    """Top is where the beam goes in: with the sheet face down, the material's back."""
    written = ours(tmp_path, 'kerf_exit = "0.1 mm"', head='cut_from = "back"')
    result = pipeline.cut(written.request, tmp_path / "out")
    (told,) = [f for f in result.findings if f.code == "V022"]
    assert "0.050 mm beyond it at the bottom face, the material's front" in told.what
    assert "where the beam goes in, the material's back" in page(tmp_path).replace("&#39;", "'")
    proof = result.record.verification
    assert proof is not None
    (face,) = proof.faces
    assert (face.face, face.least_mm, face.most_mm) == (
        "bottom",
        pytest.approx(-0.05, abs=0.01),
        pytest.approx(-0.05, abs=0.01),
    )


@pytest.mark.parametrize(("more", "gap"), [("", 3.2), ('clearance = "1 mm"', 1.2)])
def test_cuts_lie_a_thickness_apart_unless_the_profile_says_otherwise(
    tmp_path: Path, more: str, gap: float
) -> None:
    ((bench, _),) = pipeline.plan(ours(tmp_path, more).request).programs
    assert bench.limits.clearance == pytest.approx(gap)
    assert bench.tool.clearance == pytest.approx(gap - 0.2)


def test_the_packaged_series_serves_a_profile_based_on_it(tmp_path: Path) -> None:
    """Museum board 1/32 and 1/16 in: 0.08 and 0.13 mm (a job shop's published kerf table)."""
    shelf = tmp_path / "profiles" / "materials"
    shelf.mkdir(parents=True)
    text = 'based_on = "museum-board"\nname = "Ours"\nthickness = "{} mm"\n'
    (shelf / "ours.toml").write_text(text.format(1.4), encoding="utf-8")
    result = pipeline.cut(job(tmp_path, "ours").request, tmp_path / "out")
    low, high = 25.4 / 32, 25.4 / 16
    kerf = 0.08 + 0.05 * (1.4 - low) / (high - low)
    assert result.record.files[0].tool["kerf"] == pytest.approx(kerf, abs=1e-6)
    again, findings = pipeline.verify_folder(tmp_path / "out")
    assert again.passed, [f.line() for f in findings if f.is_fault]
    packaged = pipeline.cut(job(tmp_path / "b", "museum-board").request, tmp_path / "b" / "out")
    assert packaged.record.files[0].tool["kerf"] == pytest.approx(0.105591, abs=1e-6)
    again, findings = pipeline.verify_folder(tmp_path / "b" / "out")
    assert again.passed, [f.line() for f in findings if f.is_fault]
    (shelf / "ours.toml").write_text(text.format(2), encoding="utf-8")
    with pytest.raises(Refused, match="coupon of 2 mm stock"):
        pipeline.plan(job(tmp_path, "ours").request)


def test_a_kerf_edited_in_the_record_is_refused(tmp_path: Path) -> None:
    """The tool that the files are proven with is the one that the recorded values give."""
    pipeline.cut(job(tmp_path, "museum-board").request, tmp_path / "out")
    amend(tmp_path / "out", lambda r: [f["tool"].update(kerf=0.2) for f in r["files"]])
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert not proof.passed
    assert "V003" in {f.code for f in findings}


def test_a_kerf_that_its_own_series_does_not_give_is_refused(tmp_path: Path) -> None:
    """Edited in the values and in the tool alike; the points beside it say otherwise."""
    series = """[[cut.at]]
thickness = "2 mm"
speed = "20 mm/s"
[[cut.at]]
thickness = "4 mm"
speed = "10 mm/s"
"""
    pipeline.cut(ours(tmp_path, series).request, tmp_path / "out")
    assert pipeline.verify_folder(tmp_path / "out")[0].passed

    def slower(record: dict[str, Any]) -> None:
        for profile in record["profiles"]:
            for value in profile["values"]:
                if value["key"] == "cut.speed":
                    assert value["value"] == 15.0
                    value["value"] = 12.0
        for file in record["files"]:
            file["tool"]["cut_speed"] = 12.0

    amend(tmp_path / "out", slower)
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert not proof.passed
    assert any("measured thicknesses give 15" in f.what for f in findings)
