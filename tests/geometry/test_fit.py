"""Fitting: within the tolerance both ways, without kinks, corners kept."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from foamwright.geometry.affine import Affine
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Cubic


def ellipse(a: float, b: float) -> Path:
    return Path.circle(0, 1).transformed(Affine.scaling(a, b))


def deviation(one: Path, other: Path) -> float:
    """Hausdorff distance both ways, from dense points."""
    lines = [
        shapely.LineString(np.column_stack([p.real, p.imag]))
        for p in (one.flatten(1e-5), other.flatten(1e-5))
    ]
    return float(shapely.hausdorff_distance(*lines))


def kinks(path: Path) -> list[float]:
    """Turns in degrees at the joints that aren't corners."""
    joints = range(0 if path.closed else 1, len(path.segments))
    return [
        abs(turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)))
        for i in joints
        if i not in path.corners
    ]


@pytest.mark.parametrize(("a", "b"), [(50.0, 30.0), (10.0, 2.0), (100.0, 1.0), (5.0, 4.9)])
@pytest.mark.parametrize("tolerance", [0.01, 0.006])
def test_an_ellipse_is_met_without_kinks(a: float, b: float, tolerance: float) -> None:
    drawn = ellipse(a, b)
    fitted = fit_arcs(drawn, tolerance)
    assert deviation(drawn, fitted) <= tolerance
    assert max(kinks(fitted)) <= 1.0
    assert not any(isinstance(s, Cubic) for s in fitted.segments)
