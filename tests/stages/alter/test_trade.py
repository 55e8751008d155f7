"""A limb as the trade makes it, all rules of thumb at once (common practice, no source)."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line
from foamwright.job import Seam
from foamwright.job_pattern import SizeKeys
from foamwright.stages.alter import alter, draft, measure_neck, measure_seams
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, made, spec

INCH = 25.4
#: A sole 7 in long and 4 in wide, its heel at nought.
SOLE = Path.of(
    [
        Cubic(0j, 50 + 0j, 56 + 60j, 50 + 110j),
        Cubic(50 + 110j, 45 + 150j, 25 + 178j, 178j),
        Cubic(178j, -25 + 178j, -45 + 150j, -50 + 110j),
        Cubic(-50 + 110j, -56 + 60j, -50 + 0j, 0j),
    ],
    True,
)
LEG = {"bottom": ("1", "2"), "front": ("2", "3"), "back": ("4", "1")}


def seam(*joins: str, flat: bool = False) -> Seam:
    return Seam.model_validate({"name": "s", "joins": joins, "flat": flat}, context={"units": "mm"})


@pytest.mark.parametrize("inches", [12, 13.5, 15])
def test_a_leg_its_upper_and_its_sole(inches: float) -> None:
    """A shell 4 1/2 in round and 12 to 15 in long closes at 180 degrees; the upper is the sole's
    outline spread wider at the heel, and its opening as long as the shell's lower edge.
    """
    leg = piece("leg", rectangle(4.5 * INCH, inches * INCH))
    drawn = piece("upper", SOLE, [Path.circle(70j, 15)])
    upper = replace(drawn, points={"heel": 0j, "toe": 178j})
    keys = {
        "spread": ({"slit": ("heel", "toe"), "gap": 20},),
        "carry": ({"edge": "opening-1", "from": "leg.bottom"},),
    }
    pieces = {
        "leg": (leg, spec(name="leg", edges=LEG)),
        "upper": (upper, spec(name="upper", **keys)),
    }
    made_of, findings = draft(pieces, SizeKeys(), TOLERANCE)
    assert not [f.line() for f in findings if f.is_fault]
    seams = (seam("leg.front", "leg.back", flat=True), seam("leg.bottom", "upper.opening-1"))
    rows, wrong = measure_seams(seams, made_of)
    assert not wrong
    assert rows[0].corners is not None
    assert [sum(c) for c in rows[0].corners] == pytest.approx([180, 180])
    assert rows[1].lengths == pytest.approx((4.5 * INCH, 4.5 * INCH), abs=0.01)
    wider = made_of["upper"].pattern.outline.path
    assert _width(wider, 30) > _width(SOLE, 30) + 10
    assert wider.length > SOLE.length
    target, more = alter(made_of["upper"], TOLERANCE)
    assert not [f.line() for f in more if f.is_fault]
    assert target.openings[0].path.length == pytest.approx(4.5 * INCH, abs=0.01)


def _width(path: Path, up: float) -> float:
    """Across the outline, so far above its lowest place."""
    points = path.flatten(0.01)
    near = points[abs(points.imag - points.imag.min() - up) < 2]
    return float(near.real.max() - near.real.min())


def test_a_knee_is_cut_an_inch_deep_from_each_side() -> None:
    """Of a core 3 1/2 in wide an inch and a half is left at the knee: its narrowest neck."""
    core = piece("part", rectangle(3.5 * INCH, 13 * INCH))
    edges = {"inner": ("2", "3"), "outer": ("4", "1")}
    reliefs = [
        {"edge": e, "at": 6.5 * INCH, "depth": INCH, "width": INCH} for e in ("inner", "outer")
    ]
    target = made(core, edges=edges, relief=reliefs)
    row, findings = measure_neck(target, None, 0.5 * INCH)
    assert not findings
    assert row.width == pytest.approx(1.5 * INCH, abs=0.01)
    assert row.at == pytest.approx((1.75 * INCH, 6.5 * INCH), abs=1)
    assert isinstance(target.outline.segments[0], Line)
    assert math.isclose(target.outline.area, (3.5 * 13 - 1) * INCH**2, rel_tol=1e-9)
