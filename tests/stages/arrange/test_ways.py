"""Which stock at all: the cheapest of each alone and all mixed, with the real search."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest

from foamwright.model import Copy, Sheet, Stock
from foamwright.stages.arrange import Asked, arrange, filling, strip
from foamwright.stages.arrange.fill import quick_fill
from foamwright.stages.arrange.filling import Filling, shapes_on
from foamwright.stages.arrange.task import Task
from foamwright.stages.arrange.ways import (
    Rank,
    _has_time,
    _Laid,
    _laid,
    _least,
    _with_saved_sheets,
    lay_cheapest,
    rank_of,
)
from foamwright.stages.arrange.window import Window, window_of
from tests.pieces import copy_of, piece, rectangle
from tests.stages.arrange.test_place import LIMITS, QUICK, ROLL, assert_rules_kept, leaves

#: Bears four of the boxes below.
LARGE = Stock("foam", "sheet", 400, 300, price=10.0)
#: Bears one of them.
SMALL = replace(LARGE, width=200, length=150, price=3.0)


def boxes(count: int) -> list[Copy]:
    return [copy_of(piece(f"box-{k}", rectangle(180, 130))) for k in range(count)]


def price(sheets: Sequence[Sheet]) -> float:
    return sum(s.price or 0 for s in sheets)


def windows(*stocks: Stock) -> list[Window]:
    return [window_of(s, LIMITS) for s in stocks]


def task(seconds: float = 1.0) -> Task:
    return Task(LIMITS.clearance, seconds, 1)


@pytest.mark.parametrize(
    ("dear", "cheap", "widths"),
    [
        (10.0, 3.0, [400, 200]),  # 13, where one alone comes to 20 or 15
        (10.0, 2.4, [200] * 5),  # 12, where the mix comes to 12.4
        (4.0, 3.0, [400, 200]),  # 7, where the large alone comes to 8
        (4.0, 5.0, [400, 400]),
    ],
)
def test_the_cheapest_of_alone_and_mixed_is_taken(
    dear: float, cheap: float, widths: list[int]
) -> None:
    stocks = [replace(LARGE, price=dear), replace(SMALL, price=cheap)]
    for order in (stocks, stocks[::-1]):
        layout = arrange(boxes(5), order, LIMITS, QUICK)
        assert not layout.findings
        assert sorted((s.stock.width for s in layout.sheets), reverse=True) == widths
        for sheet in layout.sheets:
            assert_rules_kept(sheet, LIMITS)


@pytest.mark.parametrize("prices", [(5.0, 3.0, 2.0), (4.1, 3.4, 2.7), (2.0, 1.9, 1.2)])
def test_no_stock_alone_comes_cheaper(prices: tuple[float, float, float]) -> None:
    sizes = ((400, 300), (300, 240), (220, 180))
    stocks = [
        replace(LARGE, width=w, length=h, price=p) for (w, h), p in zip(sizes, prices, strict=True)
    ]
    copies = leaves(24, 70)
    asked = Asked(3, 1)
    together = arrange(copies, stocks, LIMITS, asked)
    assert not together.findings
    alone = [arrange(copies, [s], LIMITS, Asked(1, 1)) for s in stocks]
    assert price(together.sheets) <= min(price(a.sheets) for a in alone) + 1e-9


def test_where_stock_that_is_taken_again_bears_nothing_the_others_are_asked() -> None:
    """Groups of four that only the dear stock bears whole, among strips that only the cheap one
    does."""
    cheap = replace(LARGE, width=600, length=200, price=1.0)
    dear = replace(LARGE, width=400, length=400, price=10.0)
    strips = [copy_of(piece(f"strip-{k}", rectangle(560, 40))) for k in range(3)]
    fours = [
        replace(copy_of(piece(f"box-{g}-{k}", rectangle(150, 150))), group=f"four-{g}")
        for g in range(6)
        for k in range(4)
    ]
    limits = replace(LIMITS, reach=(1000.0, 1000.0))
    for stocks in ([cheap, dear], [dear, cheap]):
        layout = arrange([*strips, *fours], stocks, limits, QUICK)
        assert not layout.findings
        assert sum(len(s.placements) for s in layout.sheets) == 27
        for sheet in layout.sheets:
            assert_rules_kept(sheet, limits)


def test_a_mix_that_is_foretold_wrongly_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Quick layouts that take the dearest first; the cheap stock alone is taken all the same."""

    def dearest(choices: Mapping[int, Window], *_: Any) -> int:
        return max(choices, key=lambda k: choices[k].stock.price or 0.0)

    monkeypatch.setattr(filling, "next_window", dearest)
    stocks = [replace(LARGE, price=100.0), SMALL]
    layout = arrange(boxes(3), stocks, LIMITS, QUICK)
    assert [s.stock.width for s in layout.sheets] == [200, 200, 200]


def test_what_is_left_at_last_goes_on_what_bears_it_for_less() -> None:
    large, small = both = windows(LARGE, SMALL)
    made = _laid([large], both, boxes(5), task()).made
    assert [w for w, _ in made.filled] == [large, small]
    none_left = [large, replace(small, count=0)]
    made = _laid([large], none_left, boxes(5), task()).made
    assert [w for w, _ in made.filled] == [large, large]


def test_a_roll_takes_the_last_where_its_share_is_cheaper() -> None:
    roll = replace(LARGE, kind="roll", length=3000, price=10.0)
    sheet, fed = both = [window_of(s, ROLL) for s in (LARGE, roll)]
    made = _laid([sheet], both, boxes(5), task()).made
    assert [w for w, _ in made.filled] == [sheet, fed]
    assert rank_of(made, both).money == pytest.approx(
        10 + 10 * fed.used_length(made.filled[1][1]) / 3000
    )


def test_counted_stock_alone_that_leaves_pieces_over_is_not_taken() -> None:
    stocks = [LARGE, replace(SMALL, price=0.1, count=2)]
    layout = arrange(boxes(7), stocks, LIMITS, QUICK)
    assert not layout.findings
    assert sorted(s.stock.width for s in layout.sheets) == [200, 200, 400, 400]


def test_without_prices_the_fewest_sheets_of_the_least_material_are_taken() -> None:
    stocks = [replace(s, price=None) for s in (SMALL, LARGE)]
    layout = arrange(boxes(5), stocks, LIMITS, QUICK)
    assert sorted(s.stock.width for s in layout.sheets) == [200, 400]


def test_offcuts_go_first_in_every_way() -> None:
    offcut = replace(SMALL, kind="offcut", name="b7", count=1, price=None)
    layout = arrange(boxes(5), [LARGE, SMALL, offcut], LIMITS, QUICK)
    assert [s.stock.kind for s in layout.sheets] == ["offcut", "sheet"]
    assert price(layout.sheets) == 10


def test_the_least_that_a_way_may_come_to_is_no_more_than_it_does() -> None:
    roll = replace(LARGE, kind="roll", length=3000, price=10.0)
    offcut = replace(SMALL, kind="offcut", name="b7", count=1, price=None)
    for stocks in ([LARGE], [SMALL], [LARGE, SMALL], [roll], [roll, SMALL], [offcut, LARGE]):
        for copies in (boxes(1), boxes(9), leaves(20, 60)):
            there = windows(*stocks)
            made = lay_cheapest(there, copies, task(0.0))
            assert not made.waiting
            assert _least(there, there, copies) <= rank_of(made, there)


def test_fewer_pieces_left_then_less_money_then_fewer_sheets_then_less_material() -> None:
    ranks = [Rank(0, 3.0, 2, 5e4), Rank(0, 3.0, 2, 6e4), Rank(0, 3.0, 3, 1e4), Rank(0, 4.0, 1, 1e4)]
    assert sorted([*ranks[::-1], Rank(1, 0.0, 1, 1.0)]) == [*ranks, Rank(1, 0.0, 1, 1.0)]


def test_a_way_that_comes_cheaper_without_its_last_sheet_is_tried() -> None:
    patch = copy_of(piece("patch", rectangle(40, 40)))
    copies = [*boxes(3), patch]
    large, small = both = windows(LARGE, SMALL)
    dear = Filling([small], task(), copies)
    dear.filled = [
        (small, quick_fill(small, shapes_on(small, [c]), LIMITS.clearance).placed) for c in copies
    ]
    spread = Filling([large], task(4), copies)
    spread.filled = [
        (large, quick_fill(large, shapes_on(large, some), LIMITS.clearance).placed)
        for some in (copies[:3], [patch])
    ]
    tried = [_Laid(made.windows, made, rank_of(made, both)) for made in (dear, spread)]
    assert [t.rank.money for t in tried] == [12, 20]
    best = _with_saved_sheets(tried, both, task(4))
    assert best.rank == rank_of(spread, both)
    assert best.rank.money == 10


def test_many_sheets_are_not_laid_again_where_that_alone_takes_longer_than_is_left() -> None:
    both = windows(LARGE, SMALL)
    laid = _laid(both, both, boxes(5), task(0.0))
    assert len(laid.made.filled) == 2
    assert laid.made.overhead > laid.made.extra > 0
    for overhead, seconds, has in ((5.0, 4.0, False), (5.0, 60.0, True), (0.0, 0.0, False)):
        laid.made.overhead = overhead
        assert _has_time(task(seconds), laid) is has
    assert not _has_time(replace(task(60.0), first=True), laid)


def test_ctrl_c_ends_all_ways(monkeypatch: pytest.MonkeyPatch) -> None:
    searched = []

    def interrupted(*asked: Any) -> None:
        searched.append(asked[3])
        raise KeyboardInterrupt

    monkeypatch.setattr(strip, "find", interrupted)
    layout = arrange(leaves(40), [LARGE, SMALL], LIMITS, Asked(seconds=30))
    assert [f.code for f in layout.findings] == ["L408"]
    assert sum(len(s.placements) for s in layout.sheets) == 40
    assert len(searched) == 1
