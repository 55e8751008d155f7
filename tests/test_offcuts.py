"""Offcuts: left over, offered first, booked with the cut and never lost by one that failed."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright import finishing, pipeline
from foamwright.asked import Request
from foamwright.cli import main
from foamwright.errors import CommandError
from foamwright.findings import Refused
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import area, distance, region
from foamwright.model import Sheet, Stock
from foamwright.offcuts import (
    FILE,
    Entry,
    booked,
    give_back,
    left_over,
    offcuts,
    stock_from,
    strike_out,
)
from foamwright.stages.save import publish as publishing
from tests.jobs import Written, job
from tests.pieces import copy_of, piece, rectangle, sheet_of

STRIP = "M0 0L300 0L300 90L0 90Z"


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "shelf"
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(folder))
    return folder


def put(shelf: Path, *entries: Entry) -> None:
    with booked(shelf, "earlier", (), entries):
        pass


def strip(name: str = "b7", **keys: str) -> Entry:
    return Entry(id=name, material="card-1mm", outline=STRIP, came_from="earlier", **keys)


def cut(made: Written, out: Path, **options: object) -> pipeline.Result:
    asked = Request.of(made.file, layout_time=0, **options)  # type: ignore[arg-type]
    return pipeline.cut(asked, out)


def test_what_is_left_over_is_the_sheet_less_the_pieces_and_their_clearance() -> None:
    """By hand: a 100 x 60 piece in the corner of a 300 x 200 sheet, 5 mm clearance."""
    sheet = sheet_of([copy_of(piece("p", rectangle(100, 60)))], [0j], 300, 200)
    (entry,) = left_over(sheet, "job", 5.0, 40.0)
    (outline,) = parse_path_data(entry.outline)
    whole = 300 * 200 - (105 * 60 + 100 * 5 + 3.14159 / 4 * 25)
    # the corners that a 40 mm disc can't reach are rounded off: five of them outside
    lost = 5 * (1 - 3.14159 / 4) * 20**2
    assert outline.area == pytest.approx(whole - lost, rel=0.003)
    assert outline.bounds == pytest.approx((0, 0, 300, 200), abs=0.01)
    assert not list(left_over(sheet, "job", 5.0, 220.0))


def test_a_hole_in_what_is_left_over_is_kept_off() -> None:
    middle = sheet_of([copy_of(piece("p", rectangle(40, 40)))], [130 + 80j], 300, 200)
    (entry,) = left_over(middle, "job", 2.0, 50.0)
    assert len(entry.holes) == 1
    (stock,) = stock_from([entry], "foam", "another")
    assert stock.outline is not None
    hole = region(stock.zones[0].outline)
    assert distance(hole, region(rectangle(40, 40, 130 + 80j))) == 0
    assert area(hole) == pytest.approx(44 * 44 - (4 - math.pi) * 2**2, rel=0.01)


def test_nothing_is_left_of_a_full_sheet() -> None:
    full = sheet_of([copy_of(piece("p", rectangle(290, 190)))], [5 + 5j], 300, 200)
    assert not list(left_over(full, "job", 2.0, 20.0))


def test_an_offcut_leaves_over_what_is_on_it() -> None:
    ell = Stock("foam", "offcut", 300, 200, 1, "b7", rectangle(300, 100))
    placed = sheet_of([copy_of(piece("p", rectangle(100, 60)))], [0j], 300, 200).placements
    (entry,) = left_over(Sheet(1, ell, "t", 300, 200, placed), "job", 2.0, 40.0)
    assert parse_path_data(entry.outline)[0].bounds[3] <= 100


def test_a_cut_keeps_what_it_leaves_and_the_next_job_is_offered_it_first(
    shelf: Path, tmp_path: Path
) -> None:
    first = job(tmp_path / "first")
    cut(first, tmp_path / "out-1", keep_offcuts="50 mm")
    (entry,) = offcuts(shelf)
    assert (entry.came_from, entry.booked_by) == ("plates", "")
    other = job(tmp_path / "second")
    other.file.write_text(other.file.read_text("utf-8").replace('"plates"', '"others"'), "utf-8")
    result = cut(other, tmp_path / "out-2", use_offcuts=True)
    (sheet,) = result.record.sheets
    assert sheet.stock == f"offcut {entry.id}"
    assert pipeline.verify_folder(tmp_path / "out-2")[0].passed
    assert [e.booked_by for e in offcuts(shelf)] == ["others"]
    page = (tmp_path / "out-2" / "operator-sheet.html").read_text("utf-8")
    assert f"offcut {entry.id}" in page
    third = job(tmp_path / "third")
    third.file.write_text(third.file.read_text("utf-8").replace('"plates"', '"third"'), "utf-8")
    result = cut(third, tmp_path / "out-3", use_offcuts=True)
    assert result.record.sheets[0].stock == "sheet"


def test_the_same_job_again_has_the_same_offcut_and_the_same_bytes(
    shelf: Path, tmp_path: Path
) -> None:
    put(shelf, strip())
    made = job(tmp_path / "job")
    for _ in range(2):
        cut(made, tmp_path / "out", use_offcuts=True, keep_offcuts="40 mm")
        now = (shelf / FILE).read_bytes(), (tmp_path / "out" / "record.json").read_bytes()
        there = {e.id: e.booked_by for e in offcuts(shelf)}
        assert there["b7"] == "plates"
    cut(made, tmp_path / "out", use_offcuts=True, keep_offcuts="40 mm")
    assert now == ((shelf / FILE).read_bytes(), (tmp_path / "out" / "record.json").read_bytes())


def test_a_check_or_a_cut_that_fails_books_nothing(
    shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(shelf, strip())
    before = (shelf / FILE).read_bytes()
    made = job(tmp_path / "job")
    pipeline.plan(Request.of(made.file, layout_time=0, use_offcuts=True))
    assert (shelf / FILE).read_bytes() == before

    def broken(*_: object) -> None:
        raise OSError("no room on the disk")

    monkeypatch.setattr(pipeline, "publish", broken)
    with pytest.raises(OSError, match="no room"):
        cut(made, tmp_path / "out", use_offcuts=True)
    assert (shelf / FILE).read_bytes() == before


def test_a_publication_that_the_next_run_finishes_leaves_it_begun(
    shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fails after the journal stands: the next look makes the cut whole."""
    put(shelf, strip())
    made = job(tmp_path / "job")
    cut(made, tmp_path / "out")
    real = publishing.flush_names
    calls: list[Path] = []

    def fails(folder: Path) -> None:
        calls.append(folder)
        if folder == tmp_path / "out" and (folder / publishing.JOURNAL).exists():
            raise OSError(5, "the disk fails")
        real(folder)

    monkeypatch.setattr(publishing, "flush_names", fails)
    with pytest.raises(Refused):
        cut(made, tmp_path / "out", use_offcuts=True)
    assert calls
    monkeypatch.setattr(publishing, "flush_names", real)
    assert [(e.booked_by, e.begun_by) for e in offcuts(shelf)] == [("", "plates")]
    listed = CliRunner().invoke(main, ["offcut", "list"]).stdout
    assert "plates (broken off)" in " ".join(listed.split())
    given = give_back(shelf, "plates")
    assert given.freed == ("b7",)
    assert offcuts(shelf) == (strip(),)


def test_an_offcut_that_another_job_books_meanwhile_stops_the_cut(
    shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(shelf, strip())
    made = job(tmp_path / "job")
    real = finishing.finish

    def meanwhile(*asked: object) -> object:
        with booked(shelf, "quicker", ("b7",), None):
            pass
        return real(*asked)  # type: ignore[arg-type]

    monkeypatch.setattr(finishing, "finish", meanwhile)
    with pytest.raises(Refused) as refused:
        cut(made, tmp_path / "out", use_offcuts=True)
    assert [f.code for f in refused.value.findings] == ["L412"]
    assert not (tmp_path / "out" / "record.json").exists()
    assert offcuts(shelf)[0].booked_by == "quicker"


def test_a_job_that_was_not_cut_gives_back_all_that_it_did(shelf: Path, tmp_path: Path) -> None:
    put(shelf, strip())
    before = offcuts(shelf)
    cut(job(tmp_path / "job"), tmp_path / "out", use_offcuts=True, keep_offcuts="20 mm")
    assert offcuts(shelf) != before
    ran = CliRunner().invoke(main, ["offcut", "give-back", "plates"])
    assert ran.exit_code == 0, ran.stderr
    assert "free again: b7" in ran.stdout
    assert offcuts(shelf) == before
    again = CliRunner().invoke(main, ["offcut", "give-back", "plates"])
    assert again.exit_code == 1
    assert "L413" in again.stderr


def test_what_another_job_has_booked_is_not_struck_out(shelf: Path) -> None:
    put(shelf, strip("a"), strip("b"))
    with booked(shelf, "later", ("a",), None):
        pass
    given = give_back(shelf, "earlier")
    assert (given.struck, given.kept) == (("b",), ("a",))
    assert [e.id for e in offcuts(shelf)] == ["a"]


def test_offcuts_are_listed_and_struck_out(shelf: Path) -> None:
    ran = CliRunner().invoke(main, ["offcut", "list"])
    assert "no offcut" in ran.stdout
    put(shelf, strip())
    ran = CliRunner().invoke(main, ["offcut", "list"])
    assert "b7" in ran.stdout
    assert "300 x 90" in ran.stdout
    told = json.loads(CliRunner().invoke(main, ["offcut", "list", "--json"]).stdout)
    assert told["offcuts"][0]["outline"] == STRIP
    assert CliRunner().invoke(main, ["offcut", "strike-out", "b7"]).exit_code == 0
    assert not offcuts(shelf)
    with pytest.raises(Refused) as refused:
        strike_out(shelf, "b7")
    assert [f.code for f in refused.value.findings] == ["L413"]


@pytest.mark.parametrize(
    "text", ["", "{", '{"offcuts": [{"id": ""}]}', '{"schema_version": 9, "offcuts": []}']
)
def test_a_shelf_that_can_not_be_read_is_left_as_it_is(shelf: Path, text: str) -> None:
    shelf.mkdir()
    (shelf / FILE).write_text(text, "utf-8")
    for act in (lambda: offcuts(shelf), lambda: strike_out(shelf, "x")):
        with pytest.raises(Refused) as refused:
            act()
        assert [f.code for f in refused.value.findings] == ["L411"]
    assert (shelf / FILE).read_text("utf-8") == text


def test_an_offcut_without_an_outline_is_told() -> None:
    torn = Entry(id="t", material="foam", outline="M0 0")
    with pytest.raises(Refused) as refused:
        stock_from([torn], "foam", "job")
    assert [f.code for f in refused.value.findings] == ["L411"]


@pytest.mark.parametrize("text", ["much", "-3 mm", "0"])
def test_a_width_that_can_not_be_meant_is_told(text: str, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="--keep-offcuts"):
        Request.of(tmp_path / "job.toml", keep_offcuts=text)
