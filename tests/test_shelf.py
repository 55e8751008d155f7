"""The commands that look at a shelf, check it and copy from it."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from foamwright.cli import main
from foamwright.hazards import load_rules
from foamwright.profiles import Shelf
from foamwright.shelf_check import check_shelf

OURS = """\
# ours
schema = 2
based_on = "card-1mm"
thickness = "1.1 mm"
"""
MEASURED = """\
[[measured]]
what = "kerf"
value = "0.17 mm"
method = "laser"
machine = "desk-laser-600"
date = 2026-03-01
n = 5
by = "M."
"""


@pytest.fixture
def user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own shelf."""
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(tmp_path))
    for kind in ("materials", "machines"):
        (tmp_path / kind).mkdir()
    return tmp_path


def put(user: Path, name: str, text: str) -> Path:
    file = user / name
    file.write_text(text, encoding="utf-8")
    return file


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["profile", *words])


def told(*words: str) -> dict[str, Any]:
    ran = run(*words, "--json")
    data: dict[str, Any] = json.loads(ran.stdout)
    return data


def codes(user: Path) -> list[tuple[str, str]]:
    del user
    return [(f.code, f.where) for f in check_shelf(Shelf.of())]


# ------------------------------------------------------------------------------------ show


def test_each_value_is_told_with_its_layer_and_what_it_stands_before(user: Path) -> None:
    put(user, "materials/card-1mm.toml", OURS)
    ran = run("show", "card-1mm")
    lines = ran.stdout.splitlines()
    at = next(i for i, x in enumerate(lines) if x.startswith("thickness"))
    assert lines[at].split()[:3] == ["thickness", "1.1", "estimate"]
    assert "user:materials/card-1mm" in lines[at]
    assert "instead of" in " ".join(lines[at + 1 : at + 3])
    data = told("show", "card-1mm")
    assert [x["origin"] for x in data["layers"]] == [
        "user:materials/card-1mm.toml",
        "package:materials/card-1mm.toml",
    ]
    assert data["layers"][0]["values"] == {
        "schema": 2, "based_on": "card-1mm", "thickness": "1.1 mm",
    }  # fmt: skip
    assert data["layers"][1]["values"]["thickness"] == "1 mm"
    assert data["origins"]["name"] == "package:materials/card-1mm.toml"


def test_a_measured_value_is_told_where_it_serves_and_nowhere_else(user: Path) -> None:
    put(user, "materials/card-1mm.toml", OURS + MEASURED)
    here = told("show", "card-1mm", "--machine", "desk-laser-600")["in_force"]
    there = told("show", "card-1mm", "--machine", "large-laser-1300")["in_force"]
    kerf = {v["key"]: (v["value"], v["origin"]) for v in here}["cut.kerf"]
    assert kerf == (0.17, "user:materials/card-1mm.toml")
    assert {v["key"]: v["value"] for v in here}["cut.bases"]["kerf"] == "measured"
    assert {v["key"]: v["value"] for v in here}["cut.bases"]["speed"] == "estimate"
    kerf = {v["key"]: (v["value"], v["origin"]) for v in there}["cut.kerf"]
    assert kerf == (0.2, "package:materials/card-1mm.toml")
    ran = run("show", "card-1mm", "--machine", "desk-laser-600")
    force = ran.stdout[ran.stdout.index("in force") :]
    assert next(x for x in force.splitlines() if x.startswith("kerf")).split()[:3] == [
        "kerf", "0.17", "measured",
    ]  # fmt: skip
    assert "2026-03-01" in force


def test_an_estimate_says_so_and_a_name_has_no_basis(user: Path) -> None:
    lines = run("show", "fleece-2mm").stdout.splitlines()
    assert any(x.split()[:3] == ["cut.1.speed", "60", "estimate"] for x in lines)
    assert "estimate" not in next(x for x in lines if x.startswith("composition "))


# ------------------------------------------------------------------------------------ check


def test_the_shipped_shelf_has_nothing_to_tell(user: Path) -> None:
    assert check_shelf(Shelf.of()) == ()
    ran = run("check")
    assert ran.exit_code == 0
    assert "0 faults" in ran.stdout


def test_every_fault_of_every_file_is_told_at_once(user: Path) -> None:
    put(user, "materials/a.toml", OURS + 'thicknes = "1 mm"\n')
    put(user, "machines/b.toml", 'schema = 2\nname = "B"\nmethod = "laser"\nfeed = "flat"\n')
    put(user, "materials/c.toml", OURS.replace('"1.1 mm"', "1.1"))
    ran = run("check")
    assert ran.exit_code == 1
    lines = ran.stderr.splitlines()
    assert any("a.toml line 5" in x and "did you mean thickness" in x for x in lines)
    assert sum("b.toml" in x and "is required and missing" in x for x in lines) == 4
    assert any("c.toml" in x and "has no unit" in x for x in lines)


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("materials/my.toml", OURS.replace("1.1 mm", "11 m"), "can hardly be meant"),
        ("materials/card_1mm.toml", OURS, "all but that of card-1mm"),
        ("materials/my.toml", OURS, "card-1mm has the same name"),
        ("materials/my.toml", OURS + 'name = "x"\ncomposition = ["cardd"]\n', "did you mean card"),
        (
            "materials/my.toml",
            OURS + 'name = "x"\n' + MEASURED.replace("desk-laser-600", "desk-laser-60"),
            "did you mean desk-laser-600",
        ),
    ],
)
def test_what_can_hardly_be_meant_is_warned_of(user: Path, name: str, text: str, said: str) -> None:
    put(user, name, text)
    ran = run("check")
    assert ran.exit_code == 0, ran.stderr
    assert said in ran.stderr
    assert ("J545" in ran.stderr) == ("did you mean" not in said)


def test_an_older_file_is_told(user: Path) -> None:
    put(user, "materials/my.toml", OURS.replace("schema = 2", 'schema = 1\nname = "My"'))
    assert codes(user) == [("J546", "user:materials/my.toml")]


def test_an_estimate_older_than_a_measurement_elsewhere_is_told(user: Path) -> None:
    put(user, "materials/card-1mm.toml", OURS + MEASURED)
    (found,) = [f for f in check_shelf(Shelf.of()) if "kerf" in f.what]
    assert (found.code, found.where) == ("J544", "card-1mm on large-laser-1300")
    assert "0.17 mm measured on desk-laser-600 on 2026-03-01" in found.what
    put(user, "materials/card-1mm.toml", OURS)
    put(user, "materials/thin.toml", OURS + 'name = "Thin"\n' + MEASURED)
    wheres = {f.where for f in check_shelf(Shelf.of()) if f.code == "J544"}
    assert wheres == {
        "card-1mm on desk-laser-600",
        "card-1mm on large-laser-1300",
        "thin on large-laser-1300",
    }


def test_a_blade_that_is_due_is_told(user: Path) -> None:
    knife = 'schema = 2\nbased_on = "flatbed-knife-1200"\nblade_life = "100 m"\n'
    log = "[[blade_log]]\ndate = 2026-01-0{}\n{}\n"
    worn = log.format(1, "metres = 70") + log.format(2, "metres = 35.5")
    put(user, "machines/flatbed-knife-1200.toml", knife + worn)
    (found,) = check_shelf(Shelf.of())
    assert (found.code, "106 m of 100 m" in found.what) == ("J548", True)
    assert (
        "blade: 105.5 m gone of 100 m (estimate); due now"
        in run("show", "flatbed-knife-1200").stdout
    )
    fresh = worn + log.format(3, "changed = true") + log.format(4, "metres = 12")
    put(user, "machines/flatbed-knife-1200.toml", knife + fresh)
    assert check_shelf(Shelf.of()) == ()
    assert told("show", "flatbed-knife-1200")["blade"]["gone_m"] == 12
    assert (
        "since 2026-01-03 of 100 m (estimate); due in 88 m"
        in run("show", "flatbed-knife-1200").stdout
    )


def test_a_broken_rule_of_the_shop_is_a_fault(user: Path) -> None:
    put(user, "hazards.toml", 'schema = 1\n[[rule]]\nwords = ["coton"]\n')
    ran = run("check")
    assert ran.exit_code == 1
    assert "hazards.toml line 2" in ran.stderr


# ------------------------------------------------------------------------------------ copy


def test_a_copy_follows_its_original_and_shows_its_lines(user: Path) -> None:
    ran = run("copy", "pu-foam-12mm", "our-foam")
    assert ran.exit_code == 0, ran.stderr
    text = (user / "materials" / "our-foam.toml").read_text("utf-8")
    assert 'based_on = "pu-foam-12mm"' in text
    assert '# thickness         = "12 mm"' in text
    loaded = Shelf.of().material("our-foam")
    assert loaded.profile.name == "Polyurethane foam, 12 mm (own)"
    assert loaded.composition == ("polyurethane-foam",)
    assert loaded.profile.cut == Shelf.of().material("pu-foam-12mm").profile.cut
    assert check_shelf(Shelf.of()) == ()


def test_a_copy_of_the_same_id_stands_before_it_and_never_over_another(user: Path) -> None:
    assert run("copy", "desk-laser-600").exit_code == 0
    assert [x.layer for x in Shelf.of().chain("machine", "desk-laser-600")] == [0, 1]
    before = (user / "machines" / "desk-laser-600.toml").read_bytes()
    again = run("copy", "desk-laser-600")
    assert (again.exit_code, "J543" in again.stderr) == (1, True)
    assert (user / "machines" / "desk-laser-600.toml").read_bytes() == before


@pytest.mark.parametrize("new", ["../x", "a b", "con", "", "é"])
def test_a_copy_wants_an_id_that_a_file_can_bear(user: Path, new: str) -> None:
    ran = run("copy", "card-1mm", new)
    if new:
        assert (ran.exit_code, "can't be an id" in ran.stderr) == (1, True)
    assert not list(user.glob("materials/*.toml")) or not new


def test_an_unknown_id_is_a_wrong_command_line(user: Path) -> None:
    ran = run("copy", "card-1m", "x")
    assert (ran.exit_code, "did you mean card-1mm" in ran.stderr) == (2, True)


# ------------------------------------------------------------------------------------ hazards


def test_the_matrix_of_all_words_and_methods_is_golden_text(user: Path) -> None:
    golden = Path(__file__).with_name("golden") / "hazards.txt"
    assert run("hazards").stdout == golden.read_text("utf-8")


def test_the_matrix_shows_a_shops_stricter_rule(user: Path) -> None:
    rule = 'schema = 1\n[[rule]]\nwords = ["cotton"]\nmethods = ["laser"]\n'
    put(user, "hazards.toml", rule + 'verdict = "forbidden"\nwhy = "ours"\nsource = "ours"\n')
    rows = {r["word"]: r["laser"] for r in told("hazards")["hazards"]}
    assert (rows["cotton"], rows["linen"]) == ("forbidden", "caution")


def test_a_material_is_as_bad_as_its_worst_word_or_its_guess(user: Path) -> None:
    ours = OURS.replace("# ours", 'name = "Ours"')
    put(user, "materials/glued.toml", ours + 'composition = ["contact-cement"]\n')
    put(user, "materials/guessed.toml", ours + 'composition_basis = "guess"\n')
    rows = {r["material"]: r for r in told("hazards")["materials"]}
    assert [rows[m]["laser"] for m in ("card-1mm", "glued", "guessed", "pu-foam-12mm")] == [
        "caution", "forbidden", "forbidden", "permit",
    ]  # fmt: skip
    assert rows["guessed"]["drag-knife"] == "ok"
    assert rows["glued"]["hand"] == "caution"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="wants os.mkfifo")
def test_a_pipe_among_the_profiles_is_told_and_not_waited_for(user: Path) -> None:
    folder = user / "materials"
    os.mkfifo(folder / "ours.toml")
    ran = run("check")
    assert (ran.exit_code, "no plain file" in ran.stderr) == (1, True)


def test_a_shelf_that_leads_back_to_itself_holds_no_rules(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert load_rules([tmp_path / "loop"]) == load_rules()
