"""The trailing tip against the tractrix's closed form and a general integrator (scipy)."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from foamwright.geometry import region
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.stages.verify.blade import driven_by_controller, tip_trace


@pytest.mark.parametrize(("s", "y"), [(0.5, 0.3240), (1.0, 0.1329), (2.0, 0.0183)])
def test_a_straight_pull_is_the_tractrix(s: float, y: float) -> None:
    """x = s - e tanh(s / e), y = e sech(s / e): any text on plane curves."""
    e = 0.5
    tips, heading = tip_trace(Path.polygon([0, s], closed=False), e, -1j, 5e-4)
    end = complex(tips[-1])
    assert end.imag == pytest.approx(y, abs=5e-5)
    assert end.imag == pytest.approx(e / math.cosh(s / e), abs=1e-12)
    assert end.real == pytest.approx(s - e * math.tanh(s / e), abs=1e-12)
    assert s - e * heading == pytest.approx(end, abs=1e-12)


def test_on_a_circle_the_tip_runs_inside_by_pythagoras() -> None:
    """Pivot at R: the tip settles at sqrt(R^2 - e^2) (R = 5, e = 0.5: 4.9749)."""
    tips, _ = tip_trace(Path.circle(0j, 5.0), 0.5, 1j, 5e-4)
    assert abs(tips[-1]) == pytest.approx(math.sqrt(25 - 0.25), abs=1e-9)
    ahead, _ = tip_trace(Path.circle(0j, math.sqrt(25.25)), 0.5, 1j, 5e-4)
    assert abs(ahead[-1]) == pytest.approx(5.0, abs=1e-9)


def test_a_swivel_about_the_tip_leaves_it_where_it_is() -> None:
    e = 0.5
    swing = Path((Arc(e + 0j, e * cmath.exp(2j), math.tan(0.5)),), False)
    tips, heading = tip_trace(swing, e, 1 + 0j, 5e-4)
    assert np.abs(tips).max() < 1e-9
    assert heading == pytest.approx(cmath.exp(2j), abs=1e-9)


lengths = st.floats(0.05, 20.0)
bulges = st.floats(-0.57, 0.57).filter(lambda b: abs(b) > 1e-3)


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    st.floats(0.2, 1.0),
    st.floats(-2.7, 2.7),
    st.lists(st.tuples(lengths, bulges, st.floats(-2, 2))),
)
def test_any_lines_and_arcs_agree_with_a_general_integrator(
    e: float, off: float, runs: list[tuple[float, float, float]]
) -> None:
    segments: list[Line | Arc] = [Line(0j, 1 + 0j)]
    for size, bulge, turn in runs[:5]:
        here = segments[-1].end
        end = here + size * cmath.exp(1j * turn)
        segments.append(Arc(here, end, bulge) if turn > 0 else Line(here, end))
    tips, heading = tip_trace(Path(tuple(segments), False), e, cmath.exp(1j * off), 5e-4)
    phi = off
    for s in segments:
        size = s.length()
        step = solve_ivp(
            lambda way, y, s=s, size=size: [
                -math.sin(y[0] - cmath.phase(s.tangent(way / size))) / e
            ],
            (0, size),
            [phi],
            method="DOP853",
            rtol=1e-11,
            atol=1e-12,
        )
        phi = float(step.y[0, -1])
    # a blade pushed backwards balances: there, errors grow as exp(s / e), in either integrator
    assert abs(heading - cmath.exp(1j * phi)) < 1e-6
    assert complex(tips[-1]) == pytest.approx(segments[-1].end - e * heading, abs=1e-12)


def test_chords_between_points_keep_to_the_trace() -> None:
    corner = Path.polygon([0, 5, 5 + 5j, 10 + 6j], closed=False)
    coarse, _ = tip_trace(corner, 0.5, cmath.exp(2.6j), 5e-4)
    fine, _ = tip_trace(corner, 0.5, cmath.exp(2.6j), 5e-7)
    assert len(fine) > 10 * len(coarse)
    start, step = coarse[:-1], np.diff(coarse)
    worst = 0.0
    for p in fine[:: max(1, len(fine) // 4000)]:
        t = np.clip(((p - start) * step.conj()).real / np.maximum(np.abs(step) ** 2, 1e-300), 0, 1)
        worst = max(worst, float(np.abs(start + t * step - p).min()))
    assert worst < 5e-4


@pytest.mark.parametrize("offset", [0.25, 0.5, 1.0])
def test_a_controllers_pivot_leads_the_tip_along_what_is_written(offset: float) -> None:
    """Lines, arcs either way and corners: the tip comes to lie on them again, by the tractrix."""
    bends = [
        Line(0j, 20 + 0j),
        Arc(20 + 0j, 30 + 10j, math.tan(math.pi / 8)),
        Line(30 + 10j, 30 + 30j),
        Line(30 + 30j, 10 + 30j),
        Arc(10 + 30j, 0 + 40j, -math.tan(math.pi / 8)),
        Line(0 + 40j, -10 + 0j),
    ]
    written = Path.of(bends, False)
    pivot = driven_by_controller(written, offset)
    arcs = [s for s in pivot.segments if isinstance(s, Arc)]
    assert max(s.radius for s in arcs) == pytest.approx(math.hypot(10, offset))
    assert min(s.radius for s in arcs) == pytest.approx(offset)
    tips, _ = tip_trace(pivot, offset, 1 + 0j, 1e-4)
    assert region.directed_deviation(tips, region.curve(written, 1e-5)).max() < 1e-3
    away = region.directed_deviation(written.flatten(0.01), region.polyline(tips)).max()
    assert away < 1e-3


def test_a_controller_with_another_offset_than_the_blades_is_seen() -> None:
    written = Path.polygon([0j, 20 + 0j, 20 + 20j], closed=False)
    tips, _ = tip_trace(driven_by_controller(written, 0.5), 0.7, 1 + 0j, 1e-4)
    assert region.directed_deviation(tips, region.curve(written)).max() > 0.1
