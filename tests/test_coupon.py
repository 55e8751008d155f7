"""Coupons: proven cuts that say what to measure, and give back what the tool took."""

from __future__ import annotations

import csv
import json
import math
import random
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from foamwright import pipeline
from foamwright.cli import main
from foamwright.coupon import cut_coupon
from foamwright.coupon_design import LETTERS, design, offsets_about, places_of
from foamwright.derive import settings_for
from foamwright.findings import Refused
from foamwright.geometry.pathdata import parse_path_data
from foamwright.profiles import Shelf
from foamwright.record import Record
from foamwright.shelf_folder import packaged_profiles

PAIRS = [
    ("card-1mm", "desk-laser-600"),
    ("stabilised-cotton", "roll-drag-knife-600"),
    ("fleece-2mm", "flatbed-knife-1200"),
    ("pu-foam-25mm", "flatbed-knife-1200"),
    ("faux-fur-long-pile", "flatbed-knife-1200"),
]


@pytest.fixture
def user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(tmp_path / "shelf"))
    return tmp_path / "shelf"


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(w) for w in words])


@pytest.mark.parametrize(("material", "machine"), PAIRS)
def test_a_coupon_is_a_proven_cut_that_tells_what_to_measure(
    user: Path, tmp_path: Path, material: str, machine: str
) -> None:
    made = cut_coupon(material, machine, tmp_path / "out")
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert proof.passed, [f.line() for f in findings]
    assert not [f for f in findings if f.is_fault]
    page = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    shown = page[page.index('id="measuring"') :]
    for place in places_of(made.record):
        assert f'<th scope="row">{place}</th>' in shown or f"{place}</th>" in shown
    assert all(f.tool["kerf"] == 0 for f in made.record.files)
    lettered = {p.name for p in made.record.pieces if p.marks}
    assert lettered == {p.name for p in made.record.pieces}
    assert "coupon.svg" in {i.name for i in made.record.inputs}


def test_the_same_coupon_gives_the_same_bytes(user: Path, tmp_path: Path) -> None:
    for name in ("a", "b"):
        cut_coupon("fleece-2mm", "flatbed-knife-1200", tmp_path / name)
    for file in (tmp_path / "a").iterdir():
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes()


def row(record: Record, part: str, axis: int, kerf: float) -> float:
    """The row of a part's copies as they fall: each path's width in the record, less a kerf."""
    widths = []
    for piece in record.pieces:
        if piece.name == part:
            (outline,) = parse_path_data(piece.target)
            low_x, low_y, high_x, high_y = outline.bounds
            widths.append((high_x - low_x, high_y - low_y)[axis] - kerf)
    return sum(widths)


@pytest.mark.parametrize("material", ["museum-board"])
def test_the_kerfs_of_a_cut_coupon_come_back_through_the_command(
    user: Path, tmp_path: Path, material: str
) -> None:
    """Known kerfs, across and along apart, read five times with noise of 0.02 mm."""
    out, true = tmp_path / "coupon", {"comb-x": 0.173, "comb-y": 0.214}
    made = cut_coupon(material, "desk-laser-600", out).record
    chance = random.Random(7)
    table = tmp_path / "readings.csv"
    with table.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["place", "reading"])
        for part, axis in (("comb-x", 0), ("comb-y", 1)):
            for _ in range(5):
                read = row(made, part, axis, true[part]) + chance.gauss(0, 0.02)
                writer.writerow([part, f"{read:.2f} mm"])
    ran = run("profile", "record", material, "--machine", "desk-laser-600", "--coupon", out,
              "--readings", table, "--resolution", "0.01 mm", "--json")  # fmt: skip
    assert ran.exit_code == 0, ran.stderr
    for done in json.loads(ran.stdout)["recorded"]:
        part = {"kerf_x": "comb-x", "kerf_y": "comb-y"}[done["key"]]
        found = done["estimate"]
        assert abs(found["value"] - true[part]) <= found["expanded"]
        assert found["expanded"] < 0.005
    shelf = Shelf.of()
    cut = settings_for(shelf.machine("desk-laser-600").profile, shelf.material(material).profile)
    assert (cut.kerf, cut.kerf_x) == (None, pytest.approx(0.173, abs=0.005))
    assert cut.kerf_y == pytest.approx(0.214, abs=0.005)


def test_a_coupon_after_a_measurement_has_no_kerf_again(user: Path, tmp_path: Path) -> None:
    run("profile", "record", "card-1mm", "--machine", "desk-laser-600", "--key", "kerf",
        "--reading", "0.17", "--reading", "0.18")  # fmt: skip
    made = cut_coupon("card-1mm", "desk-laser-600", tmp_path / "out").record
    assert {f.tool["kerf"] for f in made.files} == {0}


def test_a_drag_knife_has_a_file_for_each_offset_and_force(user: Path, tmp_path: Path) -> None:
    made = cut_coupon("stabilised-cotton", "roll-drag-knife-600", tmp_path / "out").record
    offsets = {round(f.tool["blade_offset"], 3) for f in made.files}
    assert offsets == {0.3, 0.4, 0.5, 0.6, 0.7}
    assert len({f.sheet for f in made.files}) == 9
    ran = run("profile", "record", "roll-drag-knife-600", "--coupon", tmp_path / "out",
              "--resolution", "0.1", *(w for r in ("0.5", "0.5", "0.6", "0.5", "0.6")
                                       for w in ("--reading", f"offset={r}")))  # fmt: skip
    assert ran.exit_code == 0, ran.stderr
    machine = Shelf.of().machine("roll-drag-knife-600").profile
    assert machine.blade_offset == pytest.approx(0.54)
    assert machine.basis_of("blade_offset") == "measured"


def test_offsets_lie_about_the_machines_own_and_within_those_in_use() -> None:
    assert offsets_about(0.5) == (0.3, 0.4, 0.5, 0.6, 0.7)
    assert offsets_about(None) == offsets_about(0.5)
    assert offsets_about(0.25) == (0.15, 0.25, 0.35, 0.45)
    assert offsets_about(1.2) == (1.0, 1.1, 1.2)


def test_an_oscillating_knifes_overrun_and_lean_come_back(user: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    made = cut_coupon("pu-foam-12mm", "flatbed-knife-1200", out).record
    (overrun,) = {f.tool["overrun"] for f in made.files}
    assert overrun == pytest.approx(12 / math.tan(math.radians(80)))
    places = places_of(made)
    assert places["corner"].value(12 / math.tan(math.radians(78))) == pytest.approx(78)
    assert places["lean"].nominal == 72
    beyond = [f"corner={12 / math.tan(math.radians(a)):.2f}" for a in (78, 78.2, 77.8)]
    lean = [f"lean={x}" for x in ("1.2", "1.3", "1.25")]
    ran = run("profile", "record", "pu-foam-12mm", "--machine", "flatbed-knife-1200", "--coupon",
              out, "--resolution", "0.05", *(w for r in (*beyond, *lean) for w in ("--reading", r))
              )  # fmt: skip
    assert ran.exit_code == 0, ran.stderr
    shelf = Shelf.of()
    foam = shelf.material("pu-foam-12mm").profile
    cut = settings_for(shelf.machine("flatbed-knife-1200").profile, foam)
    assert cut.edge_angle == pytest.approx(78, abs=0.1)
    assert [e.what for e in foam.measured] == ["edge_angle", "lean"]
    assert float(foam.measured[1].value) == pytest.approx(
        math.degrees(math.atan2(1.25, 72)), abs=0.01
    )


# ------------------------------------------------------------------------------- rules and shelves


def test_the_rules_hold_for_a_coupon(user: Path, tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        cut_coupon("pu-foam-12mm", "desk-laser-600", tmp_path / "out")
    assert "S002" in [f.code for f in refused.value.findings]
    assert not (tmp_path / "out").exists()


def test_what_is_cut_by_hand_has_no_coupon(user: Path, tmp_path: Path) -> None:
    with pytest.raises(Refused, match="J551"):
        cut_coupon("pu-foam-12mm", "hand-cutting", tmp_path / "out")


def test_a_jobs_permit_and_shelf_count_for_its_coupon(user: Path, tmp_path: Path) -> None:
    job = tmp_path / "job" / "job.toml"
    own = job.parent / "profiles" / "materials"
    own.mkdir(parents=True)
    (own / "pu-foam-12mm.toml").write_text(
        'schema = 2\nbased_on = "pu-foam-12mm"\nthickness = "11.5 mm"\n'
        '[[cut]]\nmethod = "laser"\nkerf = "0.4 mm"\nspeed = "7 mm/s"\n',
        encoding="utf-8",
    )
    job.write_text(
        '[[permit]]\nmaterial = "pu-foam-12mm"\nmachine = "desk-laser-600"\nissued_by = "S"\n'
        'reference = "RA-17"\ndate = 2020-01-01\n',
        encoding="utf-8",
    )
    made = cut_coupon("pu-foam-12mm", "desk-laser-600", tmp_path / "out", job).record
    assert [p.reference for p in made.permits] == ["RA-17"]
    assert {(f.tool["kerf"], f.tool["cut_speed"]) for f in made.files} == {(0.0, 7.0)}
    assert {s.thickness for s in made.sheets} == {11.5}


def test_a_controller_that_compensates_the_kerf_is_to_be_switched_off(
    user: Path, tmp_path: Path
) -> None:
    (user / "machines").mkdir(parents=True)
    text = 'schema = 2\nbased_on = "desk-laser-600"\napplies = ["kerf"]\n'
    (user / "machines" / "desk-laser-600.toml").write_text(text, encoding="utf-8")
    made = cut_coupon("card-1mm", "desk-laser-600", tmp_path / "out").record
    assert {tuple(f.tool["applies"]) for f in made.files} == {()}
    assert "off: the file has it all" in (tmp_path / "out" / "operator-sheet.html").read_text()


def test_a_machine_that_makes_marks_as_holes_bears_no_letters(user: Path, tmp_path: Path) -> None:
    (user / "machines").mkdir(parents=True)
    text = 'schema = 2\nbased_on = "desk-laser-600"\nmarks_by = "hole"\n'
    (user / "machines" / "desk-laser-600.toml").write_text(text, encoding="utf-8")
    made = cut_coupon("card-1mm", "desk-laser-600", tmp_path / "out").record
    assert not [p for p in made.pieces if p.marks]


def test_a_profile_by_its_file_has_a_coupon_too(user: Path, tmp_path: Path) -> None:
    own = tmp_path / "board.toml"
    packaged = (packaged_profiles() / "materials" / "card-1mm.toml").read_text("utf-8")
    own.write_text(packaged.replace('"0.2 mm"', '"0.3 mm"'), encoding="utf-8")
    made = cut_coupon(str(own), "desk-laser-600", tmp_path / "out").record
    assert {f.material for f in made.files} == {"board"}
    assert {f.tool["kerf"] for f in made.files} == {0}


def test_a_folder_that_is_no_coupon_has_no_places(user: Path, tmp_path: Path) -> None:
    from .jobs import bare, drawing

    pipeline.cut(bare(drawing(tmp_path)), tmp_path / "out")
    ran = run("profile", "record", "card-1mm", "--machine", "desk-laser-600", "--coupon",
              tmp_path / "out", "--reading", "comb-x=9")  # fmt: skip
    assert (ran.exit_code, "holds no coupon" in ran.stderr) == (2, True)
    cut_coupon("card-1mm", "desk-laser-600", tmp_path / "coupon")
    ran = run("profile", "record", "card-1mm", "--machine", "desk-laser-600", "--coupon",
              tmp_path / "coupon", "--reading", "comb-z=9")  # fmt: skip
    assert (ran.exit_code, "it has comb-x, comb-y" in ran.stderr) == (2, True)
    for words in (["card-1mm", "--machine", "large-laser-1300"],
                  ["museum-board", "--machine", "desk-laser-600"]):  # fmt: skip
        ran = run("profile", "record", *words, "--coupon", tmp_path / "coupon",
                  "--reading", "comb-x=98", "--reading", "comb-x=98")  # fmt: skip
        assert (ran.exit_code, "is a coupon of card-1mm on desk-laser-600" in ran.stderr) == (
            2,
            True,
        )


# ------------------------------------------------------------------------------- the drawing


@pytest.mark.parametrize("thickness", [0.5, 1, 6, 12, 25])
def test_strips_are_no_thinner_than_they_are_thick(thickness: float) -> None:
    for part in design("laser", thickness, thickness, None).parts:
        if part.name.startswith("comb"):
            assert min(part.width, part.height) >= max(10, 2 * thickness)


@pytest.mark.parametrize("method", ["laser", "drag-knife", "oscillating-knife"])
def test_words_fit_on_their_parts(method: Any) -> None:
    from foamwright.coupon_design import drawing
    from foamwright.stages.alter.letters import word

    made = design(method, 3.0, 3.0, 0.5)
    for part in made.parts:
        for line in part.words:
            assert word(line, LETTERS)[1] < part.width
    text = drawing(made.parts, letters=True)
    assert len(re.findall(r"data-role=\"mark\"", text)) > 100
    assert not re.findall(r"data-role=\"mark\"", drawing(made.parts, letters=False))
