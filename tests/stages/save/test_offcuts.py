"""Offcuts: no larger rectangle is free, none meets a piece, none is told larger than it is."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.segments import Box
from foamwright.stages.save.offcuts import KEEP, LEAST, largest_free, offcuts

from .sheet_sample import sample

cells = st.integers(0, 12)
boxes = st.lists(
    st.builds(
        lambda x, y, w, h: (float(x), float(y), float(min(x + w, 12)), float(min(y + h, 12))),
        st.integers(0, 11),
        st.integers(0, 11),
        st.integers(1, 6),
        st.integers(1, 6),
    ),
    max_size=6,
)


def meets(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def area(box: Box | None) -> float:
    return 0.0 if box is None else (box[2] - box[0]) * (box[3] - box[1])


@settings(deadline=None, max_examples=40, derandomize=True)
@given(boxes)
def test_it_is_the_largest_of_all(taken: list[Box]) -> None:
    """Against every rectangle of the grid, one by one."""
    whole = (0.0, 0.0, 12.0, 12.0)
    found = largest_free(whole, taken)
    assert found is None or not any(meets(found, b) for b in taken)
    best = 0.0
    for x0, y0 in product(range(12), range(12)):
        for x1, y1 in product(range(x0 + 1, 13), range(y0 + 1, 13)):
            box = (float(x0), float(y0), float(x1), float(y1))
            if area(box) > best and not any(meets(box, b) for b in taken):
                best = area(box)
    assert area(found) == pytest.approx(best)


def test_a_sheet_s_offcuts_keep_off_its_pieces() -> None:
    for program in sample()[1]:
        sheet = program.sheet
        for x0, y0, x1, y1 in offcuts(sheet):
            assert min(x1 - x0, y1 - y0) >= LEAST
            assert 0 <= x0 < x1 <= sheet.width
            assert 0 <= y0 < y1 <= sheet.length
            for placed in sheet.placements:
                a, b, c, d = placed.piece.outline.bounds
                grown = (a - KEEP, b - KEEP, c + KEEP, d + KEEP)
                assert not meets((x0, y0, x1, y1), grown)
