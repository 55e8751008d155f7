"""From readings to an entry on the shelf, and from the entry to the next cut."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from foamwright import pipeline
from foamwright.cli import main
from foamwright.derive import settings_for
from foamwright.findings import Refused
from foamwright.profile_models import CutSettings
from foamwright.profiles import Shelf
from foamwright.readings import Place, amount, read_csv
from foamwright.recording_results import edge_metres
from foamwright.shelf_folder import packaged_profiles

from .jobs import bare, drawing

#: Readings whose mean, deviation and factor are GUM H.2's: 4.999, 0.0032 and 2.78 for five.
GUIDE = ["5.007", "4.994", "5.005", "4.990", "4.999"]


@pytest.fixture
def user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "shelf"
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(folder))
    return folder


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["profile", "record", *words])


def each(*readings: str) -> list[str]:
    return [w for r in readings for w in ("--reading", r)]


def kerf(*readings: str, machine: str = "desk-laser-600", key: str = "kerf") -> list[str]:
    given = each(*(readings or ("0.17", "0.18", "0.175")))
    return ["card-1mm", "--machine", machine, "--key", key, *given, "--date", "2026-03-01"]


def entries(user: Path, name: str = "materials/card-1mm.toml") -> list[dict[str, Any]]:
    told: list[dict[str, Any]] = tomllib.loads((user / name).read_text("utf-8"))["measured"]
    return told


def cut_of(material: str = "card-1mm", machine: str = "desk-laser-600") -> CutSettings:
    shelf = Shelf.of()
    return settings_for(shelf.machine(machine).profile, shelf.material(material).profile)


# ------------------------------------------------------------------------------------ the entry


def test_the_entry_has_the_guides_figures_and_the_operators_words(user: Path) -> None:
    ran = run(
        "pu-foam-12mm", "--machine", "desk-laser-600", "--key", "kerf_exit", *each(*GUIDE),
        "--resolution", "0.001 mm", "--by", "M.", "--note", "fresh lens\ncold day",
        "--date", "2026-03-01",
    )  # fmt: skip
    assert ran.exit_code == 0, ran.stderr
    (entry,) = entries(user, "materials/pu-foam-12mm.toml")
    assert (entry["value"], entry["n"], entry["basis"]) == ("4.9990 mm", 5, "measured")
    assert (entry["spread"], entry["standard_uncertainty"]) == ("0.0072 mm", "0.0032 mm")
    assert entry["coverage_factor"] == pytest.approx(2.78, abs=0.005)
    assert entry["expanded_uncertainty"] == "0.0089 mm"
    assert entry["readings"] == GUIDE
    assert (entry["by"], entry["note"]) == ("M.", "fresh lens cold day")
    assert entry["date"].isoformat() == "2026-03-01"
    assert entry["thickness"] == "12 mm"
    assert "before" not in entry
    assert "none before" in ran.stdout


def test_the_value_serves_the_next_cut_and_says_that_it_was_measured(
    user: Path, tmp_path: Path
) -> None:
    assert cut_of().kerf == 0.2
    ran = run(*kerf())
    assert "0.0250 mm less than the 0.2000 mm before (estimate), beyond its ±" in ran.stdout
    assert cut_of().kerf == 0.175
    result = pipeline.cut(bare(drawing(tmp_path)), tmp_path / "out")
    assert result.record.files[0].tool["kerf"] == 0.175
    values = {v.key: (v.value, v.origin) for p in result.record.profiles for v in p.values}
    assert values["cut.kerf"] == (0.175, "user:materials/card-1mm.toml")
    page = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    row = page[page.index("Kerf, full width") :]
    assert "0.175 mm" in row[:80]
    assert "measured</td>" in row[:120]
    assert "kerf: measured 2026-03-01, on desk-laser-600, 3 readings" in page
    speed = page[page.index('<th scope="row">Speed') :]
    assert "estimate</td>" in speed[:120]
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert proof.passed, findings


def test_a_measure_serves_no_other_machine(user: Path) -> None:
    run(*kerf())
    assert cut_of(machine="large-laser-1300").kerf == 0.2
    own = user / "machines" / "my-laser.toml"
    own.parent.mkdir()
    own.write_text('schema = 2\nbased_on = "desk-laser-600"\n', encoding="utf-8")
    assert cut_of(machine="my-laser").kerf == 0.2


def test_a_measure_serves_its_tool_and_operation_only(user: Path) -> None:
    run(*kerf(), "--tool", "2 in lens")
    assert cut_of().kerf == 0.2
    own = user / "machines" / "desk-laser-600.toml"
    own.parent.mkdir()
    text = 'schema = 2\nbased_on = "desk-laser-600"\ntool = "{}"\n'
    own.write_text(text.format("2 in lens"), encoding="utf-8")
    assert cut_of().kerf == 0.175
    own.write_text(text.format("4 in lens"), encoding="utf-8")
    assert cut_of().kerf == 0.2
    run("card-1mm", "--machine", "desk-laser-600", "--key", "power", "--value", "12 %",
        "--operation", "score")  # fmt: skip
    assert cut_of().power is None


def test_comments_and_history_stay(user: Path) -> None:
    run(*kerf())
    file = user / "materials" / "card-1mm.toml"
    ours = "# what we know\n" + file.read_text("utf-8") + "# and the end"
    file.write_text(ours, encoding="utf-8")
    run(*kerf("0.19", "0.20", "0.21"))
    text = file.read_text("utf-8")
    assert text.startswith(ours + "\n")
    assert [e["value"] for e in entries(user)] == ["0.1750 mm", "0.2000 mm"]
    assert entries(user)[1]["before"] == "0.1750 mm"
    assert entries(user)[1]["before_basis"] == "measured"
    assert cut_of().kerf == 0.2


def test_kerfs_across_and_along_stand_beside_each_other(user: Path) -> None:
    run(*kerf("0.15", "0.16", key="kerf_x"))
    cut = cut_of()
    assert (cut.kerf, cut.kerf_x, cut.kerf_y) == (None, 0.155, 0.2)
    assert (cut.basis_of("kerf_x"), cut.basis_of("kerf_y")) == ("measured", "estimate")
    run(*kerf("0.21", "0.22", key="kerf_y"))
    assert (cut_of().kerf_x, cut_of().kerf_y) == (0.155, 0.215)
    run(*kerf())
    assert (cut_of().kerf, cut_of().kerf_x, cut_of().kerf_y) == (0.175, None, None)


def test_packaged_files_are_never_touched(user: Path) -> None:
    before = {f: f.read_bytes() for f in packaged_profiles().rglob("*.toml")}
    run(*kerf())
    assert {f: f.read_bytes() for f in packaged_profiles().rglob("*.toml")} == before


def test_a_profile_beside_the_job_gets_its_own_entry(user: Path, tmp_path: Path) -> None:
    own = tmp_path / "job" / "profiles" / "materials" / "card-1mm.toml"
    own.parent.mkdir(parents=True)
    own.write_text('schema = 2\nbased_on = "card-1mm"\n', encoding="utf-8")
    assert run(*kerf(), "--job", str(tmp_path / "job" / "job.toml")).exit_code == 0
    assert "0.1750 mm" in own.read_text("utf-8")
    assert not user.exists() or not list(user.rglob("*.toml"))


def test_a_nearer_cut_with_a_value_of_its_own_stands_before_a_farther_measure(user: Path) -> None:
    run(*kerf())
    ours = user / "materials" / "ours.toml"
    base = 'schema = 2\nbased_on = "card-1mm"\n'
    ours.write_text(base, encoding="utf-8")
    assert cut_of("ours").kerf == 0.175
    ours.write_text(base + '[[cut]]\nmethod = "laser"\nkerf = "0.3 mm"\n', encoding="utf-8")
    assert cut_of("ours").kerf == 0.3


# ------------------------------------------------------------------------------------ thickness


def test_between_measured_thicknesses_on_a_line_and_refused_beyond(user: Path) -> None:
    for thickness, reading in (("1 mm", "0.2"), ("3 mm", "0.4")):
        run(*kerf(reading, reading), "--thickness", thickness)
    ours = user / "materials" / "ours.toml"
    for thick, expected in ((1, 0.2), (2, 0.3), (2.4, 0.34), (3, 0.4), (3.2, 0.4)):
        ours.write_text(f'schema = 2\nbased_on = "card-1mm"\nthickness = "{thick} mm"\n', "utf-8")
        assert cut_of("ours").kerf == pytest.approx(expected)
    for thick in (0.5, 4):
        ours.write_text(f'schema = 2\nbased_on = "card-1mm"\nthickness = "{thick} mm"\n', "utf-8")
        with pytest.raises(Refused) as refused:
            cut_of("ours")
        assert [f.code for f in refused.value.findings] == ["J526"]
        assert "1 to 3 mm" in refused.value.findings[0].what


def test_a_measure_joins_a_series(user: Path) -> None:
    """Museum board is published at 0.79 and 1.59 mm; a measure at 1.2 mm lies between."""
    run("museum-board", "--machine", "desk-laser-600", "--key", "kerf", *each("0.2", "0.2"))
    assert cut_of("museum-board").kerf == 0.2
    assert cut_of("museum-board", "large-laser-1300").kerf == pytest.approx(
        0.08 + 0.05 * (1.2 / 0.79375 - 1), abs=1e-5
    )
    ours = user / "materials" / "ours.toml"
    ours.write_text('schema = 2\nbased_on = "museum-board"\nthickness = "1.4 mm"\n', "utf-8")
    line = 0.2 + (1.4 - 1.2) / (25.4 / 16 - 1.2) * (0.13 - 0.2)
    found = cut_of("ours")
    assert found.kerf == pytest.approx(line, abs=1e-5)
    assert found.basis_of("kerf") == "published"


def test_the_thickness_measured_today_is_the_stocks(user: Path, tmp_path: Path) -> None:
    run("pu-foam-12mm", "--key", "thickness", *each("11.8", "11.9"))
    loaded = Shelf.of().material("pu-foam-12mm")
    assert loaded.profile.thickness == pytest.approx(11.85)
    assert loaded.profile.basis_of("thickness") == "measured"
    assert loaded.origin("thickness") == "user:materials/pu-foam-12mm.toml"


def test_a_machines_own_value_is_measured_too(user: Path) -> None:
    ran = run("roll-drag-knife-600", "--key", "blade_offset", *each("0.45", "0.46"))
    assert ran.exit_code == 0, ran.stderr
    machine = Shelf.of().machine("roll-drag-knife-600").profile
    assert machine.blade_offset == pytest.approx(0.455)
    assert machine.basis_of("blade_offset") == "measured"


# ------------------------------------------------------------------------------------ readings


def test_a_reading_that_does_not_belong_stops_until_somebody_decides(user: Path) -> None:
    read = ("0.17", "0.18", "0.17", "0.18", "0.17", "0.31")
    stopped = run(*kerf(*read), "--resolution", "0.01")
    assert (stopped.exit_code, "J542" in stopped.stderr) == (1, True)
    assert "reading 6, 0.31" in stopped.stderr
    assert not (user / "materials").exists()
    run(*kerf(*read), "--resolution", "0.01", "--outliers", "drop")
    run(*kerf(*read), "--resolution", "0.01", "--outliers", "keep")
    dropped, kept = entries(user)
    assert (dropped["n"], dropped["left_out"], dropped["value"]) == (5, ["0.31"], "0.1740 mm")
    assert kept["n"] == 6
    assert "left_out" not in kept


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (kerf("0.17"), 1, "take 2 or more"),
        (kerf("0.17", "wide"), 1, "reading 2 is none"),
        (kerf("-0.1", "-0.2"), 1, "which kerf can't be"),
        (kerf("nan", "0.2"), 1, "J541"),
        (kerf("1e308", "1e308"), 1, "larger than anything measured"),
        (kerf("1_0", "1_0"), 1, "reading 1 is none"),
        ([*kerf(), "--thickness", "-1"], 1, "must be more than nought"),
        ([*kerf(), "--by", "x" * 300], 1, "at most 200"),
        ([*kerf(), "--note", "x" * 3000], 1, "at most 2000"),
        (kerf(machine="desk-laser-60"), 1, "did you mean desk-laser-600"),
        (kerf(key="kurf"), 2, "did you mean kerf"),
        (kerf(key="composition"), 2, "nothing that is measured"),
        (kerf(key="power"), 2, "give --value"),
        (["card-1mm", "--key", "kerf", *each("0.2", "0.2")], 2, "name the --machine"),
        (["card-1mm"], 2, "nothing to record"),
        (["card-1mm", *each("0.2", "0.2")], 2, "say what was measured"),
        (["desk-laser-600", "--key", "blade_offset", *each("1", "1")], 2, "has none"),
        (
            ["card-1mm", "--machine", "desk-laser-600", "--key", "kerf", "--value", "0.2"],
            2,
            "readings",
        ),
    ],
)
def test_what_is_not_recorded(user: Path, words: list[str], code: int, said: str) -> None:
    ran = run(*words)
    assert (ran.exit_code, said in ran.stderr) == (code, True), ran.stderr
    assert not list(user.rglob("*.toml"))


def test_a_place_turns_a_reading_into_its_value() -> None:
    comb = Place("comb-x", "kerf_x", "", "shortfall", nominal=100.0, cuts=10)
    assert comb.value(98.1) == pytest.approx(0.19)
    assert comb.steepness(98.1) == pytest.approx(0.1)
    corner = Place("corner", "edge_angle", "", "slope", nominal=12.5)
    assert corner.value(12.5) == pytest.approx(45)
    assert corner.value(12.5 / math.tan(math.radians(80))) == pytest.approx(80)
    step = 1e-6
    change = (corner.value(2 - step) - corner.value(2 + step)) / (2 * step)
    assert corner.steepness(2) == pytest.approx(change, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [("0.2", "mm", 0.2), ("1/8 in", "mm", 3.175), ("60", "mm/s", 60), ("3 m/min", "mm/s", 50),
     ("80°", "degrees", 80), ("80 degrees", "degrees", 80)],
)  # fmt: skip
def test_amounts_as_people_write_them(text: str, unit: Any, value: float) -> None:
    assert amount(text, unit) == pytest.approx(value)


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_a_small_csv(tmp_path: Path, sign: str) -> None:
    file = tmp_path / "r.csv"
    rows = [["Place", "reading", "note"], ["a", "79.8 mm", "x"], ["b", "1", ""], ["a", "79.9", ""]]
    rows.append(["", "", "empty rows are left alone"])
    file.write_text("\ufeff" + "\r\n".join(sign.join(r) for r in rows), encoding="utf-8")
    assert read_csv(file) == {"a": ("79.8 mm", "79.9"), "b": ("1",)}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("reading\n0,20\n0,21\n", "row 2"),  # a decimal comma is no second cell
        ("place,reading\nkerf,0,20\n", "more cells than the head's 2"),
        ("reading,reading\n0.2,0.9\n", "twice"),
        ("reading\n" + "1" * 200_000 + "\n", "is no CSV"),
    ],
)
def test_a_cell_is_never_taken_for_what_it_is_not(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "r.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match="J541") as stop:
        read_csv(file)
    assert said in str(stop.value)


def test_lines_that_end_as_on_old_machines(tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_bytes(b"reading\r0.2\r0.21\r")
    assert read_csv(file) == {"": ("0.2", "0.21")}


def test_more_readings_than_a_hand_takes_are_refused(user: Path, tmp_path: Path) -> None:
    file = tmp_path / "r.csv"
    file.write_text("reading\n" + "0.2\n" * 60_000, encoding="utf-8")
    ran = run("card-1mm", "--machine", "desk-laser-600", "--key", "kerf", "--readings", str(file))
    assert (ran.exit_code, "60000 readings" in ran.stderr) == (1, True), ran.stderr


@pytest.mark.parametrize("text", ["", "place,value\na,1\n", "reading\n\n", "\xff\xfe"])
def test_what_is_no_csv_of_readings(tmp_path: Path, text: str) -> None:
    file = tmp_path / "r.csv"
    file.write_bytes(text.encode("latin-1"))
    with pytest.raises(Refused, match="J541"):
        read_csv(file)


def test_the_document_for_programs(user: Path) -> None:
    ran = run(*kerf("0.2", "0.2"), "--json", "--resolution", "0.01")
    (done,) = json.loads(ran.stdout)["recorded"]
    assert (done["key"], done["value"], done["before"]) == ("kerf", "0.2000 mm", "0.2000 mm")
    assert done["estimate"]["standard"] == pytest.approx(0.01 / math.sqrt(12))
    assert done["estimate"]["freedom"] is None


def test_a_file_that_can_not_take_an_entry_stays_as_it_is(user: Path) -> None:
    file = user / "materials" / "card-1mm.toml"
    file.parent.mkdir(parents=True)
    text = 'schema = 2\nbased_on = "card-1mm"\nmeasured = []\n'
    file.write_text(text, encoding="utf-8")
    ran = run(*kerf())
    assert (ran.exit_code, "J543" in ran.stderr) == (1, True)
    assert file.read_text("utf-8") == text


# ------------------------------------------------------------------------------------ results


def test_what_became_of_a_cut_and_how_far_its_blade_went(user: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    made = pipeline.cut(bare(drawing(tmp_path), "oscillating-knife", mirrored=1), out)
    ran = run("fleece-2mm", "--cut", str(out), "--not-through", "plate/mirrored/1", "--by", "M.")
    assert ran.exit_code == 0, ran.stderr
    loaded = Shelf.of().material("fleece-2mm").profile
    (result,) = loaded.result
    assert (result.clean, result.not_through) == (1, ("plate/mirrored/1",))
    assert result.record == made.record.checksum[:16] or len(result.record) == 16
    copies = [p.copy_name for p in made.record.pieces]
    length = 2 * sum(
        p.length
        for p in (made.plan.programs[0][1].sheet.placements[0].piece.outline,
                  *(o.path for o in made.plan.programs[0][1].sheet.placements[0].piece.openings))
    )  # fmt: skip
    assert edge_metres(made.record, copies) == pytest.approx(length / 1000, rel=1e-9)
    log = Shelf.of().machine("flatbed-knife-1200").profile.blade_log
    assert [e.metres for e in log] == [pytest.approx(length / 1000, abs=1e-3)]
    again = run("fleece-2mm", "--cut", str(out))
    assert (again.exit_code, "--again" in again.stderr) == (1, True)
    assert run("fleece-2mm", "--cut", str(out), "--again").exit_code == 0
    shown = CliRunner().invoke(main, ["profile", "show", "fleece-2mm"]).stdout
    assert "not through" in shown


def test_a_result_is_taken_of_an_unedited_record_and_of_its_own_copies(
    user: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    pipeline.cut(bare(drawing(tmp_path), "oscillating-knife"), out)
    for words, said in (
        (["fleece-2mm", "--singed", "plate/drawn/2"], "there are plate/drawn/1"),
        (["pu-foam-12mm"], "it cuts fleece-2mm"),
    ):
        ran = run(*words, "--cut", str(out))
        assert (ran.exit_code, said in ran.stderr) == (2, True), ran.stderr
    record = out / "record.json"
    record.write_text(record.read_text("utf-8").replace("plate.svg", "slate.svg"), "utf-8")
    ran = run("fleece-2mm", "--cut", str(out))
    assert (ran.exit_code, "was edited" in ran.stderr) == (1, True)
    assert not list(user.rglob("*.toml"))


def test_a_blade_is_changed_and_goes_on(user: Path) -> None:
    assert "12.5 m gone" in run("flatbed-knife-1200", "--metres", "12.5").stdout
    assert (
        "0.0 m gone since 2026-03-02"
        in run(
            "flatbed-knife-1200", "--blade-changed", "single-edge 80", "--date", "2026-03-02"
        ).stdout
    )
    assert "3.0 m gone since" in run("flatbed-knife-1200", "--metres", "3").stdout
    assert run("desk-laser-600", "--metres", "3").exit_code == 2


@pytest.mark.parametrize("more", [["--metres", "nan"], ["--metres", "inf"],
                                  ["--metres", "1e300"], ["--metres", "1", "--by", "x" * 300],
                                  ["--blade-changed", "x" * 300]])  # fmt: skip
def test_a_log_that_could_not_be_read_again_is_not_written(user: Path, more: list[str]) -> None:
    ran = run("flatbed-knife-1200", *more)
    assert (ran.exit_code, "J505" in ran.stderr) == (1, True), ran.output
    assert not list(user.rglob("*.toml"))


def test_a_blade_that_is_due_is_warned_of_before_a_cut(user: Path, tmp_path: Path) -> None:
    own = user / "machines" / "flatbed-knife-1200.toml"
    own.parent.mkdir(parents=True)
    own.write_text('schema = 2\nbased_on = "flatbed-knife-1200"\nblade_life = "10 m"\n', "utf-8")
    request = bare(drawing(tmp_path), "oscillating-knife")
    assert "J548" not in [f.code for f in pipeline.plan(request).findings]
    run("flatbed-knife-1200", "--metres", "12")
    (due,) = [f for f in pipeline.plan(request).findings if f.code == "J548"]
    assert "12 m of 10 m" in due.what
