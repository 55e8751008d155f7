"""A record re-made with a true checksum: what it may not change, and what it can only tell."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.record import Record

from .jobs import PAIRS, job
from .stages.verify.proof_bench import amend

Change = Callable[[dict[str, Any]], None]


@pytest.fixture(scope="module")
def cuts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A plate cut by each method."""
    made = {}
    for method, pair in PAIRS.items():
        written = job(tmp_path_factory.mktemp(method), *pair, more="count = 2")
        pipeline.cut(written.request, written.folder / "out")
        made[method] = written.folder / "out"
    return made


def verified(folder: Path) -> tuple[set[str], list[str]]:
    """Codes of the faults of `foamwright verify`, and every finding's line."""
    ran = CliRunner().invoke(main, ["verify", str(folder), "--json"])
    told = json.loads(ran.stdout)
    assert told["ok"] is (ran.exit_code == 0)
    faults = {f["code"] for f in told["findings"] if f["severity"] == "fault"}
    assert bool(faults) is not told["ok"]
    return faults, [f"{f['code']} {f['what']}" for f in told["findings"]]


def changed(cut: Path, place: Path, change: Change) -> tuple[set[str], list[str]]:
    folder = Path(shutil.copytree(cut, place / "cut"))
    amend(folder, change)
    return verified(folder)


def at(path: str, value: Any) -> Change:
    """Sets one value: `sheets.0.time_s`; `files.*.tool.passes` in all files."""

    def change(record: dict[str, Any]) -> None:
        places: list[Any] = [record]
        *way, last = path.split(".")
        for step in way:
            places = [
                inner
                for p in places
                for inner in (p if step == "*" else [p[int(step) if step.isdigit() else step]])
            ]
        for p in places:
            p[int(last) if last.isdigit() else last] = value

    return change


def profile_value(kind: str, key: str, value: Any) -> Change:
    def change(record: dict[str, Any]) -> None:
        for entry in record["profiles"]:
            for v in entry["values"]:
                if (entry["kind"], v["key"]) == (kind, key):
                    v["value"] = value

    return change


#: What a re-made record may say, by the method whose record it is.
LIES: dict[str, tuple[str, Change]] = {
    "unreached_max below nought": ("laser", at("unreached_max_mm", -1)),
    "unreached_max beyond any job's": ("laser", at("unreached_max_mm", 1000.0)),
    "unreached_max in words": ("laser", at("unreached_max_mm", "0.5")),
    "usable stock to the very edge": ("laser", at("sheets.0.usable", [0.0, 0.0, 420.0, 297.0])),
    "face down": ("laser", at("sheets.0.back", True)),
    "a shorter time": ("laser", at("time_s", 1.0)),
    "a shorter time on every level": (
        "laser",
        lambda r: (
            r.update(time_s=2.0),
            r["sheets"][0].update(time_s=2.0, times_s={"CUT_INNER": 1.0, "CUT_OUTER": 1.0}),
        )[0],
    ),
    "a time below nought": ("laser", at("sheets.0.time_s", -5.0)),
    "times that don't add up": ("laser", at("sheets.0.times_s", {"CUT_OUTER": 1.0})),
    "another density": ("laser", at("sheets.0.density", 0.9)),
    "another length used": ("laser", at("layout.used_length_mm", 1.0)),
    "a lead-in": ("laser", at("files.*.tool.lead_in", 2.0)),
    "more passes": ("laser", at("files.*.tool.passes", 3)),
    "half a pass": ("laser", at("files.*.tool.passes", 0.5)),
    "another speed": ("laser", at("files.*.tool.cut_speed", 1.0)),
    "no speed": ("laser", at("files.*.tool.cut_speed", 0.0)),
    "another travel speed": ("laser", at("files.*.tool.travel_speed", 9000.0)),
    "another acceleration": ("laser", at("files.*.tool.acceleration", 1.0)),
    "curves as lines": ("laser", at("files.*.tool.curves", "lines")),
    "a blade's plunge": ("oscillating-knife", at("files.*.tool.plunge", 0.0)),
    "a blade's width": ("oscillating-knife", at("files.*.tool.blade_width", 99.0)),
    "another swivel angle": ("drag-knife", at("files.*.tool.swivel_angle", 90.0)),
    "another overlap": ("drag-knife", at("files.*.tool.overlap", 0.0)),
    "bands": ("drag-knife", at("files.*.tool.band", 7.0)),
    "more left for the hand than there is": (
        "oscillating-knife",
        at("files.*.contours.0.left", -1.0),
    ),
    "a proof that is better than its files": (
        "laser",
        at("verification.worst_deviation_mm", 0.009),
    ),
    "a proof that did not pass": ("laser", at("verification.passed", False)),
    "a proof with another limit": ("laser", at("verification.limit_mm", 1.0)),
    "a proof of fewer pieces": ("laser", at("verification.pieces", [])),
    "unreached places left out": ("laser", at("verification.unreached", [])),
    "an estimate said to be measured": (
        "laser",
        profile_value("material", "cut.basis", "measured"),
    ),
    "a packaged passes": ("laser", profile_value("material", "cut.passes", 7)),
    "packaged margins": ("laser", profile_value("machine", "margins", [0.0] * 4)),
    "a default's value": ("laser", profile_value("material", "turnable", True)),
    "no profiles": ("laser", at("profiles", [])),
    "a contour without its start": ("laser", at("files.*.contours.0.start", None)),
    "no seal": ("laser", at("sealed", {})),
    "no operator's sheet": ("laser", lambda r: r.update(others=[], sealed={})),
}


@pytest.mark.parametrize("lie", LIES)
def test_a_record_that_was_remade_is_refused(
    lie: str, cuts: dict[str, Path], tmp_path: Path
) -> None:
    method, change = LIES[lie]
    faults, lines = changed(cuts[method], tmp_path, change)
    assert faults & {"V001", "V003", "V042", "V043"}, lines
    assert "V002" not in faults, "the checksum was made to fit"


def test_an_untouched_cut_is_good(cuts: dict[str, Path]) -> None:
    for folder in cuts.values():
        assert verified(folder)[0] == set()


def test_what_only_the_record_tells_is_said_so(cuts: dict[str, Path], tmp_path: Path) -> None:
    """A looser unreached_max within what a job may ask for can't be told from the job's own."""
    faults, lines = changed(cuts["laser"], tmp_path, at("unreached_max_mm", 2.0))
    assert faults == set()
    told = [line for line in lines if line.startswith("V041")]
    assert any("unreached_max of 2 mm, looser than the usual 0.5 mm" in line for line in told)
    assert any("plate.svg" in line for line in told)


def test_values_of_another_shelf_are_told_by_name(tmp_path: Path) -> None:
    shelf = tmp_path / "profiles" / "machines"
    shelf.mkdir(parents=True)
    (shelf / "shop-laser.toml").write_text(
        'schema = 1\nbased_on = "desk-laser-600"\nname = "Shop laser"\ntravel_speed = "150 mm/s"\n'
    )
    written = job(tmp_path, machine="shop-laser")
    pipeline.cut(written.request, tmp_path / "out")
    faults, lines = verified(tmp_path / "out")
    assert faults == set()
    (line,) = [line for line in lines if "not packaged" in line]
    assert "machine shop-laser" in line
    assert "travel_speed" in line


def test_an_edited_operators_sheet_is_seen(cuts: dict[str, Path], tmp_path: Path) -> None:
    folder = Path(shutil.copytree(cuts["laser"], tmp_path / "cut"))
    page = folder / "operator-sheet.html"
    page.write_text(page.read_text("utf-8").replace("attended", "unattended"), "utf-8")
    assert verified(folder)[0] == {"V043"}
    page.unlink()
    assert verified(folder)[0] == {"V043"}


def test_the_record_of_another_version_is_not_held_against_these_profiles(
    cuts: dict[str, Path], tmp_path: Path
) -> None:
    def older(record: dict[str, Any]) -> None:
        record["version"] = "0.0.9"
        profile_value("machine", "software", "none")(record)

    faults, lines = changed(cuts["laser"], tmp_path, older)
    assert faults == set()
    assert any("packaged with version 0.0.9" in line for line in lines)


def test_an_old_record_with_newer_files(tmp_path: Path) -> None:
    """The job is changed and cut anew; the first cut's record is put back beside the new files."""
    written = job(tmp_path)
    pipeline.cut(written.request, tmp_path / "out")
    old = (tmp_path / "out" / "record.json").read_bytes()
    drawing = written.folder / "plate.svg"
    drawing.write_text(drawing.read_text("utf-8").replace('r="10"', 'r="9"'), "utf-8")
    pipeline.cut(written.request, tmp_path / "out")
    (tmp_path / "out" / "record.json").write_bytes(old)
    faults, _ = verified(tmp_path / "out")
    assert {"V005", "V043"} <= faults, "the hashes tell"
    assert faults & {"V008", "V009", "V010"}, "and so do the edges"


def test_another_sheets_file_under_this_name(tmp_path: Path) -> None:
    """Two sheets of a job; the second's file is copied over the first's, hashes and all."""
    stock = '[[stock]]\nmaterial = "card-1mm"\nwidth = "100 mm"\nlength = "80 mm"'
    written = job(tmp_path, more=f"mirrored = 1\n{stock}")
    result = pipeline.cut(written.request, tmp_path / "out")
    first, second = ([f.name for f in result.record.files if f.sheet == n] for n in (1, 2))
    for mine, other in zip(first, second, strict=True):
        shutil.copy(tmp_path / "out" / other, tmp_path / "out" / mine)

    def rehash(record: dict[str, Any]) -> None:
        known = {f["name"]: f["sha256"] for f in record["files"]}
        for f in record["files"]:
            f["sha256"] = known[dict(zip(first, second, strict=True)).get(f["name"], f["name"])]

    before = (tmp_path / "out" / "record.json").read_bytes()
    assert "V005" in verified(tmp_path / "out")[0]
    amend(tmp_path / "out", rehash)
    same = len({p.target for p in Record.model_validate_json(before).pieces}) == 1
    faults, _ = verified(tmp_path / "out")
    assert "V005" not in faults
    assert bool(faults) is not same
