"""Places and runs of a closed line, and that they survive its changes."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.contour import Contour, Strand, closed_up
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line

PLATE = Path.of(
    [
        Line(0, 80),
        Cubic(80, 110 + 10j, 110 + 40j, 80 + 50j),
        Arc(80 + 50j, 20 + 50j, 0.3),
        Line(20 + 50j, 0),
    ],
    closed=True,
)
POINTS = {"toe": 40 + 0j, "bulge": 102.5 + 25j, "top": 50 + 59j, "heel": 0.01 + 0j}

affine = st.builds(
    lambda turn, x, y, flip: Affine.rotation(turn) @ Affine.scaling(-x if flip else x, y),
    st.floats(-180, 180),
    st.floats(0.2, 5),
    st.floats(0.2, 5),
    st.booleans(),
)


def test_corners_are_numbered_and_points_lie_at_their_foot() -> None:
    made = Contour.of(PLATE, POINTS)
    assert [made.point(str(n)) for n in (1, 2, 3, 4)] == [0, 80, 80 + 50j, 20 + 50j]
    assert made.point("toe") == 40
    assert made.point("top") == pytest.approx(50 + 59j, abs=1e-6)
    assert made.places["heel"] == made.places["1"]
    assert made.path.length == pytest.approx(PLATE.length, abs=1e-8)
    assert made.path.corner_points() == PLATE.corner_points()


@settings(deadline=None, max_examples=60, derandomize=True)
@given(m=affine)
def test_places_follow_every_map(m: Affine) -> None:
    """Also an arc that a shear makes into several cubics, and a mirror image's other way round."""
    before = Contour.of(PLATE, POINTS)
    after = before.transformed(m)
    for name in before.places:
        assert after.point(name) == pytest.approx(m(before.point(name)), abs=1e-9)
    assert after.path.area > 0
    a, b = ("3", "2") if m.is_mirror else ("2", "3")
    assert after.between(a, b).length == pytest.approx(
        before.between("2", "3").transformed(m).length, abs=1e-6
    )


@settings(deadline=None, max_examples=60, derandomize=True)
@given(start=st.integers(0, 20), cuts=st.sets(st.integers(0, 6), min_size=1))
def test_cut_and_closed_up_is_the_same_line(start: int, cuts: set[int]) -> None:
    before = Contour.of(PLATE.starting_at(start % 4), POINTS)
    after = closed_up(before.cut_at(c % len(before.path.segments) for c in cuts))
    assert after.path.area == pytest.approx(before.path.area, abs=1e-9)
    assert len(after.path.corners) == 4
    for name in before.places:
        assert after.point(name) == before.point(name)


def test_a_run_may_pass_the_start_and_once_round_is_the_same_place_twice() -> None:
    made = Contour.of(PLATE, POINTS)
    assert made.between("4", "2").length == pytest.approx(abs(20 + 50j) + 80)
    assert made.between("2", "2").length == pytest.approx(PLATE.length)
    assert set(made.between("4", "2").places) == {"4", "1", "heel", "toe", "2"}


@settings(deadline=None, max_examples=60, derandomize=True)
@given(a=st.complex_numbers(max_magnitude=200), far=st.floats(1, 300), turn=st.floats(0, 6))
def test_a_spanned_run_keeps_its_shape(a: complex, far: float, turn: float) -> None:
    run = Contour.of(PLATE, POINTS).between("1", "3")
    b = a + cmath.rect(far, turn)
    moved = run.spanning(a, b)
    assert (moved.start, moved.end) == (a, b)
    grown = far / abs(run.end - run.start)
    assert moved.length == pytest.approx(run.length * grown, rel=1e-9)
    whole = [moved.path.segments[i].start for i in (0, moved.places["2"])]
    angle = cmath.phase((whole[1] - a) / (b - a))
    assert angle == pytest.approx(cmath.phase(80 / (80 + 50j)), abs=1e-6)


def test_a_run_whose_ends_fall_together_can_t_be_spanned() -> None:
    ring = Contour.of(Path.circle(0, 10), {"a": 10 + 0j})
    with pytest.raises(GeometryError):
        ring.between("a", "a").spanning(0, 5)


def test_a_reversed_run_keeps_its_places() -> None:
    run = Contour.of(PLATE, POINTS).between("1", "3")
    back = run.reversed()
    at = back.path.segments[back.places["2"]].start
    assert at == 80
    assert math.isclose(back.length, run.length)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(start=st.floats(0, 90), end=st.floats(0, 90))
def test_a_strand_cut_short_keeps_its_places_in_order(start: float, end: float) -> None:
    path = Path.of([Line(0, 100), Line(100, 100 + 100j), Line(100 + 100j, 100j)], closed=False)
    strand = Strand(path, {"a": 0, "b": 1, "c": 2, "d": 3})
    made = strand.shortened(start, end)
    assert made.length == pytest.approx(300 - start - end)
    assert made.start == pytest.approx(start)
    assert made.end == pytest.approx(end + 100j)
    assert made.places == {"a": 0, "b": 1, "c": 2, "d": 3}
    assert made.path.corners == {1, 2}
    past = strand.shortened(150, 0)
    assert past.places == {"a": 0, "b": 0, "c": 1, "d": 2}
    within = strand.shortened(120, 130)
    assert within.length == pytest.approx(50)
    assert within.places == {"a": 0, "b": 0, "c": 1, "d": 1}
    with pytest.raises(GeometryError):
        strand.shortened(150, 150)
