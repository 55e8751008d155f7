"""Which cubics want a closer look: against many samples, and lines at any angle."""

from __future__ import annotations

import cmath
import random

import numpy as np

from foamwright.geometry.fitting.cusps import controls_of
from foamwright.geometry.fitting.suspects import SLOW, looked_at
from foamwright.geometry.segments import Cubic


def test_a_slow_cubic_is_found() -> None:
    rnd = random.Random(4)
    spots = [[complex(rnd.random(), rnd.random()) for _ in range(4)] for _ in range(300)]
    cubics = [Cubic(*s) for s in spots]
    turns, _ = looked_at(controls_of(cubics))
    for cubic, told in zip(cubics, turns, strict=True):
        speeds = [abs(cubic.derivative(i / 16)) for i in range(17)]
        assert told == (min(speeds) <= SLOW * max(speeds))
    assert 20 < turns.sum() < 280


def test_a_line_is_one_at_any_angle_and_size() -> None:
    for k in range(360):
        way = cmath.rect(10.0 ** (k % 7 - 3), k)
        inner = [(0, 1), (1 / 3, 2 / 3), (0.4, 0.4), (0, 0), (1, 1)]
        cubics = [Cubic(way, way * (1 + a), way * (1 + b), way * 2) for a, b in inner]
        assert looked_at(controls_of(cubics))[1].all()


def test_what_bows_or_doubles_back_is_no_line() -> None:
    cubics = [
        Cubic(0, 3 + 2e-6j, 6, 9),
        Cubic(0, -1e-3, 6, 9),
        Cubic(0, 3, 9.1, 9),
        Cubic(2, 2, 2, 2),
    ]
    assert not looked_at(controls_of(cubics))[1].any()
    assert looked_at(np.array([[0, 3 + 9e-7j, 6, 9]]))[1].all()
