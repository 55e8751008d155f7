"""Eased pieces and strips, and layouts of theirs put right."""

from __future__ import annotations

from typing import Any

import pytest
import shapely

from foamwright.stages.arrange.eased import MOST_PARTS, MOST_PIECES, Eased

SQUARE = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
ANGLE = [(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (50.0, 50.0), (50.0, 100.0), (0.0, 100.0)]


def item(points: list[tuple[float, float]], count: int = 1) -> dict[str, Any]:
    return {"points": points, "turns": [0.0, 180.0], "count": count}


def test_pieces_are_inset_by_a_hair_on_every_side() -> None:
    eased = Eased([item(ANGLE)], 1000, 0)
    (shape,) = eased.shapes()
    inner, whole = shapely.Polygon(shape), shapely.Polygon(ANGLE)
    assert 0 < eased.hair < 1
    assert whole.covers(inner)
    assert inner.bounds == pytest.approx((eased.hair, eased.hair, *2 * [100 - eased.hair]))
    assert whole.area - inner.area == pytest.approx(400 * eased.hair, rel=0.02)


def test_outlines_drawn_either_way_round_are_inset() -> None:
    eased = Eased([item(SQUARE[::-1])], 1000, 0)
    assert shapely.Polygon(eased.shapes()[0]).area < 1e4


def test_a_layout_that_overlaps_by_hairs_is_put_right_to_an_exact_fit() -> None:
    """Two squares of 100 mm on 200 mm, laid by the search at 0 and 99.9."""
    eased = Eased([item(SQUARE, 2)], 200, 0)
    shift = eased.hair / 2
    made = eased.put_right([(0, 0.0, 5.0, 0.0 - shift), (0, -0.0, 5.02, 99.95 - shift)])
    assert made is not None
    length, laid = made
    assert length == pytest.approx(100, abs=0.01)
    assert [y for *_, y in laid] == pytest.approx([0, 100], abs=0.01)


def test_turns_in_single_precision_are_taken_as_meant() -> None:
    eased = Eased([item(SQUARE)], 200, 0)
    made = eased.put_right([(0, -179.99998, 100.0, 100.0)])
    assert made is not None
    assert made[0] == pytest.approx(100, abs=1e-6)
    assert made[1][0][2] == pytest.approx(100, abs=1e-6)


def test_a_layout_that_has_no_room_is_none() -> None:
    eased = Eased([item(SQUARE, 2)], 199, 0)
    assert eased.put_right([(0, 0.0, 0.0, 0.0), (0, 0.0, 0.0, 99.0)]) is None


def test_many_pieces_and_ragged_outlines_are_not_eased() -> None:
    teeth = [(float(x), 10.0 * (x % 2)) for x in range(2 * MOST_PARTS + 10, 0, -1)]
    saw = [(0.0, -5.0), (2.0 * MOST_PARTS + 11, -5.0), *teeth]
    assert Eased([item(ANGLE, MOST_PIECES)], 1000, 0).is_worth
    assert not Eased([item(ANGLE, MOST_PIECES + 1)], 1000, 0).is_worth
    assert not Eased([item(saw)], 1000, 0).is_worth
