"""Covers: no cell that a region touches is left out, by shapely, cell for cell."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.path import Path
from foamwright.geometry.region import area, box, common, region, touches_or_overlaps
from foamwright.stages.arrange.bitmap import Bitmap, Cells, cover, runs_of, widened

CELLS = Cells(0j, 1.0, 1.5)
rows = st.integers(0, 2**70)


@st.composite
def blobs(draw: st.DrawFn) -> Path:
    count = draw(st.integers(3, 9))
    radii = [draw(st.floats(0.4, 9)) for _ in range(count)]
    at = complex(draw(st.floats(-5, 5)), draw(st.floats(-5, 5)))
    corners = [at + cmath.rect(r, 2 * math.pi * k / count) for k, r in enumerate(radii)]
    return Path.polygon(corners)


def cells_of(made: Bitmap) -> set[tuple[int, int]]:
    return {
        (made.x + x, made.y + y)
        for y, row in enumerate(made.rows)
        for x in range(row.bit_length())
        if row >> x & 1
    }


def cell(x: int, y: int, less: float = 0.0) -> tuple[float, float, float, float]:
    return (x + less, 1.5 * y + less, x + 1 - less, 1.5 * (y + 1) - less)


@given(blobs())
@settings(deadline=None, max_examples=60, derandomize=True)
def test_a_cover_holds_every_cell_that_is_met_and_none_that_is_far(blob: Path) -> None:
    shape = region(blob)
    covered = cells_of(cover(shape, CELLS))
    for x in range(-16, 17):
        for y in range(-11, 12):
            if area(common(box(cell(x, y)), shape)) > 1e-9:
                assert (x, y) in covered
            elif (x, y) in covered:
                assert touches_or_overlaps(box(cell(x, y, -1e-6)), shape)


def test_an_opening_is_not_covered() -> None:
    ring = region(Path.circle(10 + 10j, 9), [Path.circle(10 + 10j, 6)])
    covered = cells_of(cover(ring, CELLS))
    assert (10, 6) not in covered
    assert (2, 6) in covered


def test_a_box_that_fills_whole_cells_covers_no_more() -> None:
    made = cover(box((2.0, 3.0, 5.0, 6.0)), CELLS)
    assert (made.x, made.y, made.rows) == (2, 2, (0b111, 0b111))


@given(rows)
@settings(deadline=None, max_examples=100, derandomize=True)
def test_runs_are_the_set_bits(row: int) -> None:
    runs = runs_of(row)
    assert sum(((1 << size) - 1) << first for first, size in runs) == row
    assert all(a + n < b for (a, n), (b, _) in pairwise(runs))


@given(rows, st.integers(1, 40))
@settings(deadline=None, max_examples=100, derandomize=True)
def test_a_widened_row_tells_where_a_run_would_meet_it(row: int, size: int) -> None:
    wide = widened(row, size)
    for x in range(72):
        assert bool(wide >> x & 1) == bool(row >> x & ((1 << size) - 1))


@pytest.mark.parametrize("angle", [0, 37, 90])
def test_a_sliver_thinner_than_a_cell_is_covered_from_end_to_end(angle: int) -> None:
    way = cmath.rect(12, math.radians(angle))
    thin = Path.polygon([0.2 + 0.2j, 0.2 + 0.2j + way, 0.2 + 0.25j + way, 0.2 + 0.25j])
    covered = cells_of(cover(region(thin.counter_clockwise()), CELLS))
    for k in range(121):
        p = 0.2 + 0.22j + way * k / 120
        assert (math.floor(p.real), math.floor(p.imag / 1.5)) in covered
