"""Bows: an edge's ends turn as asked, and its length is summed as it is drawn."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.contour import Strand
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.stages.alter.bow import Bow, Samples

EDGE = Strand(
    Path.of(
        [
            Line(0j, 40 + 0j),
            Arc(40 + 0j, 70 + 8j, 0.2),
            Cubic(70 + 8j, 80 + 12j, 90 + 4j, 100 + 0j),
        ],
        closed=False,
    ),
    {"a": 1, "b": 2},
)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(
    start=st.floats(-0.6, 0.6),
    end=st.floats(-0.6, 0.6),
    bulge=st.floats(-8, 8),
    by=st.floats(0.7, 1.4),
    turn=st.floats(-180, 180),
)
def test_a_bowed_edge_is_as_long_as_was_summed_and_turns_as_asked(
    start: float, end: float, bulge: float, by: float, turn: float
) -> None:
    factor = by * cmath.rect(1, math.radians(turn))
    edge = EDGE.spanning(5j, 5j + 100 * factor)
    bow = Bow(1j * factor / abs(factor), edge.length, start, end, bulge)
    made = bow.bent(edge)
    assert (made.start, made.end) == (edge.start, edge.end)
    assert made.length == pytest.approx(Samples.of(EDGE).length(bow, factor), abs=1e-3)
    for k, slope, t in ((0, start, 0.0), (-1, end, 1.0)):
        wanted = edge.path.segments[k].tangent(t) + slope * bow.across
        assert abs(cmath.phase(made.path.segments[k].tangent(t) / wanted)) < 1e-9
    assert [made.places[n] for n in "ab"] == sorted(made.places.values())
    assert made.path.corners == {made.places["a"], made.places["b"]}


def test_what_is_taken_back_leaves_least_squares() -> None:
    line = Strand(Path.polygon([0j, 100 + 0j], closed=False))

    def squares(bulge: float) -> float:
        points = Bow(1j, 100, 0.3, -0.1, bulge).bent(line).path.flatten(1e-3)
        at = [k / 2000 * 100 for k in range(2001)]
        import numpy as np

        return float((np.interp(at, points.real, points.imag) ** 2).sum())

    best = Bow(1j, 100, 0.3, -0.1).taken_back
    assert squares(best) < min(squares(best - 0.1), squares(best + 0.1), squares(0.0))


def test_a_straight_edge_bowed_by_the_cubic_alone_is_one_cubic() -> None:
    line = Strand(Path.polygon([0j, 100 + 0j], closed=False))
    made = Bow(1j, 100, 0.1, -0.1).bent(line)
    assert len(made.path.segments) == 1
    assert made.path.segments[0].point(0.5) == pytest.approx(50 + 2.5j)
