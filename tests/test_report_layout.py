"""What is told of layouts: figures of each sheet and the job, stock compared, progress."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.cli import main
from foamwright.report_layout import LayoutSum, layout_told, progress_line
from foamwright.stages.arrange import Progress
from tests.jobs import job

TWO_STOCKS = """
count = 3
[[stock]]
material = "card-1mm"
width = "90 mm"
length = "70 mm"
price = 1.0
[[stock]]
material = "card-1mm"
width = "420 mm"
length = "297 mm"
price = 2.5
"""


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_density_waste_length_and_price_are_those_of_the_sheets(tmp_path: Path) -> None:
    made = job(tmp_path, more=TWO_STOCKS)
    plan = pipeline.plan(made.request)
    sheets = [p.sheet for _, p in plan.programs]
    told = LayoutSum.of(sheets)
    area = sum(s.width * s.length for s in sheets)
    pieces = sum(
        x.piece.outline.area + sum(o.path.area for o in x.piece.openings)
        for s in sheets
        for x in s.placements
    )
    assert told.density == pytest.approx(pieces / area)
    assert told.waste_mm2 == pytest.approx(area - pieces)
    assert told.price == sum(s.price or 0 for s in sheets) == 2.5


def test_the_report_and_the_document_tell_it(tmp_path: Path) -> None:
    made = job(tmp_path, more=TWO_STOCKS)
    words = ["check", str(made.file), "--first-layout"]
    ran = CliRunner().invoke(main, words)
    assert ran.exit_code == 0, ran.stderr
    assert "waste m2" in ran.stdout
    assert "2.50" in ran.stdout
    assert max(map(len, ran.stdout.splitlines())) <= 80
    told = json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)
    assert told["layout"]["price"] == 2.5
    assert told["sheets"][0]["stock"] == "sheet 420 x 297"


def test_a_currency_stands_beside_prices_as_it_was_typed(tmp_path: Path) -> None:
    made = job(tmp_path, more=TWO_STOCKS, head='currency = "EUR"')
    words = ["check", str(made.file), "--first-layout", "--compare-stock"]
    told = CliRunner().invoke(main, words).stdout
    assert told.count("price, EUR") == 2
    assert max(map(len, told.splitlines())) <= 80
    document = json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)
    assert (document["currency"], document["layout"]["price"]) == ("EUR", 2.5)
    long = job(tmp_path / "long", more=TWO_STOCKS, head='currency = "pieces of eight"')
    refused = CliRunner().invoke(main, ["check", str(long.file)])
    assert refused.exit_code == 1
    assert "currency" in refused.stderr


def test_the_same_pieces_are_compared_on_each_stock(tmp_path: Path) -> None:
    made = job(tmp_path, more=TWO_STOCKS)
    words = ["check", str(made.file), "--first-layout", "--compare-stock"]
    told = json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)
    rows = {r["stock"]: r for r in told["compared"]}
    small, large = rows["sheet 90 x 70"], rows["sheet 420 x 297"]
    assert (small["sheets"], small["price"]) == (3, 3.0)
    assert (large["sheets"], large["price"]) == (1, 2.5)
    assert small["density"] > large["density"]
    ran = CliRunner().invoke(main, words)
    assert "the same pieces on each stock alone" in ran.stdout
    assert max(map(len, ran.stdout.splitlines())) <= 80


def test_stock_that_bears_not_all_of_them_says_so(tmp_path: Path) -> None:
    more = TWO_STOCKS.replace("90 mm", "40 mm").replace("70 mm", "40 mm")
    made = job(tmp_path, more=more)
    words = ["check", str(made.file), "--first-layout", "--compare-stock"]
    assert "3 left" in CliRunner().invoke(main, words).stdout


def test_progress_is_a_line_that_is_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = Terminal()
    monkeypatch.setattr("sys.stderr", shown)
    made = job(tmp_path, more="count = 6\n")
    with layout_told() as tell:
        assert tell is not None
        pipeline.plan(Request.of(made.file, layout_time=1, tell=tell))
    lines = [x for x in shown.getvalue().split("\r\x1b[K") if x]
    assert len(lines) >= 2
    assert all("card-1mm, sheet 1: 6 pieces, " in x and "% filled" in x for x in lines)
    assert shown.getvalue().endswith("\r\x1b[K")
    assert "\n" not in shown.getvalue()


def test_no_progress_goes_into_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stderr", io.StringIO())
    with layout_told() as tell:
        assert tell is None


def test_a_hostile_material_name_is_harmless_in_the_progress() -> None:
    assert "\x1b" not in progress_line(Progress("a\x1b[2J", 1, 3, 0.5, 1.0))
