"""What a newcomer runs into: mistyped outlines, other jobs' folders, units, lines too long."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest

from tests.jobs import drawing, job
from tests.test_cli import codes, listing, refused, run

CARD = ("--material", "card-1mm", "--machine", "desk-laser-600", "--layout-time", "0")


def test_an_outline_that_the_drawing_does_not_have_is_named(tmp_path: Path) -> None:
    written = job(tmp_path)
    text = written.file.read_text("utf-8").replace("#plate", "#plaet")
    written.file.write_text(text, "utf-8")
    assert "it has plate" in refused(run("check", written.file), "J530")


def test_another_job_s_folder_is_not_replaced(tmp_path: Path) -> None:
    out = tmp_path / "out"
    first = drawing(tmp_path)
    second = drawing(tmp_path, name="paw.svg")
    assert run("cut", first, *CARD, "--out", out).exit_code == 0
    before = listing(out)
    assert "plate" in refused(run("cut", second, *CARD, "--out", out), "W704")
    assert listing(out) == before
    assert run("cut", first, *CARD, "--out", out).exit_code == 0


def test_a_slit_that_leaves_its_piece_is_refused_before_anything_is_cut(tmp_path: Path) -> None:
    body = '<path d="M20 20h40v40h-40z"/><path data-role="slit" d="M40 40h60"/>'
    ran = run("check", drawing(tmp_path, body), *CARD)
    assert ran.exit_code == 1
    assert codes(ran) == ["R110"]


def test_start_remembers_the_unit_that_a_drawing_lacks(tmp_path: Path) -> None:
    file = tmp_path / "paw.dxf"
    doc = ezdxf.new("R12")
    doc.modelspace().add_polyline2d([(10, 10), (60, 10), (60, 50), (10, 50)], close=True)
    doc.saveas(file)
    assert run("start", tmp_path / "paw", "--drawing", file, "--units", "mm").exit_code == 0
    ran = run("check", tmp_path / "paw" / "job.toml", "--layout-time", "0")
    assert ran.exit_code == 0, ran.output
    refused(run("start", tmp_path / "other", "--drawing", file), "R302")


def test_a_folder_for_a_job_is_told_which_file_to_name(tmp_path: Path) -> None:
    ran = run("check", tmp_path)
    assert ran.exit_code == 2
    assert "job.toml" in ran.stderr


def test_what_a_bare_drawing_lacks_is_named_alone(tmp_path: Path) -> None:
    ran = run("check", drawing(tmp_path), "--material", "card-1mm")
    assert ran.exit_code == 2
    assert "--machine" in ran.stderr
    assert "--material" not in ran.stderr


def test_start_tells_the_next_step(tmp_path: Path) -> None:
    ran = run("start", tmp_path / "paw", "--drawing", drawing(tmp_path))
    assert ran.stdout.splitlines()[-1] == f"then: foamwright check {tmp_path / 'paw' / 'job.toml'}"


def test_a_folder_to_be_inspected_is_told_which_files_to_name(tmp_path: Path) -> None:
    ran = run("inspect", tmp_path)
    assert ran.exit_code == 2
    assert "is a folder: name a drawing or a job.toml" in ran.stderr


@pytest.mark.parametrize("command", ["inspect", "cut"])
def test_a_picture_is_not_written_under_another_kind_s_name(command: str, tmp_path: Path) -> None:
    given = (*CARD, "--out", tmp_path / "out") if command == "cut" else ()
    picture = tmp_path / "plate.jpg"
    ran = run(command, drawing(tmp_path), *given, "--preview", picture)
    assert ran.exit_code == 2
    assert "neither .svg nor .png" in ran.stderr
    assert not picture.exists()
    assert not (tmp_path / "out").exists()


def test_a_label_that_is_printed_anyway_is_not_told_to_be_printed(tmp_path: Path) -> None:
    for stickers, said in (("false", "print it (stickers = true)"), ("true", "its printed label")):
        label = f'[piece.label]\non = "allowance"\nstickers = {stickers}'
        ran = run("check", job(tmp_path / stickers, more=label).file, "--layout-time", "0")
        assert ran.exit_code == 0, ran.output
        (told,) = [line for line in ran.stderr.splitlines() if " A341 " in line]
        assert told.endswith(said)


def test_what_start_leaves_as_comments_is_a_job_when_uncommented(tmp_path: Path) -> None:
    assert run("start", tmp_path / "paw", "--drawing", drawing(tmp_path)).exit_code == 0
    file = tmp_path / "paw" / "job.toml"
    lines = file.read_text("utf-8").splitlines()
    wanted = ("# [piece.edges]", "# hem", "# [[seam]]", "# name", "# joins")
    text = "\n".join(x.removeprefix("# ") if x.startswith(wanted) else x for x in lines)
    text = text.replace('["PIECE.EDGE", "PIECE.EDGE"]', '["plate.hem", "plate.hem"]')
    file.write_text(text, encoding="utf-8")
    ran = run("check", file, "--layout-time", "0")
    assert "ankle" in ran.stdout, ran.output
    assert not [c for c in codes(ran) if c.startswith("J5")]
