"""The words of the pattern's checks."""

from __future__ import annotations

from dataclasses import replace

import pytest

from foamwright.asked import Checks
from foamwright.check_tables import checks_data, tables_of
from foamwright.stages.alter import CoreRow, NotchRow
from foamwright.stages.alter.rungs import Rung


def core(band: tuple[float, float], *outside: float) -> CoreRow:
    """A core in a shell of 200 mm, so long round outside at its places."""
    rungs = tuple(Rung(k / 2, 200.0, 150.0, o) for k, o in enumerate(outside))
    return CoreRow("core", "leg", "inset", 12.0, rungs, (), band)


def test_a_core_stands_beside_its_shell_and_its_band() -> None:
    checks = Checks(cores=(core((-2, 2), 201, 202, 203), core((1, 3), 206, 206, 206)))
    (table,) = tables_of(checks)
    assert table.rows == (
        ("core", "leg", "by inset", "200.0", "202.0", "+0.5..+1.5", "-2 to +2", "ok"),
        ("core", "leg", "by inset", "200.0", "206.0", "+3.0", "+1 to +3", "ok"),
    )
    (row, _) = checks_data(checks)["cores"]
    assert row["strain_percent"] == pytest.approx([0.5, 1.0, 1.5])
    loose = tables_of(Checks(cores=(core((1, 3), 200, 200, 200),)))[0]
    assert loose.rows[0][-1] == "WRONG"


def test_a_core_that_no_band_judges_is_neither_right_nor_wrong() -> None:
    checks = Checks(cores=(replace(core((1, 3), 300, 300, 300), band=None),))
    (table,) = tables_of(checks)
    assert table.rows[0][-2:] == ("none", "open")
    (row,) = checks_data(checks)["cores"]
    assert row["ok"] is None


def test_both_ways_to_make_a_core_have_their_own_figures() -> None:
    """The chosen way's range once pushed the other way's figure out of the table."""
    chosen = core((-2, 9), 201, 202, 203)
    other = tuple(Rung(k / 2, 200.0, 150.0, 210.0) for k in range(3))
    (table,) = tables_of(Checks(cores=(replace(chosen, other=other),)))
    ways = ("by inset\n(by thickness)", "200.0\n200.0", "202.0\n210.0", "+0.5..+1.5\n+5.0")
    assert table.rows[0][2:6] == ways


def test_of_each_piece_the_tightest_notch_is_shown() -> None:
    rows = [("a", "n-1", 4, 6), ("a", "n-2", 4, 5), ("b", "n-1", 4, 4)]
    (table,) = tables_of(Checks(notches=tuple(NotchRow(*r) for r in rows)))
    assert [(r[0], r[1], r[-1]) for r in table.rows] == [("a", "n-2", "ok"), ("b", "n-1", "WRONG")]


def test_checks_add_up() -> None:
    a = Checks(notches=(NotchRow("a", "n", 1, 2),))
    assert (a + Checks() + a).notches == a.notches * 2
