"""Shapes laid on one another: congruent by moving and turning, or by turning over too."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.congruence import off_congruence
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line

FINE = 0.002
#: No two sides alike, with an arc and a curve; an opening off its middle.
FOOT = Path.of(
    [
        Cubic(0j, 30 - 20j, 60 + 25j, 100 + 0j),
        Line(100 + 0j, 100 + 40j),
        Arc(100 + 40j, 30 + 80j, 0.3),
        Line(30 + 80j, 0j),
    ],
    True,
)
EYE = Path.circle(40 + 20j, 8)

turns = st.floats(-180, 180)
shifts = st.complex_numbers(max_magnitude=1000)


@settings(max_examples=15, deadline=None)
@given(turn=turns, shift=shifts, joint=st.integers(0, 3))
def test_a_mirror_image_is_congruent_by_reflection_only(
    turn: float, shift: complex, joint: int
) -> None:
    m = Affine.translation(shift) @ Affine.rotation(turn) @ Affine.mirror_x()
    image = [FOOT.starting_at(joint).transformed(m), EYE.transformed(m)]
    assert off_congruence([FOOT, EYE], image, True, FINE) < FINE
    assert off_congruence([FOOT, EYE], image, False, FINE) > 5


@settings(max_examples=15, deadline=None)
@given(turn=turns, shift=shifts, t=st.floats(0.1, 0.9))
def test_a_turned_shape_is_congruent_by_turning_only(turn: float, shift: complex, t: float) -> None:
    """Begun anywhere: neither its joints nor its steps stand where the other's stand."""
    m = Affine.translation(shift) @ Affine.rotation(turn)
    other = [FOOT.starting_in(2, t).transformed(m), EYE.transformed(m)]
    assert off_congruence([FOOT, EYE], other, False, FINE) < 2 * FINE
    assert off_congruence([FOOT, EYE], other, True, FINE) > 5


def test_a_size_is_no_turn() -> None:
    """A disc of 51 mm beside one of 50: 1 mm apart all round, once their middles meet."""
    small, large = Path.circle(0j, 50), Path.circle(3 + 8j, 51)
    assert off_congruence([small], [large], False, FINE) == pytest.approx(1, abs=2 * FINE)


def test_openings_say_which_way_round_a_square_lies() -> None:
    square = Path.polygon([0, 100, 100 + 100j, 100j])
    hole = Path.circle(20 + 30j, 5)
    there = [p.transformed(Affine.rotation(90)) for p in (square, hole)]
    assert off_congruence([square, hole], there, False, FINE) < FINE
    # turned over, its hole goes to a place at 30 and 20 from a corner: 10 mm off both ways
    over = off_congruence([square, hole], there, True, FINE)
    assert over == pytest.approx(10 * math.sqrt(2), abs=0.01)


def test_a_round_piece_is_turned_by_its_opening() -> None:
    """No turn of a circle is better than another but for what is cut in it."""
    disc, hole = Path.circle(0j, 50), Path.circle(20 + 30j, 5)
    there = [p.transformed(Affine.rotation(70)) for p in (disc, hole)]
    assert off_congruence([disc, hole], there, False, FINE) < 2 * FINE


def test_unlike_numbers_of_openings_are_never_alike() -> None:
    assert off_congruence([FOOT, EYE], [FOOT], False, FINE) == math.inf
