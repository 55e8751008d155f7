"""Pieces pushed together on a strip: hand-reckoned lengths, gaps kept, overlaps parted or told."""

from __future__ import annotations

import random

import numpy as np
import pytest
import shapely

from foamwright.stages.arrange.tighten import EASED, Body, Corners, tightened


def block(width: float, height: float) -> Body:
    return Body((np.array([[0, 0], [width, 0], [width, height], [0, height]], float),))


def shapes(bodies: list[Body], at: Corners) -> list[shapely.Geometry]:
    return [
        shapely.union_all([shapely.Polygon(part + place) for part in body.parts])
        for body, place in zip(bodies, at, strict=True)
    ]


def test_blocks_in_a_row_close_up_to_the_gap() -> None:
    bodies = [block(10, 8), block(20, 8), block(5, 8)]
    at = tightened(bodies, np.array([[3.0, 1], [15.0, 0], [50.0, 2]]), 10, 2)
    assert at is not None
    assert at[:, 0] == pytest.approx([0, 12, 34], abs=3 * EASED)  # two gaps


def test_a_ramp_slides_under_another_across_the_strip() -> None:
    """Two triangles, 10 by 10, make a square when one slides along the other's slope."""
    one = Body((np.array([[0, 0], [10, 0], [0, 10]], float),))
    other = Body((np.array([[10, 0], [10, 10], [0, 10]], float),))
    at = tightened([one, other], np.array([[0.0, 0], [6.0, 0]]), 10, 0)
    assert at is not None
    assert at[1, 0] + 10 == pytest.approx(10, abs=3 * EASED)


def test_a_block_goes_into_the_hollow_of_two_parts() -> None:
    angle = Body((block(2, 10).parts[0], block(10, 4).parts[0]))
    at = tightened([angle, block(9, 6)], np.array([[0.0, 0], [8.0, 4.4]]), 11, 0)
    assert at is not None
    assert at[1, 0] == pytest.approx(2, abs=2 * EASED)


def test_the_gap_of_two_corners_is_between_the_corners() -> None:
    """Corner to corner at 3 by 4 mm: 5 mm apart, so that a gap of 5 mm moves nothing."""
    bodies = [block(10, 10), block(10, 10)]
    at = tightened(bodies, np.array([[0.0, 0], [13.0, 14]]), 24, 5)
    assert at is not None
    assert at[1] == pytest.approx([13, 14], abs=4 * EASED)


def test_what_overlaps_a_little_is_parted_and_what_has_no_room_is_told() -> None:
    bodies = [block(10, 5), block(10, 5)]
    overlapping = np.array([[0.0, 0], [0.0, 4.9]])
    at = tightened(bodies, overlapping, 10, 0)
    assert at is not None
    assert at[1, 1] - at[0, 1] == pytest.approx(5, abs=2 * EASED)
    assert tightened(bodies, overlapping, 9.9, 0) is None


@pytest.mark.parametrize("gap", [0.0, 3.0])
@pytest.mark.parametrize("seed", range(5))
def test_loose_pieces_come_closer_and_keep_their_gap(seed: int, gap: float) -> None:
    chance = random.Random(seed)
    bodies, places = [], []
    for column in range(5):
        for row in range(4):
            ring = [
                20 * np.array([np.cos(a), np.sin(a)])
                for a in sorted(chance.uniform(0, 2 * np.pi) for _ in range(7))
            ]
            bodies.append(Body((np.array(ring),)))
            places.append((25 + 50.0 * column, 25 + 50.0 * row))
    at = tightened(bodies, np.array(places), 200, gap)
    assert at is not None
    laid = shapes(bodies, at)
    low_x, low_y, high_x, high_y = shapely.total_bounds(laid)
    assert min(low_x, low_y, 200 - high_y) > -2 * EASED
    assert high_x < 225
    for k, one in enumerate(laid):
        for other in laid[:k]:
            if gap:
                assert shapely.distance(one, other) >= gap - 2 * EASED
            else:
                assert not one.buffer(-2 * EASED, join_style="mitre").intersects(other)
