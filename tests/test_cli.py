"""The command as people and programs use it: documents, tables, exit status, one line a fault."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from lxml import etree

from foamwright import pipeline
from foamwright.cli import main
from foamwright.findings import Refused, note, warning
from foamwright.job import load_job
from foamwright.profiles import Shelf
from foamwright.report import TOLD, show_findings

from .conftest import ExampleCut
from .jobs import PLATE, bare, drawing, job, svg

LASER = ("--material", "card-1mm", "--machine", "desk-laser-600", "--first-layout")


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(w) for w in words])


def faults(ran: Result) -> list[str]:
    return [line for line in ran.stderr.splitlines() if line.startswith("fault")]


def codes(ran: Result) -> list[str]:
    return [line.split()[1] for line in faults(ran)]


def listing(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


def refused(ran: Result, code: str, status: int = 1) -> str:
    """The one fault of a refused run, which left no traceback and no other fault."""
    assert ran.exit_code == status, ran.output
    assert isinstance(ran.exception, SystemExit)
    assert "Traceback" not in ran.output
    assert codes(ran) == [code], ran.stderr
    (line,) = faults(ran)
    return line


@pytest.fixture
def plate(tmp_path: Path) -> Path:
    return drawing(tmp_path)


# Documents and tables


def test_json_is_one_document_and_nothing_else_on_standard_output(plate: Path) -> None:
    out = plate.parent / "out"
    made = {
        "inspect": run("inspect", plate, "--json"),
        "check": run("check", plate, *LASER, "--json"),
        "cut": run("cut", plate, *LASER, "--out", out, "--json"),
        "verify": run("verify", out, "--json"),
        "list": run("profile", "list", "--json"),
        "show": run("profile", "show", "card-1mm", "--json"),
    }
    told = {}
    for name, ran in made.items():
        assert ran.exit_code == 0, (name, ran.stderr)
        assert ran.stderr == ""
        told[name] = json.loads(ran.stdout)
        assert told[name]["ok"] is True
        assert isinstance(told[name]["findings"], list)
    assert told["inspect"]["pieces"][0]["name"] == "plate"
    assert told["inspect"]["pieces"][0]["size_mm"] == pytest.approx([60, 42])
    assert [s["pieces"] for s in told["check"]["sheets"]] == [["plate/drawn/1"]]
    assert set(told["cut"]["files"]) == {p.name for p in out.iterdir()} - {
        "operator-sheet.html",
        "record.json",
        "plate.layout.json",
    }
    assert told["verify"]["verification"]["passed"] is True
    assert "card-1mm" in [p["id"] for p in told["list"]["profiles"]]
    assert told["show"]["values"]["thickness"] == 1.0


@pytest.mark.parametrize(
    "words",
    [
        ("inspect", "none.svg"),
        ("check", "none.toml"),
        ("cut", "none.toml", "--out", "out"),
        ("verify", "none"),
        ("profile", "show", "none"),
    ],
)
def test_json_of_a_refusal_is_one_document_too(
    words: Sequence[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = run(*words, "--json")
    told = json.loads(ran.stdout)
    assert ran.exit_code in (1, 2)
    assert told["ok"] is False
    assert told.get("error") or [f for f in told["findings"] if f["severity"] == "fault"]
    assert listing(tmp_path) == []


def test_tables_keep_to_80_columns(example: ExampleCut) -> None:
    commands = [
        ("verify", example.out),
        ("profile", "list"),
        *(("profile", "show", x.id) for x in Shelf.of().list()),
    ]
    for words, ran in [(("check",), example.checked), *((w, run(*w)) for w in commands)]:
        assert ran.exit_code == 0, ran.stderr
        wide = [line for line in ran.stdout.splitlines() if len(line) > 80]
        assert not wide, (words, wide)


def test_check_s_table_breaks_no_shipped_id(example: ExampleCut) -> None:
    for sheet in example.told["sheets"]:
        assert sheet["material"] in example.checked.stdout
        assert sheet["machine"] in example.checked.stdout


def test_the_pattern_of_a_cut_for_people(plate: Path) -> None:
    ran = run("cut", plate, *LASER, "--out", plate.parent / "out")
    assert ran.exit_code == 0
    assert ran.stdout.startswith("plate: 1 sheet\n")
    assert re.search(r"^proven: worst deviation 0\.\d{4} mm \(limit 0\.01\);$", ran.stdout, re.M)
    assert "2 cut files and the operator's sheet are in" in ran.stdout
    assert "caution" in ran.stderr


def test_like_notes_are_told_three_times_and_then_counted(
    capsys: pytest.CaptureFixture[str],
) -> None:
    many = [note("C522", f"piece {k}", "a flat blade") for k in range(TOLD + 5)]
    show_findings([*many, warning("S004", "card", "caution")])
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == TOLD + 2
    assert lines[TOLD] == "note C522 and 5 more (--json tells all)"
    show_findings(many, whole=True)
    assert len(capsys.readouterr().err.splitlines()) == TOLD + 5


def test_names_from_files_can_not_drive_a_terminal(tmp_path: Path) -> None:
    body = '<path id="\x9b31m[red]x[/red]" d="M10 10 H50 V50 Z"/>'
    ran = run("inspect", drawing(tmp_path, body))
    assert ran.exit_code == 0, ran.stderr
    assert "\x1b" not in ran.output
    assert "\x9b" not in ran.output
    assert "[red]x[-red]" in ran.stdout


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_no_colour_in_a_pipe_and_any_encoding_does(encoding: str, tmp_path: Path) -> None:
    file = drawing(tmp_path, PLATE.replace('id="plate"', 'id="größe"'), "größe.svg")
    environment = {**os.environ, "NO_COLOR": "1", "PYTHONIOENCODING": encoding}
    for words in (["inspect", str(file)], ["inspect", str(file), "--json"]):
        ran = subprocess.run(
            [sys.executable, "-m", "foamwright", *words],
            env=environment,
            capture_output=True,
            check=False,
        )
        assert ran.returncode == 0, ran.stderr
        assert b"\x1b" not in ran.stdout + ran.stderr
    assert json.loads(ran.stdout)["pieces"][0]["name"] == "größe"


def test_help_imports_nothing_heavy() -> None:
    script = (
        "import sys\n"
        "from foamwright.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy','shapely','ezdxf','svgelements','pydantic','rich','tomlkit','jinja2'}\n"
        "sys.exit(' '.join(heavy & set(sys.modules)) or 0)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr


# start


def test_start_writes_a_job_that_loads_and_can_be_checked(plate: Path) -> None:
    folder = plate.parent / "new" / "job"
    ran = run("start", folder, "--drawing", plate)
    assert ran.exit_code == 0, ran.stderr
    made = load_job(folder / "job.toml")
    assert [p.name for p in made.piece] == ["plate"]
    assert run("check", folder / "job.toml", "--first-layout").exit_code == 0


def test_start_without_a_drawing_writes_a_job_that_loads(tmp_path: Path) -> None:
    assert run("start", tmp_path / "job").exit_code == 0
    assert len(load_job(tmp_path / "job" / "job.toml").piece) == 1


def test_start_copes_with_any_piece_name(tmp_path: Path) -> None:
    names = ["a/b", "v1.2", 'say "x"', "back\\slash", "größe", "A", "a"]
    body = "".join(
        f'<path d="M{10 + 60 * k} 10 h40 v40 z"><title>{name}</title></path>'
        for k, name in enumerate(names)
    )
    file = tmp_path / "odd names #1.svg"
    file.write_text(svg(body, 500, 80), encoding="utf-8")
    ran = run("start", tmp_path / "job", "--drawing", file)
    assert ran.exit_code == 0, ran.stderr
    assert len(load_job(tmp_path / "job" / "job.toml").piece) == len(names)
    checked = run("check", tmp_path / "job" / "job.toml", "--first-layout")
    assert checked.exit_code == 0, checked.stderr


def test_start_never_overwrites(plate: Path) -> None:
    file = plate.parent / "job.toml"
    file.write_text("mine", encoding="utf-8")
    refused(run("start", plate.parent, "--drawing", plate), "W703")
    assert file.read_text("utf-8") == "mine"


def test_start_refuses_a_faulty_drawing_and_writes_nothing(tmp_path: Path) -> None:
    file = drawing(tmp_path, '<path d="M10 10 L50 50 H10 L50 10 Z"/>')
    refused(run("start", tmp_path / "job", "--drawing", file), "R102")
    assert not (tmp_path / "job").exists()


# inspect


def test_inspect_writes_a_picture_with_the_corners_numbered(plate: Path) -> None:
    picture = plate.parent / "corners.svg"
    ran = run("inspect", plate, "--preview", picture)
    assert ran.exit_code == 0, ran.stderr
    numbers = {e.text for e in etree.parse(str(picture)).getroot().iter() if e.text}
    assert {"1", "2", "3"} <= numbers
    before = picture.read_bytes()
    assert run("inspect", plate, "--preview", picture).exit_code == 0
    assert picture.read_bytes() == before


def test_inspect_leaves_a_stranger_s_file(plate: Path) -> None:
    before = plate.read_bytes()
    refused(run("inspect", plate, "--preview", plate), "W701")
    assert plate.read_bytes() == before


def test_verify_explains_a_piece_with_a_picture_beside_the_folder(plate: Path) -> None:
    out = plate.parent / "out"
    assert run("cut", plate, *LASER, "--out", out).exit_code == 0
    before = listing(out)
    ran = run("verify", out, "--explain", "plate")
    assert ran.exit_code == 0, ran.output
    assert "worst: 0.0" in ran.stdout
    assert "mm in the piece" in ran.stdout
    assert (plate.parent / "explain-plate.svg").exists()
    assert listing(out) == before, "a picture in the folder could be cut"
    picture = plate.parent / "spot.svg"
    ran = run("verify", out, "--explain", "plate/drawn/1", "--preview", picture, "--json")
    (told,) = json.loads(ran.stdout)["explained"]["copies"]
    assert told["copy_name"] == "plate/drawn/1"
    assert told["worst"]["mm"] <= 0.01
    assert told["worst"]["towards"] in ("piece", "scrap", "neither")
    assert etree.parse(str(picture)).getroot().tag.endswith("svg")


def test_explain_leaves_a_stranger_s_file_and_knows_its_pieces(plate: Path) -> None:
    out = plate.parent / "out"
    assert run("cut", plate, *LASER, "--out", out).exit_code == 0
    before = plate.read_bytes()
    refused(run("verify", out, "--explain", "plate", "--preview", plate), "W701")
    assert plate.read_bytes() == before
    ran = run("verify", out, "--explain", "plait")
    assert ran.exit_code == 2
    assert "there are plate" in ran.stderr
    assert run("verify", out, "--preview", "x.svg").exit_code == 2


def test_explain_tells_why_a_piece_is_refused(plate: Path) -> None:
    out = plate.parent / "out"
    assert run("cut", plate, *LASER, "--out", out).exit_code == 0
    (file,) = out.glob("*.svg")
    file.write_text(file.read_text("utf-8").replace('d="M', 'd="M1', 1), "utf-8")
    ran = run("verify", out, "--explain", "plate", "--json")
    assert ran.exit_code == 1
    (told,) = json.loads(ran.stdout)["explained"]["copies"]
    assert any("V0" in line for line in told["faults"])
    assert run("verify", plate.parent / "nothing", "--explain", "plate").exit_code == 1


def test_inspect_counts_corners_openings_and_edges(plate: Path) -> None:
    (piece,) = json.loads(run("inspect", plate, "--json").stdout)["pieces"]
    assert [o["name"] for o in piece["openings"]] == ["eye"]
    assert piece["openings"][0]["length_mm"] == pytest.approx(62.831853, abs=1e-3)
    edges = [c["edge"] for c in piece["corners"]]
    assert sum(edges) == pytest.approx(piece["outline_mm"], abs=1e-9)
    assert [c["corner"] for c in piece["corners"]] == list(range(1, len(edges) + 1))


# check and cut


def test_check_is_a_cut_without_writing(plate: Path) -> None:
    before = listing(plate.parent)
    checked = json.loads(run("check", plate, *LASER, "--json").stdout)
    assert listing(plate.parent) == before
    made = json.loads(run("cut", plate, *LASER, "--out", plate.parent / "out", "--json").stdout)
    assert checked["sheets"] == made["sheets"]


def test_a_bare_drawing_takes_scale_mirrored_and_units(tmp_path: Path) -> None:
    file = tmp_path / "plain.svg"
    body = '<rect id="card" x="1" y="1" width="2" height="1"/>'
    file.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3">{body}</svg>', encoding="utf-8"
    )
    made = run(
        "cut", file, *LASER, "--units", "in", "--scale", "1.5", "--mirrored", "1",
        "--out", tmp_path / "out", "--json",
    )  # fmt: skip
    assert made.exit_code == 0, made.stderr
    record = json.loads((tmp_path / "out" / "record.json").read_text("utf-8"))
    assert {p["copy_name"]: p["mirrored"] for p in record["pieces"]} == {
        "card/drawn/1": False,
        "card/mirrored/1": True,
    }
    areas = record["layout"]["density"] * 420 * 297
    assert areas == pytest.approx(2 * 76.2 * 38.1, rel=1e-3)


def test_only_takes_a_piece_or_a_copy(tmp_path: Path) -> None:
    more = "count = 2\nmirrored = 1\n"
    more += '[[piece]]\nname = "other"\noutline = "plate.svg#plate"\nmaterial = "card-1mm"\n'
    file = job(tmp_path, more=more).file

    def cut(*only: str) -> list[str]:
        words = [w for name in only for w in ("--only", name)]
        told = json.loads(run("check", file, "--first-layout", "--json", *words).stdout)
        return sorted(p for s in told["sheets"] for p in s["pieces"])

    assert cut("other") == ["other/drawn/1"]
    assert cut("plate/mirrored/1") == ["plate/mirrored/1"]
    assert cut("plate/drawn/2", "other") == ["other/drawn/1", "plate/drawn/2"]
    assert len(cut()) == 4


@pytest.mark.parametrize("name", ["nope", "plate/mirrored/1", "plate/drawn/2", "plate/", ""])
def test_only_of_what_is_not_there_is_a_wrong_command(name: str, plate: Path) -> None:
    ran = run("cut", plate, *LASER, "--out", plate.parent / "out", "--only", name)
    assert ran.exit_code == 2
    assert len(ran.stderr.splitlines()) == 1
    assert "there are plate" in ran.stderr
    assert listing(plate.parent) == ["plate.svg"]


# Wrong command lines


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--material", "card-1mm"), "--machine"),
        (("--machine", "desk-laser-600"), "--material"),
        ((*LASER, "--scale", "-1"), "--scale"),
        ((*LASER, "--scale", "big"), "--scale"),
        ((*LASER, "--mirrored", "-1"), "--mirrored"),
        ((*LASER, "--layout-time", "-1"), "--layout-time"),
        ((*LASER, "--colour", "red"), "--colour"),
    ],
)
def test_a_wrong_command_line_ends_with_2(options: Sequence[str], says: str, plate: Path) -> None:
    ran = run("cut", plate, "--out", plate.parent / "out", *options)
    assert ran.exit_code == 2
    assert says in ran.stderr
    assert ran.stdout == ""
    assert listing(plate.parent) == ["plate.svg"]


def test_options_of_a_bare_drawing_do_not_go_with_a_job(tmp_path: Path) -> None:
    ran = run("check", job(tmp_path).file, "--material", "card-1mm")
    assert ran.exit_code == 2
    assert "--material" in ran.stderr


def test_cut_needs_a_place_to_write(plate: Path) -> None:
    ran = run("cut", plate, *LASER)
    assert ran.exit_code == 2
    assert "--out" in ran.stderr


# Wrong input: one clear line each, exit 1, nothing written

SPOILT = {
    "an empty file": ("", "R001"),
    "no drawing": ("a letter to a friend", "R002"),
    "a web page": ("<html><p>hello</p></html>", "R002"),
    "broken XML": ("<svg><path", "R201"),
    "an open outline": (svg('<path fill="none" stroke="red" d="M10 10 H50 V50 H10"/>'), "R101"),
    "a crossing outline": (svg('<path id="p" d="M10 10 L50 50 H10 L50 10 Z"/>'), "R102"),
    "no size": (svg('<rect id="p" x="10" y="10" width="0" height="20"/>'), "R103"),
    "a number that is none": (svg('<path id="p" d="M10 10 L NaN 50 L10 50 Z"/>'), "R202"),
    "an unknown unit": (svg(PLATE, unit="furlong"), "R205"),
    "nothing in it": (svg(""), "R003"),
}  # fmt: skip


@pytest.mark.parametrize("what", SPOILT)
def test_a_spoilt_drawing_is_refused_with_one_line(what: str, tmp_path: Path) -> None:
    text, code = SPOILT[what]
    file = tmp_path / "spoilt.svg"
    file.write_text(text, encoding="utf-8")
    line = refused(run("cut", file, *LASER, "--out", tmp_path / "out"), code)
    assert "spoilt.svg" in line
    refused(run("inspect", file), code)
    assert listing(tmp_path) == ["spoilt.svg"]


def test_a_folder_given_as_a_drawing_or_a_job_is_a_wrong_command(tmp_path: Path) -> None:
    (tmp_path / "folder.toml").mkdir()
    for folder in (tmp_path, tmp_path / "folder.toml"):
        ran = run("cut", folder, "--out", tmp_path / "out")
        assert ran.exit_code == 2
        assert len(ran.stderr.splitlines()) == 1
    assert listing(tmp_path) == ["folder.toml"]


def test_an_unknown_unit_on_the_command_line_is_refused(plate: Path) -> None:
    ran = run("cut", plate, *LASER, "--units", "furlong", "--out", plate.parent / "out")
    assert "furlong" in refused(ran, "R004")


@pytest.mark.parametrize(
    ("head", "code", "says"),
    [
        ('untis = "mm"', "J503", "did you mean units"),
        ('units = "furlong"', "J505", "furlong"),
        ('scale = "big"', "J505", "big"),
        ("scale = nan", "J505", "finite"),
    ],
)
def test_a_wrong_key_of_a_job_is_told_with_its_line(
    head: str, code: str, says: str, tmp_path: Path
) -> None:
    file = job(tmp_path, head=head).file
    before = listing(tmp_path)
    line = refused(run("cut", file, "--out", tmp_path / "out", "--layout-time", 0), code)
    assert "job.toml line 5" in line
    assert says in line
    assert listing(tmp_path) == before


@pytest.mark.parametrize(
    ("material", "machine", "near"),
    [("card-1m", "desk-laser-600", "card-1mm"), ("card-1mm", "desk-laser-60", "desk-laser-600")],
)
def test_a_profile_on_no_shelf_is_told_with_the_nearest(
    material: str, machine: str, near: str, plate: Path
) -> None:
    words = ("--material", material, "--machine", machine, "--layout-time", 0)
    line = refused(run("cut", plate, *words, "--out", plate.parent / "out"), "J511")
    assert line.endswith(f"did you mean {near}")
    file = job(plate.parent / "job", material, machine).file
    line = refused(run("check", file), "J511")
    assert line.endswith(f"did you mean {near}")
    ran = run("profile", "show", "card-1m")
    assert ran.exit_code == 2
    assert ran.stderr.splitlines() == [
        "fault: no material card-1m is on the shelf; did you mean card-1mm"
    ]


def test_a_place_that_can_not_be_written_is_refused(plate: Path) -> None:
    """A path below a file: no user can make a folder there, whatever their rights."""
    for out in (plate / "out", plate / "deep" / "out", plate):
        refused(run("cut", plate, *LASER, "--out", out), "W702")
    refused(run("inspect", plate, "--preview", plate / "picture.svg"), "W702")
    refused(run("start", plate / "job"), "W702")
    assert listing(plate.parent) == ["plate.svg"]


def test_a_flaw_of_our_own_is_one_line(plate: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def flawed(*_: object) -> None:
        raise ZeroDivisionError("a\nb")

    monkeypatch.setattr(pipeline, "plan", flawed)
    monkeypatch.delenv("FOAMWRIGHT_DEBUG", raising=False)
    ran = run("check", plate, *LASER)
    assert ran.exit_code == 1
    assert len(ran.stderr.splitlines()) == 1
    assert "ZeroDivisionError: a" in ran.stderr
    monkeypatch.setenv("FOAMWRIGHT_DEBUG", "1")
    assert isinstance(run("check", plate, *LASER).exception, ZeroDivisionError)


def test_a_stopped_run_says_so(plate: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pipeline, "plan", stopped)
    ran = run("check", plate, *LASER)
    assert ran.exit_code == 1
    assert ran.stderr == "stopped; earlier output is whole\n"


def test_a_pipe_that_is_closed_early_is_no_flaw() -> None:
    command = [sys.executable, "-m", "foamwright", "profile", "list", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        told = child.stderr.read()
    assert b"Traceback" not in told
    assert b"itself failed" not in told


# verify


def test_verify_of_what_is_no_cut_is_refused(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "none"):
        refused(run("verify", folder), "V001")
    assert listing(tmp_path) == []


def test_verify_writes_nothing(plate: Path) -> None:
    out = plate.parent / "out"
    run("cut", plate, *LASER, "--out", out)
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in out.iterdir()}
    assert run("verify", out).exit_code == 0
    assert {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in out.iterdir()} == before


# profile


def test_profiles_beside_the_job_are_listed_first(tmp_path: Path) -> None:
    made = job(tmp_path)
    put_profile(tmp_path, "my-card", 'based_on = "card-1mm"\nname = "My card"\n')
    ran = run("profile", "list", "--job", made.file, "--json")
    listed = json.loads(ran.stdout)["profiles"]
    assert next(x for x in listed if x["id"] == "my-card")["origin"].startswith("job:")
    told = json.loads(run("profile", "show", "my-card", "--job", made.file, "--json").stdout)
    assert told["values"]["name"] == "My card"
    assert told["origins"]["thickness"] == "package:materials/card-1mm.toml"
    assert run("profile", "show", "my-card").exit_code == 2


# Safety, whatever the options


def put_profile(folder: Path, name: str, text: str, kind: str = "materials") -> Path:
    place = folder / "profiles" / kind
    place.mkdir(parents=True, exist_ok=True)
    (place / f"{name}.toml").write_text(f"schema = 1\n{text}", encoding="utf-8")
    return place / f"{name}.toml"


def material(words: Sequence[str], basis: str = "data-sheet", method: str = "laser") -> str:
    return (
        f'name = "Sheet"\ncomposition = {json.dumps(list(words))}\n'
        f'composition_basis = "{basis}"\nthickness = "1 mm"\n'
        '[[stock]]\nkind = "sheet"\nwidth = "420 mm"\nlength = "297 mm"\n'
        f'[[cut]]\nmethod = "{method}"\nkerf = "0.2 mm"\nspeed = "20 mm/s"\nbasis = "estimate"\n'
    )


def permit(of: str = "pvc-1mm", machine: str = "desk-laser-600", **changed: str) -> str:
    told = {"date": "2020-01-01", "expires": "2999-01-01"} | changed
    lines = "".join(f"{k} = {v}\n" for k, v in told.items())
    return (
        f'[[permit]]\nmaterial = "{of}"\nmachine = "{machine}"\n'
        f'issued_by = "Site officer"\nreference = "RA-17"\ndata_sheet = "DS-1"\n{lines}'
    )


LOOSE = """\
schema = 1
[[rule]]
words = ["pvc", "vinyl"]
methods = ["laser"]
verdict = "ok"
why = "it was fine last time"
source = "a friend"
sure = "high"
"""


def cut_codes(file: Path, *options: object) -> set[str]:
    out = file.parent / "out"
    ran = run("cut", file, "--out", out, "--layout-time", 0, *options)
    assert ran.exit_code == 1, ran.output
    assert not out.exists()
    return set(codes(ran))


@pytest.mark.parametrize("words", [["pvc"], ["cotton", "vinyl-coating"], ["vinyl"]])
def test_pvc_on_a_laser_is_refused_whatever_the_options(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (shelf / "hazards.toml").write_text(LOOSE, encoding="utf-8")
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(shelf))
    made = job(tmp_path / "job", "pvc-1mm", more=permit())
    put_profile(made.folder, "pvc-1mm", material(words))
    (made.folder / "profiles" / "hazards.toml").write_text(LOOSE, encoding="utf-8")
    for options in (
        (),
        ("--fresh-layout",),
        ("--only", "plate"),
        ("--seed", 7),
        ("--json",),
    ):
        assert "S001" in cut_codes(made.file, *options)
    own = put_profile(made.folder, "pvc-1mm", material(words))
    flat = drawing(tmp_path)
    ran = run(
        "cut", flat, "--material", own, "--machine", "large-laser-1300", "--out",
        tmp_path / "out", "--layout-time", 0, "--scale", 2,
    )  # fmt: skip
    assert "S001" in codes(ran)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("basis", ["guess", "label"])
def test_what_is_unknown_or_guessed_is_not_laser_cut(basis: str, tmp_path: Path) -> None:
    made = job(tmp_path, "pvc-1mm", more=permit())
    words = ["card"] if basis == "guess" else ["unknown"]
    put_profile(tmp_path, "pvc-1mm", material(words, basis))
    assert "S001" in cut_codes(made.file)


def test_a_packaged_id_can_not_lose_its_words(tmp_path: Path) -> None:
    """Beside the job: polyurethane foam under its own id, and based on it, said to be card."""
    made = job(tmp_path / "same", "pu-foam-12mm")
    put_profile(made.folder, "pu-foam-12mm", material(["card"]))
    assert cut_codes(made.file) == {"S002"}, "its packaged words still count"
    made = job(tmp_path / "based", "my-foam")
    text = 'based_on = "pu-foam-12mm"\nname = "Mine"\ncomposition = ["card"]\n'
    put_profile(made.folder, "my-foam", text)
    assert cut_codes(made.file) & {"S002", "S006"}


def test_a_laser_can_not_be_called_a_knife(tmp_path: Path) -> None:
    made = job(tmp_path, "pvc-1mm")
    put_profile(tmp_path, "pvc-1mm", material(["pvc"], method="drag-knife"))
    text = 'based_on = "desk-laser-600"\nmethod = "drag-knife"\nblade_offset = "0.5 mm"\n'
    put_profile(tmp_path, "desk-laser-600", text, "machines")
    assert cut_codes(made.file)


def test_an_edited_record_of_pvc_does_not_verify(tmp_path: Path) -> None:
    """Card cut by a laser; then the record says, in good order, that it was PVC."""
    from .stages.verify.proof_bench import amend

    out = tmp_path / "out"
    pipeline.cut(bare(drawing(tmp_path)), out)

    def to_pvc(record: dict[str, Any]) -> None:
        for entry in record["profiles"]:
            for value in entry["values"]:
                if value["key"] == "composition":
                    value["value"] = ["pvc"]

    amend(out, to_pvc)
    assert "S001" in codes(run("verify", out))
    amend(out, lambda r: r.update(profiles=[]))
    assert run("verify", out).exit_code == 1


def test_polyurethane_foam_on_a_laser_asks_for_a_permit(tmp_path: Path) -> None:
    file = job(tmp_path, "pu-foam-12mm").file
    assert cut_codes(file) == {"S002"}
    assert "permit" in refused(run("check", file), "S002")


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (permit("pu-foam-12mm", expires="2020-02-01"), "S003"),
        (permit("pu-foam-12mm", date="2998-01-01"), "S003"),
        (permit("pu-foam-12mm", "large-laser-1300"), "S002"),
        (permit("pu-foam-25mm"), "S002"),
    ],
)
def test_a_permit_that_does_not_count_is_refused(given: str, code: str, tmp_path: Path) -> None:
    file = job(tmp_path, "pu-foam-12mm", more=given).file
    found = cut_codes(file)
    assert found & {code, "J508"}, found


def test_a_permit_that_counts_lets_foam_be_cut_and_is_on_the_sheet(tmp_path: Path) -> None:
    file = job(tmp_path, "pu-foam-12mm", more=permit("pu-foam-12mm")).file
    ran = run("cut", file, "--out", tmp_path / "out", "--layout-time", 0)
    assert ran.exit_code == 0, ran.stderr
    assert "S005" in ran.stderr
    assert "RA-17" in (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    assert run("verify", tmp_path / "out").exit_code == 0


def test_a_permit_that_expired_since_is_seen_by_verify(tmp_path: Path) -> None:
    from .stages.verify.proof_bench import amend

    file = job(tmp_path, "pu-foam-12mm", more=permit("pu-foam-12mm")).file
    run("cut", file, "--out", tmp_path / "out", "--layout-time", 0)
    amend(tmp_path / "out", lambda r: r["permits"][0].update(expires="2020-02-01"))
    assert codes(run("verify", tmp_path / "out")) == ["S003"]


def test_unbacked_fleece_on_the_roll_plotter_is_refused_with_its_reason(tmp_path: Path) -> None:
    made = job(tmp_path, "fleece-2mm", "roll-drag-knife-600")
    ran = run("cut", made.file, "--out", tmp_path / "out", "--layout-time", 0)
    assert ran.exit_code == 1
    assert {"J521", "J522"} <= set(codes(ran))
    assert "bunch under the rollers" in ran.stderr
    assert "thicker than" in ran.stderr
    assert not (tmp_path / "out").exists()


# A stranger's file


def test_a_stranger_s_file_in_the_folder_is_not_touched(plate: Path) -> None:
    out = plate.parent / "out"
    run("cut", plate, *LASER, "--out", out)
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    assert run("cut", plate, *LASER, "--out", out).exit_code == 0
    assert (out / "mine.txt").read_text("utf-8") == "mine"
    empty = plate.parent / "other"
    shutil.copytree(out, empty)
    (empty / "record.json").unlink()
    with pytest.raises(Refused):
        pipeline.cut(bare(plate), empty)
    assert (empty / "mine.txt").read_text("utf-8") == "mine"
