"""Settling: contacts against closed forms and against shapely's distance."""

from __future__ import annotations

import cmath
import math
import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.region import Region, area, common, distance, region
from foamwright.geometry.segments import Points
from foamwright.model import Copy, Limits, Placement, Stock
from foamwright.stages.arrange.fill import quick_fill
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.settle import STOP_SHORT, Walls, settled, way_to_walls
from foamwright.stages.arrange.window import Window, window_of
from tests.pieces import piece, rectangle

#: Where a placed piece's gap may lie beyond the clearance, mm: it stops so far short each way.
SLACK = 3 * STOP_SHORT
GAP = 3.7
LIMITS = Limits((1000, 800), "flat", (0, 0, 0, 0), clearance=GAP, edge=2)


def ring(path: Path) -> Points:
    return path.flatten(0.005)


def blob(chance: random.Random, middle: complex) -> Points:
    count = chance.randint(3, 12)
    corners = [
        middle + cmath.rect(20 * chance.uniform(0.3, 1), 2 * math.pi * k / count)
        for k in range(count)
    ]
    return np.array([*corners, corners[0]])


def polygon(points: Points) -> Path:
    return Path.polygon(list(points[:-1]))


def test_two_discs_meet_where_their_middles_are_two_radii_apart() -> None:
    """By hand: 10 and 6 mm, 8 mm beside the line of travel, 50 mm before: 50 - sqrt(16^2 - 8^2)."""
    a, b = ring(Path.circle(0j, 10)), ring(Path.circle(50 + 8j, 6))
    assert way_to_walls([a], [b], 1 + 0j) == pytest.approx(50 - math.sqrt(192), abs=0.03)
    assert way_to_walls([a], [b], -1 + 0j) == math.inf
    assert way_to_walls([a], [b], 1j) == math.inf


@pytest.mark.parametrize("seed", range(40))
def test_a_way_ends_where_shapely_first_finds_a_touch(seed: int) -> None:
    chance = random.Random(seed)
    direction = cmath.rect(1, chance.uniform(0, 2 * math.pi))
    beside = direction * 1j * chance.uniform(-25, 25)
    a, b = blob(chance, 0j), blob(chance, 60 * direction + beside)
    way = way_to_walls([a], [b], direction)
    other = region(polygon(b))
    if way == math.inf:
        steps = np.linspace(0, 120, 500)
        assert all(distance(region(polygon(a + direction * s)), other) > 0 for s in steps)
        return
    assert distance(region(polygon(a + direction * way)), other) == pytest.approx(0, abs=1e-6)
    beyond = common(region(polygon(a + direction * (way + 0.01))), other)
    assert area(beyond) > 0
    for part in np.linspace(0, 0.999, 60):
        assert distance(region(polygon(a + direction * way * part)), other) > 0


def test_a_box_settles_into_the_corner_that_others_leave() -> None:
    """Two walls and the room's edge: 3 mm above one, then the room's left edge 7 mm away."""
    floor = Walls.of([ring(rectangle(100, 10))])
    box = Walls.of([ring(rectangle(20, 20, 7 + 13j))])
    way = settled(box, [floor], (0, 0, 100, 100), 50)
    assert way == pytest.approx(-7 - 3j, abs=2 * STOP_SHORT)
    assert way.imag >= -3 + STOP_SHORT / 2


def test_a_hook_does_not_slide_through_the_wall_it_holds() -> None:
    hook = Path.polygon([0, 40, 40 + 30j, 30 + 30j, 30 + 10j, 10 + 10j, 10 + 30j, 30j])
    post = Walls.of([ring(rectangle(6, 40, 17 + 12j))])
    way = settled(Walls.of([ring(hook)]), [post], (-100, 0, 100, 100), 60)
    assert way == pytest.approx(-(30 - 23) + STOP_SHORT, abs=1e-6)  # right arm to post
    assert way_to_walls([ring(hook)], post.lines, 1 + 0j) == pytest.approx(17 - 10)
    assert way_to_walls([ring(hook)], post.lines, 1j) == pytest.approx(12 - 10)


@pytest.mark.parametrize("radius", [11.0, 23.5])
def test_the_plain_placer_s_discs_lie_at_the_clearance_not_at_a_cell(radius: float) -> None:
    copies = [
        Copy(f"d{k}/drawn/1", "d", piece("d", Path.circle(0j, radius)), False, "foam", "t", (0.0,))
        for k in range(6)
    ]
    window = window_of(Stock("foam", "sheet", 300, 400), LIMITS)
    placed = quick_fill(window, [Shape(c, (0.0,)) for c in copies], GAP).placed
    middles = [p.map(0j) for p in placed]
    first = min(middles, key=lambda m: (round(m.imag), m.real))
    assert first == pytest.approx(2 + radius + 1j * (2 + radius), abs=SLACK)
    for m in middles:
        nearest = min(abs(m - o) for o in middles if o is not m)
        assert 2 * radius + GAP - 0.01 <= nearest <= 2 * radius + GAP + SLACK


@pytest.mark.parametrize("seed", range(6))
def test_settled_pieces_keep_the_clearance_on_their_exact_outlines(seed: int) -> None:
    """And each rests: moved a fifth of a millimetre on, it is as near as it may be, or off."""
    chance = random.Random(seed)
    ell = Path.polygon([0, 260, 260 + 120j, 150 + 120j, 150 + 220j, 220j])
    stock = Stock("foam", "sheet", 260, 220, outline=ell)
    window = window_of(stock, LIMITS)
    copies = []
    for k in range(14):
        shape = polygon(blob(chance, 0j)) if k % 3 else Path.circle(0j, chance.uniform(6, 16))
        copies.append(
            Copy(f"p{k}/drawn/1", f"p{k}", piece(f"p{k}", shape), False, "foam", "t", (0.0, 90.0))
        )
    placed = quick_fill(window, [Shape(c, c.rotations) for c in copies], GAP).placed
    assert len(placed) > 8
    for k, p in enumerate(placed):
        before = [region(q.piece.outline) for q in placed[:k]]  # the later ones came later
        assert keeps_rules(p, before, window, GAP - 0.01)
        for way in (-0.2j, -0.2 + 0j):
            moved = replace(p, x=p.x + way.real, y=p.y + way.imag)
            assert not keeps_rules(moved, before, window, GAP + SLACK)


def keeps_rules(p: Placement, others: Sequence[Region], window: Window, gap: float) -> bool:
    body = region(p.piece.outline)
    return all(distance(body, o) >= gap for o in others) and window.fault_of(p) is None
