"""The layout benchmark's file of runs and its tables, on runs made up for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.esicup_runs import BARE, OURS, Run, keep, kept, tables

PUBLISHED = {"blob": 90.0, "wedge": None}
PIECES = {"blob": 12, "wedge": 7}


def run(instance: str, seed: int, who: str, density: float, check: str = "") -> Run:
    return Run(instance, 10, seed, who, 2, density, check, "2026-01-01T00:00:00+00:00")


def shown(*runs: Run, seeds: int = 0) -> list[str]:
    return list(tables(runs, PUBLISHED, PIECES, seeds))


def test_runs_come_back_and_one_of_the_same_cell_stands_for_those_before(tmp_path: Path) -> None:
    file = tmp_path / "runs"
    assert kept(file) == []
    first, again, other = (
        run("blob", 1, OURS, 80.0),
        run("blob", 1, OURS, 81.0, "x and y are too near"),
        run("blob", 1, BARE, 79.0),
    )
    for one in (first, other, again):
        keep(one, file)
    assert kept(file) == [again, other]


def test_a_line_cut_short_is_dropped_and_the_next_one_whole(tmp_path: Path) -> None:
    file = tmp_path / "runs"
    first, second = run("blob", 1, OURS, 80.0), run("blob", 2, OURS, 81.0)
    keep(first, file)
    with file.open("a") as lines:
        lines.write('{"instance": "bl')
    assert kept(file) == [first]
    keep(second, file)
    assert kept(file) == [first, second]


def test_a_line_that_is_no_run_is_an_error(tmp_path: Path) -> None:
    file = tmp_path / "runs"
    file.write_text('{"instance": "blob"}\n')
    with pytest.raises(TypeError):
        kept(file)


def test_medians_the_shortfall_and_where_ours_is_lower_than_it_may_be() -> None:
    ours = [run("blob", s, OURS, d) for s, d in enumerate((84.0, 80.0, 85.0), 1)]
    bare = [run("blob", s, BARE, d) for s, d in enumerate((86.0, 83.0, 84.5), 1)]
    wedge = [run("wedge", 1, OURS, 50.0), run("wedge", 1, BARE, 50.2)]
    lines = shown(*ours, *bare, *wedge)
    row = next(line.split() for line in lines if line.startswith("blob"))
    assert row == ["blob", "12", "90.00", "84.00", "85.00", "84.50", "-0.50", "kept"]
    assert "ours: mean shortfall from the best published of 1: 6.00 points" in lines
    assert "bare: mean shortfall from the best published of 1: 5.50 points" in lines
    assert "medians below the bare library's less 0.3: blob -0.50" in lines


def test_cells_without_a_run_are_named_and_what_the_check_found_is_shown() -> None:
    lines = shown(run("blob", 1, OURS, 80.0, "x lies off the roll"), seeds=2)
    assert any(line.endswith("x lies off the roll") for line in lines)
    assert "missing of ours (instance, seeds): blob 2; wedge 1 2" in lines
    assert "missing of bare (instance, seeds): blob 1 2; wedge 1 2" in lines


def test_runs_of_other_budgets_and_workers_stand_in_tables_of_their_own() -> None:
    one = run("blob", 1, OURS, 80.0)
    four = Run("blob", 10, 1, OURS, 4, 84.0, "", one.date)
    heads = [line for line in shown(one, four) if "percent" in line and "workers" in line]
    assert heads == ["10 s, 2 workers, seeds 1; percent", "10 s, 4 workers, seeds 1; percent"]
