"""A bridge goes on from both its ends."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.bridge import bridge
from foamwright.geometry.path import turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line


@settings(deadline=None, max_examples=60, derandomize=True)
@given(first=st.floats(-70, 70), second=st.floats(-70, 70), turn=st.floats(-180, 180))
def test_it_is_smooth_at_both_ends_and_near_its_chord(
    first: float, second: float, turn: float
) -> None:
    chord = 10 * cmath.rect(1, math.radians(turn))
    ways = (chord / cmath.rect(1, math.radians(first)), chord * cmath.rect(1, math.radians(second)))
    made = bridge(3j, ways[0], 3j + chord, ways[1])
    assert made.point(0.0) == 3j
    assert made.point(1.0) == 3j + chord
    assert abs(turn_degrees(ways[0], made.tangent(0.0))) < 1e-6
    assert abs(turn_degrees(made.tangent(1.0), ways[1])) < 1e-6
    assert 10 - 1e-9 <= made.length() < 15


def test_symmetric_ends_are_an_arc_and_a_straight_way_is_a_line() -> None:
    arc = bridge(0j, 1 - 1j, 10 + 0j, 1 + 1j)
    assert isinstance(arc, Arc)
    assert arc.sweep == pytest.approx(math.pi / 2)
    assert isinstance(bridge(0j, 1 + 0j, 10 + 0j, 2 + 0j), Line)
    assert isinstance(bridge(0j, 1 - 1j, 10 + 0j, 1 - 1j), Cubic)


def test_ends_that_lead_away_are_joined_straight() -> None:
    assert isinstance(bridge(0j, -1 + 0j, 10 + 0j, 1 + 0j), Line)
