"""Turns that a material's rules and a piece's own allow together; boxes of zones."""

from __future__ import annotations

import pytest

from foamwright.arrow_rules import Arrows
from foamwright.job_stock import LayKeys
from foamwright.laying import box_zone, turning_for
from foamwright.profile_models import MaterialProfile


def material(**keys: object) -> MaterialProfile:
    return MaterialProfile.model_validate(
        {
            "name": "stuff",
            "composition": ["polyester"],
            "composition_basis": "label",
            "thickness": "2 mm",
            "stock": [{"kind": "sheet", "width": "500 mm", "length": "400 mm"}],
            "cut": [{"method": "laser", "kerf": "0.2 mm"}],
            **keys,
        }
    )


def turns(keys: dict[str, object], lay: dict[str, object], grain: float | None = None) -> object:
    found = turning_for(material(**keys), Arrows(grain), LayKeys.model_validate(lay))
    return "free" if found.free else found.rotations


@pytest.mark.parametrize(
    ("keys", "lay", "grain", "due"),
    [
        ({}, {}, None, (0, 90, 180, 270)),
        ({"turns": [0, 45]}, {}, None, (0, 45)),
        ({"turns": "free"}, {}, None, "free"),
        ({}, {"turns": "free"}, None, "free"),
        ({}, {"angle": 30}, None, (30,)),
        ({"turns": "free"}, {"angle": 30}, None, (30,)),
        ({"turns": [0, 45]}, {"turns": [45, 90]}, None, (45,)),
        ({"turns": [0, 45]}, {"turns": "free"}, None, (0, 45)),
        ({"nap": "one-way"}, {}, None, (0,)),
        ({"nap": "one-way"}, {"turns": "free"}, None, (0,)),
        ({"nap": "one-way"}, {"angle": 180}, None, ()),
        ({"nap": "one-way"}, {}, 60.0, (30,)),
        ({"nap": "one-way", "turns": "free"}, {}, None, (0,)),
        ({"stretch": "across"}, {}, None, (0, 180)),
        ({"stretch": "across"}, {"turns": [180, 90]}, None, (180,)),
        ({"stretch": "across"}, {"turns": [90]}, None, ()),
        ({}, {}, 90.0, (0, 180)),
        ({}, {"angle": 0}, 60.0, (30,)),
    ],
)
def test_the_turns_are_those_that_both_allow(
    keys: dict[str, object], lay: dict[str, object], grain: float | None, due: object
) -> None:
    assert turns(keys, lay, grain) == due


def test_a_box_s_corners_may_come_either_way_round() -> None:
    assert box_zone((30 + 5j, 10 + 25j)).outline.bounds == (10, 5, 30, 25)
    assert box_zone((30 + 5j, 10 + 25j)).outline.area == pytest.approx(400)
