"""The plain placer: zones, odd stock, pins, groups; places checked on exact outlines by shapely."""

from __future__ import annotations

import cmath
import math
import random
from dataclasses import replace
from itertools import combinations

import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.region import box, covers, distance, grown, region
from foamwright.model import Copy, Limits, Placement, Stock, Zone
from foamwright.stages.arrange.fill import fill, quick_fill, units_of
from foamwright.stages.arrange.greedy import Ground, better_orders, first_order, lay, score
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.window import Window, window_of
from tests.pieces import piece, rectangle

LIMITS = Limits((1000, 800), "flat", (0, 0, 0, 0), clearance=4, edge=2)
PLAIN = Stock("foam", "sheet", 300, 200)
#: An L with a bite out of its far right corner.
ELL = Path.polygon([0, 300, 300 + 90j, 160 + 90j, 160 + 200j, 200j])
KNOT = Zone(Path.circle(80 + 60j, 25))


def blob(name: str, size: float, seed: int, turns: tuple[float, ...] = (0.0, 90.0)) -> Copy:
    chance = random.Random(seed)
    count = chance.randint(4, 9)
    corners = [
        cmath.rect(size * chance.uniform(0.5, 1), 2 * math.pi * k / count) for k in range(count)
    ]
    made = piece(name, Path.polygon(corners))
    return Copy(f"{name}/drawn/1", name, made, False, "foam", "table", turns)


def shapes(count: int, size: float = 28) -> list[Shape]:
    return [Shape(c, c.rotations) for c in (blob(f"b{k}", size, k) for k in range(count))]


def assert_apart(placed: tuple[Placement, ...], window: Window) -> None:
    made = [region(p.piece.outline) for p in placed]
    for a, b in combinations(made, 2):
        assert distance(a, b) >= LIMITS.clearance - 0.01
    low, high = complex(window.left, window.near), complex(window.right, window.far)
    usable = grown(box((low.real, low.imag, high.real, high.imag)), 0.01)
    for p, shape in zip(placed, made, strict=True):
        assert covers(usable, shape)
        if window.stock.outline is not None:
            inside = grown(region(window.stock.outline), -LIMITS.edge + 0.02)
            assert covers(inside, shape)
        for zone in window.zones:
            if zone.keeps_off(p.copy):
                assert distance(region(zone.outline), shape) >= LIMITS.edge - 0.02


@pytest.mark.parametrize(
    "stock",
    [
        PLAIN,
        replace(PLAIN, outline=ELL),
        replace(PLAIN, zones=(KNOT,)),
        replace(PLAIN, outline=ELL, zones=(KNOT, Zone(rectangle(30, 30, 10 + 120j)))),
    ],
    ids=["plain", "odd", "flaw", "odd with flaws"],
)
def test_places_keep_clearance_edges_and_zones(stock: Stock) -> None:
    window = window_of(stock, LIMITS)
    placed = quick_fill(window, shapes(12), LIMITS.clearance).placed
    assert len(placed) >= 6
    assert_apart(placed, window)


def test_a_piece_lies_in_the_arm_that_bears_it_alone() -> None:
    bar = Copy("bar/drawn/1", "bar", piece("bar", rectangle(280, 80)), False, "foam", "t", (0.0,))
    window = window_of(replace(PLAIN, outline=ELL), LIMITS)
    (placed,) = quick_fill(window, [Shape(bar, (0.0,))], LIMITS.clearance).placed
    assert placed.piece.outline.bounds[3] <= 90
    wide = replace(bar, piece=piece("bar", rectangle(280, 100)))
    assert not quick_fill(window, [Shape(wide, (0.0,))], LIMITS.clearance).placed


def test_a_zone_for_one_piece_keeps_no_other_off() -> None:
    zone = Zone(rectangle(298, 150, 1 + 1j), ("face",))
    window = window_of(replace(PLAIN, zones=(zone,)), LIMITS)
    pair = [
        Copy(f"{n}/drawn/1", n, piece(n, rectangle(60, 40)), False, "foam", "t", (0.0,))
        for n in ("face", "back")
    ]
    placed = quick_fill(window, [Shape(c, (0.0,)) for c in pair], LIMITS.clearance).placed
    low = {p.copy.of: p.piece.outline.bounds[1] for p in placed}
    assert low["back"] == pytest.approx(2)
    assert low["face"] >= 151 + LIMITS.edge - 0.02


def test_a_pinned_piece_lies_at_its_pin_and_others_keep_off_it() -> None:
    pinned = replace(blob("pin", 30, 99), pin=100 + 70j)
    window = window_of(PLAIN, LIMITS)
    filled = quick_fill(window, [*shapes(8), Shape(pinned, (0.0,))], LIMITS.clearance)
    at = next(p for p in filled.placed if p.copy.of == "pin").piece.outline.bounds
    assert at[:2] == pytest.approx((100, 70))
    assert len(filled.placed) > 4
    assert_apart(filled.placed, window)


@pytest.mark.parametrize("pin", [-5 + 5j, 290 + 10j, 60 + 40j], ids=["off", "over", "on the knot"])
def test_a_pin_where_no_piece_may_lie_is_told(pin: complex) -> None:
    pinned = replace(blob("pin", 30, 99), pin=pin)
    window = window_of(replace(PLAIN, zones=(KNOT,)), LIMITS)
    filled = quick_fill(window, [Shape(pinned, (0.0,))], LIMITS.clearance)
    assert [c.of for c in filled.unpinned] == ["pin"]
    assert not filled.placed


def test_two_pins_too_near_to_each_other_are_told() -> None:
    a, b = (replace(blob(n, 30, 9), pin=p) for n, p in (("a", 40 + 40j), ("b", 60 + 40j)))
    window = window_of(PLAIN, LIMITS)
    filled = quick_fill(window, [Shape(a, (0.0,)), Shape(b, (0.0,))], LIMITS.clearance)
    assert [p.copy.of for p in filled.placed] == ["a"]
    assert [c.of for c in filled.unpinned] == ["b"]


def test_a_group_is_laid_as_a_whole_or_not_at_all() -> None:
    made = [replace(blob(f"g{k}", 45, k), group="all" if k < 6 else "") for k in range(12)]
    window = window_of(replace(PLAIN, outline=ELL), LIMITS)
    placed = quick_fill(window, [Shape(c, c.rotations) for c in made], LIMITS.clearance).placed
    together = sum(p.copy.group == "all" for p in placed)
    assert together in (0, 6)
    assert placed


def test_a_turnable_piece_may_be_turned_over() -> None:
    """A hook that goes into the L only as its mirror image."""
    hook = Path.polygon([0, 290, 290 + 80j, 290 + 190j, 160 + 190j, 160 + 80j, 80j])
    made = Copy("h/drawn/1", "h", piece("h", hook), False, "foam", "t", (0.0,))
    window = window_of(replace(PLAIN, outline=ELL), LIMITS)
    tight = [Shape(made, (0.0,))]
    assert not quick_fill(window, tight, LIMITS.clearance).placed
    over = [Shape(replace(made, turnable=True), (0.0,))]
    (placed,) = quick_fill(window, over, LIMITS.clearance).placed
    assert placed.copy.turned
    assert_apart((placed,), window)


def test_other_orders_are_no_worse_than_the_first_and_come_to_an_end() -> None:
    window = window_of(replace(PLAIN, outline=ELL), LIMITS)
    units = units_of(shapes(9))
    ground = Ground.of(window, LIMITS.clearance)
    first = lay(first_order(units), ground.fresh())
    best = better_orders(units, ground, 1.0, seed=3)
    assert score(best) >= score(first)
    assert_apart(best, window)


def test_odd_stock_is_filled_by_orders_and_told_of() -> None:
    told = []
    window = window_of(replace(PLAIN, outline=ELL), LIMITS)
    task = Task(LIMITS.clearance, 1, seed=1, tell=told.append)
    filled = fill(window, shapes(9), task, 1.0)
    assert_apart(filled.placed, window)
    assert told
    assert all(0 < t.density <= 1 for t in told)
