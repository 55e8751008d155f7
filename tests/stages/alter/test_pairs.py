"""Pairs measured on altered outlines."""

from __future__ import annotations

import pytest

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.model import Piece
from foamwright.stages.alter import measure_pair
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import made

LEFT = piece(
    "part", Path.polygon([0, 70, 95 + 30j, 60 + 80j, 10 + 75j]), [Path.circle(40 + 30j, 6)]
)
KEYS = {
    "allowance": {"default": 6},
    "edges": {"sole": ("1", "2")},
    "notch": [{"edge": "sole", "at": 20}],
}


def altered(part: Piece = LEFT) -> Piece:
    return made(part, **KEYS)


def test_a_left_and_a_right_are_a_pair_and_not_alike() -> None:
    left = altered()
    right = left.transformed(Affine.rotation(33) @ Affine.mirror_x())
    row, findings = measure_pair("a", left, "b", right)
    assert not findings
    assert row.mirrored_off < 0.005
    assert row.turned_off > 3
    assert row.is_pair
    assert not row.is_even


def test_two_of_one_hand_are_refused_with_both_distances() -> None:
    left = altered()
    row, (told,) = measure_pair("a", left, "b", left.transformed(Affine.rotation(120)))
    assert told.code == "A362"
    assert told.is_fault
    assert "two of one hand" in told.what
    assert f"{row.turned_off:.2f} mm not turned over" in told.what


def test_a_pair_drawn_by_hand_is_off_by_what_the_hand_missed() -> None:
    """One corner of the right is 0.4 mm out."""
    points = [0, -70, -95 + 30j, -60 + 80.4j, -10 + 75j]
    right = piece("part", Path.polygon(points), [Path.circle(-40 + 30j, 6)])
    row, (told,) = measure_pair("a", LEFT, "b", right)
    assert 0.1 < row.mirrored_off <= 0.4
    assert f"{row.mirrored_off:.2f} mm apart at best" in told.what


def test_a_notch_on_the_wrong_side_makes_no_pair() -> None:
    plain = piece("part", rectangle(60, 40))
    keys = {"allowance": {"default": 6}, "edges": {"low": ("1", "2")}}
    left, same = (made(plain, **keys, notch=[{"edge": "low", "at": at}]) for at in (20, 20))
    row, findings = measure_pair("a", left, "b", same)
    assert [f.code for f in findings] == ["A362"]
    other = made(plain, **keys, notch=[{"edge": "low", "at": 40}])
    assert measure_pair("a", left, "b", other)[0].is_pair
    assert row.mirrored_off == pytest.approx(4, abs=1.5)


def test_an_even_piece_is_a_left_and_a_right() -> None:
    even = piece("part", rectangle(60, 40))
    row, findings = measure_pair("a", even, "b", even)
    assert not findings
    assert row.is_even
