"""Affine maps: composition, inverse, and what they do to circles."""

from __future__ import annotations

import cmath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import IDENTITY, Affine

numbers = st.floats(-50, 50, allow_nan=False)
maps = st.builds(Affine, numbers, numbers, numbers, numbers, numbers, numbers)
points = st.builds(complex, numbers, numbers)
some = settings(max_examples=80, deadline=None, derandomize=True)


@some
@given(maps, maps, points)
def test_a_product_does_the_right_hand_map_first(m: Affine, n: Affine, p: complex) -> None:
    assert (m @ n)(p) == pytest.approx(m(n(p)), abs=1e-7)
    assert (m @ n).determinant == pytest.approx(m.determinant * n.determinant, abs=1e-5)
    assert (m @ IDENTITY)(p) == m(p)


@some
@given(maps.filter(lambda m: abs(m.determinant) > 0.1), points)
def test_an_inverse_undoes(m: Affine, p: complex) -> None:
    assert m.inverse()(m(p)) == pytest.approx(p, abs=1e-6)


def test_a_flattening_map_has_no_inverse() -> None:
    with pytest.raises(ZeroDivisionError):
        Affine(1, 2, 2, 4).inverse()


@some
@given(st.floats(-720, 720), st.floats(0.01, 50), points, st.booleans())
def test_turns_scales_and_mirrors_are_similarities(
    degrees: float, size: float, shift: complex, mirrored: bool
) -> None:
    m = Affine.translation(shift) @ Affine.rotation(degrees) @ Affine.scaling(size)
    m = m @ Affine.mirror_x() if mirrored else m
    assert m.is_similarity
    assert m.is_mirror == mirrored
    assert abs(m.vector(3 + 4j)) == pytest.approx(5 * size)
    assert not (m @ Affine.scaling(1.0, 1.001)).is_similarity


@pytest.mark.parametrize(
    ("degrees", "turn"), [(0, 1), (90, 1j), (180, -1), (270, -1j), (-90, -1j), (360, 1), (450, 1j)]
)
def test_quarter_turns_are_exact(degrees: float, turn: complex) -> None:
    assert Affine.rotation(degrees)(3 + 2j) == (3 + 2j) * turn


def test_other_turns_go_counter_clockwise() -> None:
    assert Affine.rotation(30)(2 + 0j) == pytest.approx(cmath.rect(2, cmath.pi / 6))
    assert Affine.mirror_x()(3 + 2j) == -3 + 2j
