"""The way round sheets of real outlines, against a long run of a general routing library."""

from __future__ import annotations

import pytest
from tests.benchmarks.travel_sheets import (
    BEST,
    MADE_OF,
    SHEETS,
    TOOL,
    cuts_of,
    made_of,
    travelled,
)

from foamwright.stages.order import order


@pytest.mark.parametrize("name", SHEETS)
def test_travel_is_within_8_percent_of_a_long_run_of_a_routing_library(tmp_path, name):
    """OR-Tools with guided local search; each contour once, operations in turn, free entries."""
    sheet = SHEETS[name](tmp_path)
    cuts = cuts_of(sheet)
    count, length = made_of(cuts)
    assert (count, length) == (MADE_OF[name][0], pytest.approx(MADE_OF[name][1], rel=1e-3)), (
        "not the sheet that was searched: run tests.benchmarks.routing_library again"
    )
    program = order(cuts, sheet, TOOL)
    done = sorted((c.copy, c.contour) for c in program.cuts)
    assert done == sorted((c.copy, c.contour) for c in cuts)
    assert travelled(program.cuts) <= 1.08 * BEST[name]


def test_with_one_entry_each_the_same_check_fails(tmp_path):
    """What is asked for can't be had from the places where contours happen to start."""
    sheet = SHEETS["heron"](tmp_path)
    cuts = cuts_of(sheet, free=False)
    assert travelled(order(cuts, sheet, TOOL).cuts) > 1.08 * BEST["heron"]
