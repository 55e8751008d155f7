"""One arc over a chord: distances against the circle's own, and the best arc against all others."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.fitting.arc import arc_length, balanced_arc, distance_to_arc, off_circle
from foamwright.geometry.segments import Arc

some = settings(max_examples=30, deadline=None, derandomize=True)
coordinates = st.integers(0, 4000).map(lambda v: v / 100)
points = st.builds(complex, coordinates, coordinates)


@some
@given(st.floats(-2, 2).filter(lambda w: abs(w) > 1e-7), points)
def test_the_signed_distance_to_a_circle(sweep: float, p: complex) -> None:
    arc = Arc(3 + 1j, 20 + 4j, math.tan(sweep / 4))
    half, middle = (arc.end - arc.start) / 2, (arc.end + arc.start) / 2
    off = off_circle(p, middle, half, arc.bulge)
    wanted = (abs(p - arc.centre) - arc.radius) * -math.copysign(1, sweep)
    assert off == pytest.approx(wanted, abs=1e-7 * max(1.0, arc.radius))
    if abs(sweep) > 1e-3:
        turns = np.exp(1j * sweep * np.linspace(0, 1, 20001))
        dense = arc.centre + (arc.start - arc.centre) * turns
        near = distance_to_arc(p, arc.start, arc.end, sweep)
        assert near >= np.abs(dense - p).min() - 1e-3
        if abs(off) < 1.0:
            assert near == pytest.approx(np.abs(dense - p).min(), abs=1e-3)
        assert arc_length(arc.end - arc.start, sweep) == pytest.approx(arc.length(), rel=1e-9)


@pytest.mark.parametrize("turn", [0.02, 0.5, 1.5, -1.5])
def test_no_other_arc_serves_a_stretch_better(turn: float) -> None:
    # a stretch of a clothoid-like curve: its bend grows along it
    t = np.linspace(0, 1, 400)
    way = np.exp(1j * turn * (t + 0.5 * t * t))
    curve = np.append(0, np.cumsum((way[1:] + way[:-1]) / 2)) * 10 / 399
    a, b = complex(curve[0]), complex(curve[-1])
    sweep, error = balanced_arc(curve[1:-1], 398, a, b)
    half, middle = (b - a) / 2, (a + b) / 2
    for other in np.linspace(sweep - 0.05, sweep + 0.05, 41):
        bulge = math.tan(other / 4)
        worst = max(abs(off_circle(complex(p), middle, half, bulge)) for p in curve[1:-1])
        assert worst >= error * 0.985
    assert cmath.isfinite(sweep)
