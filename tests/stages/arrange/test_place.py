"""Layout: rules of turning, clearance, several sheets, refusals, layouts used again."""

from __future__ import annotations

import math
import time
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import distance, region
from foamwright.model import Copy, Limits, Placement, Sheet, Stock
from foamwright.stages.arrange import Asked, arrange, kept, strip, told
from foamwright.stages.arrange.fill import units_of, worth_trying
from foamwright.stages.arrange.greedy import first_order
from foamwright.stages.arrange.outline import Shape, turned_corner, turned_size
from foamwright.stages.arrange.search import Found
from foamwright.stages.arrange.task import Progress, Task
from foamwright.stages.arrange.window import window_of
from tests.pieces import copy_of, piece, rectangle

LIMITS = Limits((400, 300), "flat", (5, 6, 7, 8), clearance=3, edge=1)
ROLL = replace(LIMITS, feed="roll")
SHEET = Stock("foam", "sheet", 400, 300)
QUICK = Asked(seconds=1, seed=1)


def leaf(name: str, size: float, turns: tuple[float, ...] = (0.0, 180.0)) -> Copy:
    outline = Path.polygon([0, size, size * (1.2 + 0.5j), size * (0.4 + 1.1j)])
    return copy_of(piece(name, outline), turns)


def leaves(count: int, size: float = 60) -> list[Copy]:
    return [leaf(f"leaf-{k}", size + k) for k in range(count)]


def assert_rules_kept(sheet: Sheet, limits: Limits) -> None:
    """With exact outlines, by shapely."""
    left, right, near, far = (m + limits.edge for m in limits.margins)
    for p in sheet.placements:
        x0, y0, x1, y1 = p.piece.outline.bounds
        assert x0 >= left - 0.01
        assert y0 >= near - 0.01
        assert x1 <= sheet.width - right + 0.01
        assert y1 <= sheet.length - far + 0.01
        assert p.rotation in p.copy.rotations
    shapes = [region(p.piece.outline) for p in sheet.placements]
    for a, b in combinations(shapes, 2):
        assert distance(a, b) >= limits.clearance - 0.01


@pytest.mark.parametrize("limits", [LIMITS, ROLL], ids=["flat", "roll"])
def test_a_layout_keeps_clearance_margins_and_turns(limits: Limits) -> None:
    layout = arrange(leaves(9), [replace(SHEET, kind="roll", length=3000)], limits, QUICK)
    assert sum(len(s.placements) for s in layout.sheets) == 9
    assert not [f for f in layout.findings if f.code == "L402"]
    for sheet in layout.sheets:
        assert_rules_kept(sheet, limits)


def test_more_pieces_than_one_sheet_bears_take_several() -> None:
    layout = arrange(leaves(30), [SHEET], LIMITS, QUICK)
    assert len(layout.sheets) > 1
    names = [p.copy.name for s in layout.sheets for p in s.placements]
    assert sorted(names) == sorted(c.name for c in leaves(30))
    area = sum(c.piece.outline.area for c in leaves(30))
    least = math.ceil(area / (400 * 300))
    assert least <= len(layout.sheets) <= 2 * least
    for sheet in layout.sheets:
        assert_rules_kept(sheet, LIMITS)


def test_one_way_nap_turns_nothing() -> None:
    layout = arrange([leaf(f"l{k}", 50, (0.0,)) for k in range(6)], [SHEET], LIMITS, QUICK)
    assert {p.rotation for s in layout.sheets for p in s.placements} == {0.0}


def test_a_piece_that_fits_only_when_turned_is_turned() -> None:
    long = copy_of(piece("long", rectangle(280, 350)), (0.0, 90.0))
    layout = arrange([long], [SHEET], LIMITS, QUICK)
    assert layout.sheets[0].placements[0].rotation == 90.0
    assert_rules_kept(layout.sheets[0], LIMITS)


def test_a_piece_as_wide_as_the_usable_stock_is_placed() -> None:
    across = 400 - 5 - 6 - 2
    layout = arrange([copy_of(piece("strip", rectangle(across, 40)))], [SHEET], LIMITS, QUICK)
    assert_rules_kept(layout.sheets[0], LIMITS)


def test_a_piece_that_fits_no_stock_is_refused_with_both_sizes() -> None:
    layout = arrange([copy_of(piece("mat", rectangle(500, 350)))], [SHEET], LIMITS, QUICK)
    (found,) = layout.findings
    assert found.code == "L401"
    assert found.is_fault
    assert found.piece == "mat/drawn/1"
    assert "500.0 x 350.0" in found.what
    assert "387.0 x 283.0" in found.what
    assert "[[piece.split]]" in found.mend


def test_a_piece_that_the_stock_bears_but_the_machine_does_not_is_told_so() -> None:
    wide = replace(SHEET, width=900, length=900)
    limits = replace(LIMITS, reach=(400.0, 300.0))
    (found,) = arrange([copy_of(piece("mat", rectangle(500, 350)))], [wide], limits, QUICK).findings
    assert (found.code, found.is_fault) == ("L401", True)
    assert "give another machine" in found.mend
    assert "larger [[stock]]" not in found.mend


def test_a_second_stock_takes_what_the_first_can_not_bear() -> None:
    small, large = replace(SHEET, width=120, length=120), SHEET
    copies = [leaf("small", 60), copy_of(piece("large", rectangle(380, 280)))]
    layout = arrange(copies, [small, large], LIMITS, QUICK)
    assert sorted(s.stock.width for s in layout.sheets) == [120, 400]


def test_the_fewest_sheets_are_taken() -> None:
    small, large = replace(SHEET, width=120, length=120), SHEET
    layout = arrange(leaves(4, 50), [small, large], LIMITS, QUICK)
    assert [s.stock for s in layout.sheets] == [large]
    layout = arrange(leaves(1, 50), [large, small], LIMITS, QUICK)
    assert [s.stock for s in layout.sheets] == [small]


def test_of_priced_stock_the_cheapest_is_taken() -> None:
    small = replace(SHEET, width=120, length=120, price=1.0)
    copies = leaves(4, 50)
    for price, widths in ((1.5, [400]), (100.0, [120, 120])):
        layout = arrange(copies, [replace(SHEET, price=price), small], LIMITS, QUICK)
        assert [s.stock.width for s in layout.sheets] == widths
        assert sum(s.price or 0 for s in layout.sheets) == min(price, 2.0)


def test_an_offcut_goes_first_and_is_there_once() -> None:
    offcut = replace(SHEET, kind="offcut", width=130, length=130, name="b7", count=1)
    layout = arrange(leaves(5, 60), [SHEET, offcut], LIMITS, QUICK)
    assert [s.stock.kind for s in layout.sheets] == ["offcut", "sheet"]


def test_a_roll_s_price_is_that_of_the_length_used_over_its_whole_width() -> None:
    stock = replace(SHEET, kind="roll", width=900, length=3000, price=60.0)
    (sheet,) = arrange(leaves(3), [stock], ROLL, QUICK).sheets
    assert sheet.width == 400
    assert sheet.price == pytest.approx(60 * sheet.length / 3000)


def test_more_pieces_than_counted_stock_are_refused() -> None:
    layout = arrange(leaves(40, 80), [replace(SHEET, count=1)], LIMITS, QUICK)
    assert [f.code for f in layout.findings] == ["L403"]
    assert len(layout.sheets) == 1


def test_stock_beyond_the_reach_is_cut_down_with_a_note() -> None:
    layout = arrange(leaves(1), [replace(SHEET, width=900, length=900)], LIMITS, QUICK)
    assert [f.code for f in layout.findings] == ["L404"]
    assert (layout.sheets[0].width, layout.sheets[0].length) == (400, 300)


def test_a_roll_wider_than_the_reach_is_slit_first() -> None:
    wide = replace(SHEET, kind="roll", width=900, length=3000, price=30.0)
    layout = arrange(leaves(1), [wide], ROLL, QUICK)
    (told,) = layout.findings
    assert (told.code, told.is_fault) == ("L404", False)
    assert "slit the 900 x 3000 mm roll" in told.what
    refused = arrange(leaves(1), [replace(wide, trim=False)], ROLL, QUICK)
    assert [(f.code, f.is_fault) for f in refused.findings] == [("L404", True)]


def test_no_search_is_asked_for_and_there_is_a_layout_at_once() -> None:
    layout = arrange(leaves(5), [SHEET], LIMITS, Asked(seconds=0, first=True))
    assert_rules_kept(layout.sheets[0], LIMITS)


def test_a_search_without_time_is_refused() -> None:
    layout = arrange(leaves(5), [SHEET], LIMITS, Asked(seconds=0))
    assert [(f.code, f.is_fault) for f in layout.findings] == [("L409", True)]
    assert not layout.sheets


def test_one_piece_needs_no_search() -> None:
    layout = arrange(leaves(1), [SHEET], LIMITS, Asked(seconds=0))
    assert not layout.findings


def test_a_failed_search_falls_back_to_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(strip, "find", lambda *_: None)
    layout = arrange(leaves(9), [SHEET], LIMITS, QUICK)
    assert "L402" in [f.code for f in layout.findings]
    assert sum(len(s.placements) for s in layout.sheets) == 9
    for sheet in layout.sheets:
        assert_rules_kept(sheet, LIMITS)


def test_a_wrong_layout_does_not_take_those_before_with_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def wrong_at_last(*asked: Any) -> None:
        asked[-1](Found(((0, 0.0, 10.0, 10.0), (1, 0.0, 120.0, 10.0)), 200.0, 0.4))
        asked[-1](Found(((0, 0.0, 10.0, 10.0), (1, 0.0, 90.0, 10.0)), 170.0, 0.5))
        asked[-1](Found(((0, 0.0, 10.0, 10.0), (1, 0.0, 11.0, 10.0)), 80.0, 1.0))

    monkeypatch.setattr(strip, "find", wrong_at_last)
    layout = arrange(leaves(2), [SHEET], LIMITS, QUICK)
    assert not layout.findings
    assert_rules_kept(layout.sheets[0], LIMITS)


def test_a_search_that_breaks_the_clearance_is_not_believed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def overlapping(*asked: Any) -> None:
        asked[-1](Found(((0, 0.0, 10.0, 10.0), (1, 0.0, 11.0, 10.0)), 80.0, 1.0))

    monkeypatch.setattr(strip, "find", overlapping)
    layout = arrange(leaves(2), [SHEET], LIMITS, QUICK)
    assert [f.code for f in layout.findings] == ["L402"]
    assert_rules_kept(layout.sheets[0], LIMITS)


def test_a_best_layout_that_breaks_a_rule_gives_way_to_the_next_and_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real = strip.find

    def wrong_at_last(*asked: Any) -> None:
        found = real(*asked)
        assert found is not None
        one_place = tuple((i, turn, 10.0, 10.0) for i, turn, _, _ in found.places)
        asked[-1](replace(found, places=one_place, length=100.0))

    monkeypatch.setattr(strip, "find", wrong_at_last)
    layout = arrange(leaves(20), [replace(SHEET, kind="roll", length=3000)], ROLL, QUICK)
    (told,) = layout.findings
    assert (told.code, told.is_fault) == ("L416", False)
    assert "the next best was taken: leaf-" in told.what
    assert len(layout.sheets[0].placements) == 20
    assert_rules_kept(layout.sheets[0], ROLL)


def test_a_clearance_wider_than_pieces_is_told_and_kept() -> None:
    limits = replace(ROLL, clearance=50)
    layout = arrange(leaves(9, 10), [replace(SHEET, kind="roll", length=3000)], limits, QUICK)
    (told,) = layout.findings
    assert told.code == "L402"
    assert "a clearance of 50 mm, wider than pieces are" in told.what
    assert len(layout.sheets[0].placements) == 9
    assert_rules_kept(layout.sheets[0], limits)


def test_a_layout_of_many_that_takes_longer_than_it_was_given_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(Task, "spent", 9.0)
    many = [leaf(f"l{k}", 10 + k / 50) for k in range(told.MANY)]
    for copies, seconds, codes in ((many, 5, ["L417"]), (many, 8, []), (many[1:], 5, [])):
        layout = arrange(copies, [SHEET], LIMITS, Asked(seconds, first=False))
        assert [f.code for f in layout.findings] == codes


def test_a_kept_layout_is_used_again_and_gives_the_same_sheets() -> None:
    first = arrange(leaves(9), [SHEET], LIMITS, QUICK)
    text = kept.to_text({first.key: first.sheets})
    again = arrange(leaves(9), [SHEET], LIMITS, QUICK, kept=kept.from_text(text)[first.key])
    assert again.reused
    assert again.sheets == first.sheets


def test_a_kept_layout_of_other_pieces_stock_or_rules_has_another_key() -> None:
    keys = {
        kept.layout_key(leaves(3), [SHEET], LIMITS, False),
        kept.layout_key(leaves(4), [SHEET], LIMITS, False),
        kept.layout_key(leaves(3, 61), [SHEET], LIMITS, False),
        kept.layout_key(leaves(3), [replace(SHEET, width=399)], LIMITS, False),
        kept.layout_key(leaves(3), [SHEET], replace(LIMITS, clearance=4), False),
        kept.layout_key(leaves(3), [SHEET], LIMITS, True),
    }
    assert len(keys) == 6


def test_a_kept_layout_that_was_edited_into_an_overlap_is_not_used() -> None:
    first = arrange(leaves(2), [SHEET], LIMITS, QUICK)
    group = kept.from_text(kept.to_text({first.key: first.sheets}))[first.key]
    group[0]["pieces"][1][2:] = group[0]["pieces"][0][2:]
    again = arrange(leaves(2), [SHEET], LIMITS, QUICK, kept=group)
    assert not again.reused
    assert_rules_kept(again.sheets[0], LIMITS)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"schema": 2, "layouts": {}}', "null"])
def test_a_broken_layout_file_is_no_layout(text: str) -> None:
    assert kept.from_text(text) == {}


def test_what_the_first_counted_stock_has_no_room_for_goes_on_the_next() -> None:
    large, small = replace(SHEET, count=1), replace(SHEET, width=150, length=150)
    layout = arrange(leaves(14, 100), [small, large], LIMITS, QUICK)
    assert not layout.findings
    assert [s.stock.width for s in layout.sheets].count(400) == 1
    assert len(layout.sheets) > 1
    names = [p.copy.name for s in layout.sheets for p in s.placements]
    assert sorted(names) == sorted(c.name for c in leaves(14, 100))


def test_pieces_beyond_all_counted_stocks_are_told_once_with_every_stock() -> None:
    small = replace(SHEET, width=150, length=150, count=1)
    layout = arrange(leaves(4, 100), [small, replace(small, width=160)], LIMITS, QUICK)
    assert [f.code for f in layout.findings] == ["L403"]
    assert "1 of 150 x 150 mm and the 1 of 160 x 150 mm" in layout.findings[0].what
    left = {c.name for c in leaves(4, 100)}
    left -= {p.copy.name for s in layout.sheets for p in s.placements}
    assert len(left) == 2
    assert all(name in layout.findings[0].what for name in left)


@pytest.mark.parametrize("place", [math.nan, math.inf])
def test_a_kept_layout_with_a_place_that_is_no_number_is_not_used(place: float) -> None:
    first = arrange(leaves(2), [SHEET], LIMITS, QUICK)
    group = kept.from_text(kept.to_text({first.key: first.sheets}))[first.key]
    group[0]["pieces"][0][2] = place
    assert not arrange(leaves(2), [SHEET], LIMITS, QUICK, kept=group).reused


def test_a_kept_layout_of_more_sheets_than_the_stock_counts_is_not_used() -> None:
    stock = replace(SHEET, count=1)
    first = arrange(leaves(2), [stock], LIMITS, QUICK)
    group = kept.from_text(kept.to_text({first.key: first.sheets}))[first.key]
    parted = [{**group[0], "pieces": [p]} for p in group[0]["pieces"]]
    assert not arrange(leaves(2), [stock], LIMITS, QUICK, kept=parted).reused


def test_a_search_that_is_stopped_by_hand_keeps_its_best(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first layout of the search is dense, and then someone presses Ctrl-C."""
    real = strip.find

    def interrupted(*asked: Any) -> None:
        better = asked[-1]
        real(*asked[:-1], lambda found: better(found) and False)
        raise KeyboardInterrupt

    monkeypatch.setattr(strip, "find", interrupted)
    layout = arrange(leaves(60), [replace(SHEET, kind="roll", length=3000)], ROLL, QUICK)
    (told,) = layout.findings
    assert (told.code, told.is_fault) == ("L408", False)
    assert sum(len(s.placements) for s in layout.sheets) == 60
    for sheet in layout.sheets:
        assert_rules_kept(sheet, ROLL)


def test_a_job_stopped_by_hand_searches_no_further_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    searched = []

    def interrupted(*asked: Any) -> None:
        searched.append(asked[3])
        raise KeyboardInterrupt

    monkeypatch.setattr(strip, "find", interrupted)
    layout = arrange(leaves(40), [SHEET], LIMITS, Asked(seconds=30))
    assert len(layout.sheets) > 1
    assert len(searched) == 1


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0, 360.0, 33.0])
def test_a_turned_size_is_that_of_the_turned_outline(turn: float) -> None:
    made = leaf("l", 50)
    box = made.piece.outline.transformed(Affine.rotation(turn)).bounds
    assert turned_size(made, turn) == pytest.approx((box[2] - box[0], box[3] - box[1]))
    assert turned_corner(made, turn) == pytest.approx(complex(box[0], box[1]))


def test_many_pieces_are_tried_on_a_window_as_far_as_it_may_bear_them() -> None:
    window = window_of(SHEET, LIMITS)
    few = first_order(units_of([Shape(c, (0.0,)) for c in leaves(12)]))
    assert worth_trying(few, window) == few
    many = first_order(units_of([Shape(leaf(f"l{k}", 40 + k / 50), (0.0,)) for k in range(900)]))
    tried = worth_trying(many, window)
    largest = tried[: -strip.MOST_IN_GAPS]
    assert largest == many[: len(largest)]
    bears = window.across * window.along
    assert sum(s.area for (s,) in largest) > bears > sum(s.area for (s,) in largest) / 2
    others = tried[len(largest) :]
    sizes = [s.area for (s,) in others]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] < 1.1 * many[-1][0].area


def test_small_pieces_are_laid_where_the_largest_find_no_room() -> None:
    hook = Path.polygon([0, 390, 390 + 50j, 50 + 50j, 50 + 290j, 290j])
    odd = Stock("foam", "offcut", 390, 290, 1, "left", hook)
    wide = [copy_of(piece(f"wide-{k}", rectangle(200, 100))) for k in range(200)]
    small = [copy_of(piece(f"small-{k}", rectangle(30, 20))) for k in range(3)]
    layout = arrange([*wide, *small], [odd, replace(SHEET, count=1)], LIMITS, QUICK)
    on_odd = [p.copy.of for s in layout.sheets if s.stock == odd for p in s.placements]
    assert sorted(on_odd) == ["small-0", "small-1", "small-2"]


def test_layouts_that_come_too_fast_are_not_all_told() -> None:
    told: list[Progress] = []
    task = Task(3, 5, 1, told.append)
    laid: list[int] = []

    def lie() -> list[Placement]:
        laid.append(1)
        time.sleep(0.05)
        return [Placement(leaf("one", 60), 0, 10, 10)]

    for _ in range(5):
        task.told(window_of(SHEET, LIMITS), lie)
    assert (len(told), len(laid)) == (1, 1)
    task.quiet_until = 0.0
    task.told(window_of(SHEET, LIMITS), lie)
    assert (len(told), len(laid)) == (2, 2)
