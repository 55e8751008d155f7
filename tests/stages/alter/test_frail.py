"""Necks against the material, and notches beside their allowance."""

from __future__ import annotations

import pytest

from foamwright.geometry.path import Path
from foamwright.stages.alter import measure_neck, notch_depths
from tests.pieces import piece, rectangle, square
from tests.stages.alter.test_alter import drafts

EYED = piece("part", square(100), [Path.circle(50 + 8j, 5)])


def test_a_neck_thinner_than_the_material_is_warned_of() -> None:
    # common practice, no source: foam tears where it is narrower than thick
    row, (told,) = measure_neck(EYED, None, 12.0)
    assert (told.code, told.is_fault) == ("A363", False)
    assert row.width == pytest.approx(3, abs=0.02)
    assert "3.00 mm wide" in told.what
    assert "12.00 mm of the material's thickness" in told.what


@pytest.mark.parametrize(("least", "refused"), [(2.5, False), (3.02, False), (3.5, True)])
def test_a_stated_least_neck_is_held_to_the_stated_accuracy(least: float, refused: bool) -> None:
    row, findings = measure_neck(EYED, least, 12.0)
    assert [f.code for f in findings if f.is_fault] == ["A363"] * refused
    assert row.is_right is not refused


def test_no_neck_is_no_fault() -> None:
    row, findings = measure_neck(piece("part", rectangle(100, 20)), 50.0, 12.0)
    assert row.width is None
    assert not findings


def test_every_notch_that_is_cut_stands_beside_its_allowance() -> None:
    edges = {"low": ("1", "2"), "side": ("2", "3"), "bare": ("3", "4")}
    notch = [
        {"edge": "low", "at": 20, "depth": 4},
        {"edge": "side", "at": 20, "depth": 5},
        {"edge": "low", "at": 50, "shape": "mark"},
        {"edge": "bare", "at": 20},
    ]
    keys = {"allowance": {"default": 6, "side": 3, "bare": 0}, "edges": edges, "notch": notch}
    rows = notch_depths(drafts(piece("part", square(80)), **keys)[0])
    assert [(r.name, r.depth, r.allowance, r.is_right) for r in rows] == [
        ("notch-1", 4, 6, True),
        ("notch-2", 5, 3, False),
    ]
