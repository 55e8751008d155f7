"""Knives over the whole chain, from the target to what the blade does along the written file.

A small sample: `tests/benchmarks/test_knives.py` has hundreds.  Each cut is run by any of its ways.
"""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line
from foamwright.model import Tool
from tests.benchmarks.outlines import glyph_outlines
from tests.knives import (
    any_drag_knife,
    any_oscillating_knife,
    beyond,
    random_sheet,
    see_drag_knife,
    see_oscillating_knife,
    sheet_of,
    stations,
    trailing,
)

#: Seeds whose sheets can be cut.
DRAG, OSCILLATING = range(6), (1, 2, 5, 6, 7, 10, 11)


@pytest.mark.parametrize("seed", DRAG)
def test_a_trailing_tip_frees_random_pieces(seed):
    rng = random.Random(seed)
    sheet, tool = random_sheet(rng, 2, 60), any_drag_knife(rng)
    seen = see_drag_knife(sheet, tool, rng)
    assert not seen.refused
    assert not beyond(seen, tool)


@pytest.mark.parametrize("seed", OSCILLATING)
def test_a_blade_frees_random_pieces_and_tells_what_it_leaves(seed):
    rng = random.Random(seed)
    sheet, tool = random_sheet(rng, 50, 200, bend=0.03), any_oscillating_knife(rng)
    seen = see_oscillating_knife(sheet, tool, rng)
    assert not seen.refused
    assert not beyond(seen, tool)


def test_knives_free_glyphs():
    rng = random.Random(1)
    sheet = sheet_of([g.path for g in rng.sample(list(glyph_outlines(1)), 2)], 16, 10)
    drag = Tool("drag-knife", blade_offset=0.5)
    seen = see_drag_knife(sheet, drag, rng)
    assert not seen.refused
    assert not beyond(seen, drag)
    blade = Tool("oscillating-knife", overrun=1.0, far_face_max=3.0)
    seen = see_oscillating_knife(sheet, blade, rng)
    assert not seen.refused
    assert not beyond(seen, blade)


# That the eye sees


def test_a_tractrix_has_its_closed_form():
    """x = s - e tanh(s/e), y = e sech(s/e), as in any text on plane curves."""
    along, pivots, _ = stations(Path((Line(0j, 3 + 0j),), False))
    tips, _ = trailing(pivots, 0.5, -1j)
    u = along / 0.5
    assert np.abs(tips - (along - 0.5 * np.tanh(u) + 0.5j / np.cosh(u))).max() < 1e-9


def test_a_tip_on_a_circle_settles_on_the_smaller_one():
    """sqrt(R^2 - e^2): 4.9749 mm for R = 5, e = 0.5."""
    _, pivots, way = stations(Path.circle(0, 5.0))
    tips, _ = trailing(pivots, 0.5, complex(way[0]))
    assert abs(tips[-1]) == pytest.approx(math.sqrt(5**2 - 0.5**2), abs=2e-5)


SQUARE = Path.polygon([0, 40, 40 + 40j, 40j])


def test_an_uncompensated_tip_is_seen_to_miss_corners():
    plain = Tool("drag-knife", blade_offset=0.5, applies=frozenset({"blade-offset"}))
    seen = see_drag_knife(sheet_of([SQUARE], 10, 5), plain, random.Random(1))
    assert seen.figures["missed"] > 0.1
    assert {"missed", "astray", "inside"} <= set(beyond(seen, plain))


def test_a_stroke_without_its_overrun_is_seen():
    plain = Tool("oscillating-knife", overrun=3.0, applies=frozenset({"overrun"}))
    seen = see_oscillating_knife(sheet_of([SQUARE], 10, 5), plain, random.Random(1))
    assert seen.figures["untold"] == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize(("overrun", "left"), [(2.0, 8.0), (12.7, 50.8)])
def test_what_a_square_opening_leaves_is_told_and_no_more(overrun, left):
    tool = Tool("oscillating-knife", overrun=overrun)
    plate = sheet_of([SQUARE.reversed()], 10, 5)
    seen = see_oscillating_knife(plate, tool, random.Random(1))
    assert "C521" in seen.told
    assert seen.figures["left"] == pytest.approx(left, abs=0.2)
    assert max(seen.figures["untold"], seen.figures["told too much"]) < 0.2
