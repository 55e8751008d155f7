"""A forbidden pair is refused whatever is tried: one test for each path round the rules."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from foamwright import pipeline
from foamwright.cli import main
from foamwright.findings import Refused
from foamwright.record import checksum_of

from .jobs import bare, drawing, job

#: A laser cut for anything that claims to be vinyl cloth.
LASER = '[[cut]]\nmethod = "laser"\nkerf = "0.2 mm"\n'
HARMLESS = 'composition = ["cotton"]\ncomposition_basis = "data-sheet"\n'
WHOLE = (
    'name = "Cloth"\nthickness = "0.8 mm"\n{}[[stock]]\nkind = "sheet"\nwidth = "300 mm"\n'
    'length = "300 mm"\n{}'
)
EVERYTHING_OK = """\
schema = 1
[[rule]]
words = ["pvc", "vinyl", "vinyl-coating", "polyester", "acrylic-pile", "contact-cement"]
methods = ["laser"]
verdict = "ok"
why = "we always did"
source = "us"
"""
PERMIT = """\
[[permit]]
material = "vinyl-cloth"
machine = "desk-laser-600"
issued_by = "The boss"
reference = "1"
date = 2020-01-01
data_sheet = "this one"
"""


@pytest.fixture
def user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "user"
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(folder))
    return folder


def put(folder: Path, name: str, text: str) -> None:
    file = folder / name
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")


def refused(folder: Path, material: str = "vinyl-cloth", more: str = "") -> set[str]:
    """The codes for which a laser's job is refused; nothing may have been written."""
    out = folder / "out"
    with pytest.raises(Refused) as stop:
        pipeline.cut(job(folder, material, more=more).request, out)
    assert not out.exists()
    return {f.code for f in stop.value.findings if f.is_fault}


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(w) for w in words])


# ------------------------------------------------------------------------ options, environment


def test_no_option_lifts_it(tmp_path: Path) -> None:
    """Every option of `cut` at once that a job bears; and no option has a name that promises it."""
    put(tmp_path, "profiles/materials/vinyl-cloth.toml", f'based_on = "vinyl-cloth"\n{LASER}')
    written = job(tmp_path, "vinyl-cloth", more=PERMIT)
    ran = run("cut", written.file, "--out", tmp_path / "out", "--layout-time", 0, "--seed", 3,
              "--fresh-layout", "--only", "plate")  # fmt: skip
    assert (ran.exit_code, "S001" in ran.stderr) == (1, True)
    options = {o for c in ("cut", "check") for p in main.commands[c].params for o in p.opts}
    named = re.compile("force|allow|ignore|unsafe|skip|hazard|yes|override|permit")
    assert not [o for o in options if named.search(o)]


def test_a_bare_drawings_options_lift_nothing(tmp_path: Path, user: Path) -> None:
    put(user, "materials/vinyl-cloth.toml", f'based_on = "vinyl-cloth"\n{LASER}')
    ran = run("cut", drawing(tmp_path), "--material", "vinyl-cloth", "--machine",
              "desk-laser-600", "--out", tmp_path / "out")  # fmt: skip
    assert (ran.exit_code, "S001" in ran.stderr) == (1, True)
    assert not (tmp_path / "out").exists()


def test_no_environment_lifts_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every variable that the package reads, set to a shelf or a word that would loosen."""
    put(tmp_path, "loose/hazards.toml", EVERYTHING_OK)
    put(tmp_path, "loose/materials/vinyl-cloth.toml", f'based_on = "vinyl-cloth"\n{LASER}')
    read = set()
    for file in (Path(pipeline.__file__).parent).rglob("*.py"):
        read |= set(re.findall(r"FOAMWRIGHT_[A-Z_]+", file.read_text("utf-8")))
    assert read >= {"FOAMWRIGHT_PROFILES", "FOAMWRIGHT_DEBUG"}
    for name in read:
        monkeypatch.setenv(name, str(tmp_path / "loose"))
    monkeypatch.delenv("FOAMWRIGHT_DEBUG")
    assert "S001" in refused(tmp_path / "job")


# ------------------------------------------------------------------------ profiles


@pytest.mark.parametrize("layer", ["user", "beside the job"])
@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("vinyl-cloth", WHOLE.format(HARMLESS, LASER)),  # the packaged id, nothing inherited
        ("vinyl-cloth", f'based_on = "vinyl-cloth"\n{HARMLESS}{LASER}'),
        ("Vinyl-Cloth", WHOLE.format(HARMLESS, LASER)),
        ("our-cloth", f'based_on = "vinyl-cloth"\n{HARMLESS}{LASER}'),
        ("our-cloth", f'based_on = "between"\n{HARMLESS}{LASER}'),
    ],
)
def test_a_profile_that_drops_the_vinyl_keeps_it(
    tmp_path: Path, user: Path, layer: str, name: str, text: str
) -> None:
    shelf = user if layer == "user" else tmp_path / "job" / "profiles"
    put(shelf, f"materials/{name}.toml", text)
    put(shelf, "materials/between.toml", f'based_on = "vinyl-cloth"\n{HARMLESS}')
    codes = refused(tmp_path / "job", name)
    assert "S001" in codes


def test_a_machine_that_poses_as_a_knife_is_refused(tmp_path: Path) -> None:
    text = 'schema = 2\nbased_on = "desk-laser-600"\nmethod = "drag-knife"\nblade_offset = "1 mm"\n'
    put(tmp_path, "profiles/machines/desk-laser-600.toml", text)
    put(tmp_path, "profiles/machines/ours.toml", text)
    for machine in ("desk-laser-600", "ours"):
        with pytest.raises(Refused, match="J513"):
            pipeline.plan(job(tmp_path, "vinyl-cloth", machine).request)


def test_a_copy_by_the_command_keeps_what_it_is_made_of(tmp_path: Path, user: Path) -> None:
    assert run("profile", "copy", "vinyl-cloth", "our-cloth").exit_code == 0
    file = user / "materials" / "our-cloth.toml"
    file.write_text(file.read_text("utf-8") + HARMLESS + LASER, encoding="utf-8")
    assert "S001" in refused(tmp_path / "job", "our-cloth")


def test_what_is_recorded_changes_no_composition(tmp_path: Path, user: Path) -> None:
    put(tmp_path, "job/profiles/materials/vinyl-cloth.toml", f'based_on = "vinyl-cloth"\n{LASER}')
    ran = run("profile", "record", "vinyl-cloth", "--machine", "desk-laser-600", "--key",
              "composition", "--value", "cotton")  # fmt: skip
    assert ran.exit_code == 2
    ran = run("profile", "record", "vinyl-cloth", "--machine", "desk-laser-600", "--key", "kerf",
              "--reading", "0.2", "--reading", "0.2")  # fmt: skip
    assert ran.exit_code == 0, ran.stderr
    assert "S001" in refused(tmp_path / "job")


def test_a_guess_and_an_unknown_are_refused(tmp_path: Path) -> None:
    for words in (
        '["cotton"]\ncomposition_basis = "guess"',
        '["unknown"]\ncomposition_basis = "label"',
    ):
        put(
            tmp_path,
            "profiles/materials/ours.toml",
            WHOLE.format(f"composition = {words}\n", LASER),
        )
        assert "S001" in refused(tmp_path, "ours")


# ------------------------------------------------------------------------ rules, permits, glue


@pytest.mark.parametrize("layer", ["user", "beside the job"])
def test_a_hazards_file_loosens_nothing(tmp_path: Path, user: Path, layer: str) -> None:
    shelf = user if layer == "user" else tmp_path / "job" / "profiles"
    put(shelf, "hazards.toml", EVERYTHING_OK)
    put(shelf, "materials/vinyl-cloth.toml", f'based_on = "vinyl-cloth"\n{LASER}')
    assert "S001" in refused(tmp_path / "job")


def test_a_shop_may_be_stricter(tmp_path: Path) -> None:
    strict = EVERYTHING_OK.replace('"ok"', '"forbidden"').replace('"pvc", ', '"card", ')
    put(tmp_path, "profiles/hazards.toml", strict)
    assert refused(tmp_path, "card-1mm") == {"S001"}


def test_no_permit_lifts_it(tmp_path: Path) -> None:
    put(tmp_path, "profiles/materials/vinyl-cloth.toml", f'based_on = "vinyl-cloth"\n{LASER}')
    assert "S001" in refused(tmp_path, more=PERMIT)


def test_without_laser_settings_the_pair_is_refused_for_what_it_is(tmp_path: Path) -> None:
    """Nobody is told to add settings where none would help."""
    assert refused(tmp_path) == {"S001"}


def test_a_piece_already_glued_is_never_laser_cut(tmp_path: Path) -> None:
    assert refused(tmp_path, "card-1mm", more="glued = true") == {"S001"}


def test_a_glued_piece_on_a_knife_is_cautioned_and_recorded(tmp_path: Path) -> None:
    written = job(tmp_path, "fleece-2mm", "flatbed-knife-1200", more="glued = true")
    made = pipeline.cut(written.request, tmp_path / "out")
    assert any(f.code == "S004" and "contact-cement" in f.what for f in made.findings)
    words = {v.key: (v.value, v.origin) for p in made.record.profiles for v in p.values}
    assert words["composition"] == (
        ["polyester", "contact-cement"],
        "package:materials/fleece-2mm.toml + job:job.toml",
    )
    assert pipeline.verify_folder(tmp_path / "out")[0].passed


# ------------------------------------------------------------------------ records, files


def amend(folder: Path, change: Callable[[dict[str, Any]], None], sealed: bool = False) -> None:
    """Edits a record; sealed: with its checksum made anew."""
    file = folder / "record.json"
    data = json.loads(file.read_text("utf-8"))
    change(data)
    if sealed:
        data["checksum"] = checksum_of(data)
    file.write_text(json.dumps(data), encoding="utf-8")


def faults(folder: Path) -> set[str]:
    proof, findings = pipeline.verify_folder(folder)
    assert not proof.passed
    return {f.code for f in findings if f.is_fault}


@pytest.fixture
def vinyl(tmp_path: Path) -> Path:
    """Vinyl cloth cut with a knife, as it may be."""
    written = job(tmp_path, "vinyl-cloth", "flatbed-knife-1200")
    pipeline.cut(written.request, tmp_path / "out")
    assert pipeline.verify_folder(tmp_path / "out")[0].passed
    return tmp_path / "out"


def set_value(record: dict[str, Any], kind: str, key: str, value: Any) -> None:
    for profile in record["profiles"]:
        for entry in profile["values"]:
            if (profile["kind"], entry["key"]) == (kind, key):
                entry["value"] = value


def test_an_edited_record_is_told_by_its_checksum(vinyl: Path) -> None:
    amend(vinyl, lambda r: set_value(r, "material", "composition", ["cotton"]))
    assert {"V002", "S006"} <= faults(vinyl)


def test_an_edited_record_with_a_new_checksum_is_judged_again(vinyl: Path) -> None:
    """A knife's file of vinyl that is made to pose as a laser's."""

    def pose(record: dict[str, Any]) -> None:
        set_value(record, "machine", "method", "laser")
        for file in record["files"]:
            file["tool"]["method"] = "laser"

    amend(vinyl, pose, sealed=True)
    assert {"S001", "S006"} <= faults(vinyl)


def test_a_record_whose_laser_poses_as_a_hand_or_a_knife_is_refused(tmp_path: Path) -> None:
    pipeline.cut(bare(drawing(tmp_path)), tmp_path / "out")
    for method in ("hand", "drag-knife"):

        def pose(record: dict[str, Any], method: str = method) -> None:
            set_value(record, "machine", "method", method)
            set_value(record, "material", "composition", ["card", "pvc"])
            for file in record["files"]:
                file["tool"]["method"] = method

        amend(tmp_path / "out", pose, sealed=True)
        assert faults(tmp_path / "out") & {"S001", "S006", "S007"}


def test_a_rewritten_file_is_refused(vinyl: Path, tmp_path: Path) -> None:
    """A laser's file of card, laid under the name of the knife's file of vinyl."""
    pipeline.cut(bare(drawing(tmp_path)), tmp_path / "other")
    (laser,) = (tmp_path / "other").glob("*.svg")
    (knife,) = vinyl.glob("*.svg")
    knife.write_bytes(laser.read_bytes())
    assert "V005" in faults(vinyl)


def test_a_verified_folder_is_judged_by_the_packaged_rules_too(tmp_path: Path, user: Path) -> None:
    """Cut under no rule at all (the packaged one is stricter now): the record of a pair that is
    forbidden doesn't pass, though its checksum and its files agree.
    """
    pipeline.cut(bare(drawing(tmp_path)), tmp_path / "out")
    put(user, "hazards.toml", EVERYTHING_OK)

    def vinyl_it(record: dict[str, Any]) -> None:
        set_value(record, "material", "composition", ["card", "vinyl"])

    amend(tmp_path / "out", vinyl_it, sealed=True)
    assert "S001" in faults(tmp_path / "out")
