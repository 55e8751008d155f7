"""What lies within a window of the search's strip, and more of it where not all does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from foamwright.model import Copy, Placement, Stock
from foamwright.stages.arrange import strip
from foamwright.stages.arrange.fill import units_of
from foamwright.stages.arrange.greedy import first_order
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.search import Found
from foamwright.stages.arrange.strip import Strip, _about
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.window import Window, window_of
from tests.pieces import copy_of, piece, rectangle
from tests.stages.arrange.test_place import LIMITS, leaves

#: Bears four boxes of 180 x 130 mm, two across and two along.
SHEET = Stock("foam", "sheet", 400, 300)


def boxes(count: int) -> list[Copy]:
    return [copy_of(piece(f"box-{k}", rectangle(180, 130))) for k in range(count)]


def strip_of(copies: Sequence[Copy], window: Window, seconds: float = 60) -> Strip:
    units = first_order(units_of([Shape(c, c.rotations) for c in copies]))
    return Strip(window, units, Task(LIMITS.clearance, seconds, 1))


def in_columns(count: int, across: int, gap: float) -> Found:
    """Boxes, so many of them across."""
    places = [(k, 0.0, gap + k // across * 133.0, gap + k % across * 183.0) for k in range(count)]
    length = 2 * gap + (count - 1) // across * 133 + 130
    return Found(tuple(places), length, 0.5)


def searching(
    monkeypatch: pytest.MonkeyPatch, made: Callable[[int, int, float], Sequence[Found]]
) -> list[int]:
    """made: layouts of the search for its number, its pieces and its gap. Gives the pieces."""
    asked: list[int] = []

    def find(
        shapes: Sequence[Shape],
        height: float,
        gap: float,
        seconds: float,
        seed: int,
        better: Callable[[Found], bool],
    ) -> None:
        asked.append(len(shapes))
        for found in made(len(asked), len(shapes), gap):
            if not better(found):
                break

    monkeypatch.setattr(strip, "find", find)
    return asked


def no_gaps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Strip, "_gaps_filled", lambda _, placed: placed)


def test_more_is_searched_with_those_that_lie_within(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two of five lie within; then three are asked for, then four; five can't have room."""
    no_gaps(monkeypatch)
    asked = searching(
        monkeypatch, lambda n, count, gap: [in_columns(count, 1 if n == 1 else 2, gap)]
    )
    made = strip_of(boxes(5), window_of(SHEET, LIMITS)).laid(60)
    assert made is not None
    assert len(made.placed) == 4
    assert asked == [5, 3, 4]


def test_what_brings_no_more_is_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    no_gaps(monkeypatch)
    asked = searching(monkeypatch, lambda n, count, gap: [in_columns(count, 1, gap)])
    made = strip_of(boxes(5), window_of(SHEET, LIMITS)).laid(60)
    assert made is not None
    assert len(made.placed) == 2
    assert asked == [5, 3]


def test_the_layout_that_leaves_most_within_is_taken_not_the_shortest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def two(_: int, count: int, gap: float) -> list[Found]:
        good = in_columns(count, 2, gap)
        shorter = [(i, t, 200.0, y) if i < 3 else (i, t, x, y) for i, t, x, y in good.places]
        return [good, replace(good, places=tuple(shorter), length=good.length - 1)]

    no_gaps(monkeypatch)
    searching(monkeypatch, two)
    made = strip_of(boxes(5), window_of(SHEET, LIMITS), 0.1).laid(0.1)
    assert made is not None
    assert len(made.placed) == 4
    assert not made.lost


def test_gaps_are_filled_with_what_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    searching(monkeypatch, lambda n, count, gap: [in_columns(count, 1, gap)])
    made = strip_of(boxes(5), window_of(SHEET, LIMITS), 0.1).laid(0.1)
    assert made is not None
    assert len(made.placed) == 4


def test_a_search_that_bears_all_is_enough_where_not_all_was_sure_to_fit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[int] = []

    def many(_: int, count: int, gap: float) -> list[Found]:
        told.append(count)
        return [in_columns(count, 2, gap)]

    asked = searching(monkeypatch, many)
    made = strip_of(boxes(4), window_of(SHEET, LIMITS)).laid(60)
    assert made is not None
    assert len(made.placed) == 4
    assert asked == [4]


def test_units_that_come_to_about_an_area() -> None:
    units = first_order(units_of([Shape(c, (0.0,)) for c in leaves(6, 50)]))
    sizes = [u[0].area for u in units]
    assert _about(sizes[0] + sizes[1], units) == units[:2]
    assert _about(sizes[2] + 1, units) == [units[2]]
    assert _about(1.0, units) == [units[-1]]
    assert _about(1.0, []) == []


def test_a_real_search_lays_no_less_with_more_time() -> None:
    window = window_of(SHEET, LIMITS)

    def laid(seconds: float) -> float:
        made = strip_of(leaves(30, 60), window, seconds).laid(seconds)
        assert made is not None
        return area(made.placed)

    assert laid(4.0) >= laid(0.0) - 1e-6


def area(placed: Sequence[Placement]) -> float:
    return sum(p.copy.piece.outline.area for p in placed)
