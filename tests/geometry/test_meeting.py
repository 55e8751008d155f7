"""Runs that go on beyond their ends until they meet."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from foamwright.geometry.meeting import meeting
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line


def arc_of(radius: float, start: float, sweep: float) -> Arc:
    """About the origin, from an angle on, radians."""
    ends = (cmath.rect(radius, start), cmath.rect(radius, start + sweep))
    return Arc(*ends, math.tan(sweep / 4))


def test_two_lines_run_straight_on() -> None:
    met = meeting(Line(0, 8), Line(10 + 3j, 10 + 9j), 100)
    assert met == ((Line(0, 10),), (Line(10, 10 + 9j),))


@given(short=st.floats(0.05, 0.6), radius=st.floats(20, 200))
def test_an_arc_goes_on_along_its_circle(short: float, radius: float) -> None:
    """A quarter circle that stops short, and a line from the place where it would have ended."""
    quarter = arc_of(radius, -math.pi / 2, math.pi / 2 - short)
    met = meeting(quarter, Line(complex(radius - 1, 0), 0j), 10 * radius)
    assert met is not None
    (arc,), (line,) = met
    assert isinstance(arc, Arc)
    assert abs(arc.end - radius) < 1e-7
    assert abs(arc.centre) < 1e-6
    assert arc.sweep == pytest.approx(math.pi / 2, abs=1e-7)
    assert line.start == arc.end


def test_what_reaches_too_far_is_cut_off() -> None:
    """A line that crosses an arc of 50 mm at 30 degrees: 50 cos 30 from the middle."""
    met = meeting(Line(25j, 80 + 25j), arc_of(50, 0.0, math.pi / 2), 100)
    assert met is not None
    (line,), (arc,) = met
    assert line.end == pytest.approx(50 * math.cos(math.pi / 6) + 25j, abs=1e-9)
    assert isinstance(arc, Arc)
    assert arc.sweep == pytest.approx(math.pi / 3, abs=1e-9)


def test_a_cubic_goes_on_with_the_curvature_of_its_end() -> None:
    """A cubic that is nearly a quarter of a circle of 100 mm goes on nearly along it."""
    k = 400 / 3 * math.tan(math.pi / 8)
    quarter = Cubic(100 + 0j, complex(100, k), complex(k, 100), 100j)
    met = meeting(quarter, Line(complex(-30, 90), complex(-30, 0)), 300)
    assert met is not None
    (cubic, arc), (line,) = met
    assert cubic == quarter
    assert isinstance(arc, Arc)
    assert Path.of([cubic, arc, line], False).length > 0
    assert abs(arc.end) == pytest.approx(100, abs=0.3)
    head = meeting(quarter, Line(50 + 120j, 50 + 130j).reversed().reversed(), 300)
    assert head is not None
    assert len(head[0]) == 1
    assert head[0][0].end.real == pytest.approx(50, abs=1e-9)


def test_where_a_circle_curls_away_the_run_goes_straight() -> None:
    """A small arc that would come round without meeting the line."""
    met = meeting(arc_of(10, -math.pi / 2, math.pi / 4), Line(100 - 40j, 100 + 240j), 400)
    assert met is not None
    assert isinstance(met[0][-1], Line)
    assert met[0][-1].tangent(1.0) == pytest.approx(cmath.rect(1, math.pi / 4))


def test_parallel_lines_never_meet() -> None:
    assert meeting(Line(0, 10), Line(20 + 5j, 10 + 5j), 1000) is None
