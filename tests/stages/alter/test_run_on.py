"""An inset beside curves: its corners lie on them, whichever way they bend."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.contour import Contour
from foamwright.geometry.path import Path
from foamwright.geometry.region import area, common, polygon, region
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.stages.alter.allowance import inset


@settings(deadline=None, max_examples=60, derandomize=True)
@given(
    top=st.floats(-0.4, 0.4).filter(lambda b: abs(b) > 0.01),
    bottom=st.floats(-0.4, 0.4).filter(lambda b: abs(b) > 0.01),
    taken=st.floats(1, 20),
)
def test_sides_run_on_to_curved_ends(top: float, bottom: float, taken: float) -> None:
    """What is left is the outline's part between two uprights."""
    outline = Path.of(
        [
            Arc(0j, 100 + 0j, bottom),
            Line(100 + 0j, 100 + 200j),
            Arc(100 + 200j, 200j, top),
            Line(200j, 0j),
        ],
        closed=True,
    )
    made = inset(Contour.of(outline, {}), [0, -0.0 + taken, 0, taken], 0.002)
    band = polygon(
        [
            complex(taken, -99),
            complex(100 - taken, -99),
            complex(100 - taken, 299),
            complex(taken, 299),
        ]
    )
    assert made.path.area == pytest.approx(area(common(region(outline, (), 1e-4), band)), abs=0.1)
    assert len(made.path.segments) == 4
    xs = [made.point(n).real for n in "1234"]
    assert xs == pytest.approx([taken, 100 - taken, 100 - taken, taken], abs=1e-6)


def test_a_side_runs_on_to_a_cubic() -> None:
    hollow = Cubic(100 + 200j, 70 + 160j, 30 + 160j, 200j)
    outline = Path.of(
        [Line(0j, 100 + 0j), Line(100 + 0j, 100 + 200j), hollow, Line(200j, 0j)], True
    )
    made = inset(Contour.of(outline, {}), [0, 10, 0, 10], 0.002)
    band = polygon([10 - 9j, 90 - 9j, 90 + 299j, 10 + 299j])
    assert made.path.area == pytest.approx(area(common(region(outline, (), 1e-4), band)), abs=0.3)
    assert made.point("3").real == pytest.approx(90)
    assert abs(made.point("3") - hollow.point(0.14)) < 5
