"""Window after window, and the last emptied into the others, with the real search."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from foamwright.model import Copy, Limits, Placement, Stock
from foamwright.stages.arrange import filling
from foamwright.stages.arrange.check import broken_rule
from foamwright.stages.arrange.fill import quick_fill
from foamwright.stages.arrange.filling import Filling, shapes_on
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.window import Window, window_of
from tests.pieces import copy_of, piece, rectangle
from tests.stages.arrange.test_place import LIMITS, ROLL, leaves

#: Bears four boxes of 180 x 130 mm.
SHEET = Stock("foam", "sheet", 400, 300)
PATCH = copy_of(piece("patch", rectangle(40, 40)))


def boxes(count: int) -> list[Copy]:
    return [copy_of(piece(f"box-{k}", rectangle(180, 130))) for k in range(count)]


def task(seconds: float = 4.0) -> Task:
    return Task(LIMITS.clearance, seconds, 1)


def laid_on(window: Window, copies: Sequence[Copy]) -> tuple[Window, tuple[Placement, ...]]:
    return window, quick_fill(window, shapes_on(window, copies), LIMITS.clearance).placed


def filled(
    *sheets: Sequence[Copy], stock: Stock = SHEET, limits: Limits = LIMITS
) -> tuple[Window, Filling]:
    window = window_of(stock, limits)
    made = Filling([window], task(), [c for s in sheets for c in s])
    made.filled = [laid_on(window, s) for s in sheets]
    return window, made


def names(made: Filling) -> list[list[str]]:
    return [sorted(p.copy.of for p in placed) for _, placed in made.filled]


def test_a_last_sheet_that_holds_little_is_saved() -> None:
    window, made = filled(boxes(3), [PATCH])
    made.empty_last(4.0)
    assert names(made) == [["box-0", "box-1", "box-2", "patch"]]
    assert broken_rule(made.filled[0][1], window, LIMITS.clearance) is None


def test_what_finds_no_room_stays_on_the_last_sheet() -> None:
    strips = [copy_of(piece(f"strip-{k}", rectangle(380, 92))) for k in range(3)]
    _, made = filled(strips, [PATCH])
    before = list(made.filled)
    made.empty_last(1.5)
    assert made.filled == before


def test_a_pair_is_moved_whole_or_not_at_all() -> None:
    pair = [replace(PATCH, name=f"patch/{k}", of=f"patch-{k}", group="pair") for k in range(2)]
    _, made = filled(boxes(3), pair)
    made.empty_last(4.0)
    assert names(made) == [["box-0", "box-1", "box-2", "patch-0", "patch-1"]]


def test_only_a_last_sheet_of_several_that_holds_little_is_hoped_for() -> None:
    _, made = filled(boxes(3), [PATCH])
    assert made.hope == pytest.approx(40 * 40 / (3 * 180 * 130))
    assert filled(boxes(3))[1].hope == math.inf
    assert replace(made, waiting=[PATCH]).hope == math.inf
    roll = replace(SHEET, kind="roll", length=3000)
    assert filled(boxes(3), [PATCH], stock=roll, limits=ROLL)[1].hope == math.inf
    full = filled(boxes(3), boxes(2))[1]
    before = list(full.filled)
    full.empty_last(4.0)
    assert full.hope > filling.HOPEFUL
    assert full.filled == before


def test_stock_is_chosen_anew_only_where_the_choice_may_change(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []
    real = filling.next_window

    def counted(*about: Any) -> int | None:
        asked.append(about)
        return real(*about)

    monkeypatch.setattr(filling, "next_window", counted)
    stocks = [replace(SHEET, price=3.0), replace(SHEET, width=300, price=2.5)]
    windows = [window_of(s, LIMITS) for s in stocks]
    made = Filling(windows, task(0.0), leaves(80, 70))
    made.lay()
    assert not made.waiting
    assert len(asked) <= len(made.filled) - 3
    asked.clear()
    few = Filling([replace(windows[0], count=2), windows[1]], task(0.0), leaves(80, 70))
    few.lay()
    assert not few.waiting
    assert sum(w.count == 2 for w, _ in few.filled) <= 2
