"""A trailing tip driven along a pivot path: the tests' own integrator, by scipy's solver.

The tip at distance e behind the pivot can only move along its heading theta, so that a pivot moving
in direction phi turns the blade at d theta / ds = sin(phi - theta) / e (the tractrix, as in any
text on plane curves).
"""

from __future__ import annotations

import cmath

import numpy as np
from scipy.integrate import solve_ivp

from foamwright.geometry.path import Path


def drive(
    path: Path, offset: float, heading: float, step: float = 0.02
) -> tuple[np.ndarray, float]:
    """Places of the tip along a pivot path from a start heading (radians), and the last heading."""
    tips = [np.array([path.start - offset * cmath.rect(1.0, heading)])]
    for segment in path.segments:
        length = segment.length()
        if length == 0:
            continue

        def turning(s, theta, segment=segment, length=length):
            phi = cmath.phase(segment.tangent(segment.at_length(min(s, length))))
            return np.sin(phi - theta) / offset

        count = max(3, int(length / step) + 1)
        stations = np.linspace(0.0, length, count)
        found = solve_ivp(
            turning, (0.0, length), [heading], t_eval=stations, rtol=1e-9, atol=1e-10, max_step=0.5
        )
        theta = found.y[0]
        pivots = np.array([segment.point(segment.at_length(s)) for s in stations])
        tips.append(pivots - offset * np.exp(1j * theta))
        heading = float(theta[-1])
    return np.concatenate(tips), heading
