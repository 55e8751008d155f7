"""Readings to a value: the Guide's own worked figures, tables of Student and Grubbs, and how often
the stated uncertainty holds.
"""

from __future__ import annotations

import math
import random

import pytest
from scipy import stats

from foamwright.uncertainty import (
    ReadingsError,
    effective_freedom,
    estimate,
    grubbs,
    outliers,
    student,
)

#: GUM 4.4.3, table 1: twenty readings of a temperature, degrees Celsius (from memory; the mean,
#: the deviation and the uncertainty that the Guide prints are what these give).
TEMPERATURES = [
    96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
    100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
]  # fmt: skip
#: GUM H.2, table H.2: five readings of a voltage, V (from memory, as above).
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]


def test_the_guides_temperatures() -> None:
    found = estimate(TEMPERATURES)
    assert (found.n, round(found.value, 3)) == (20, 100.145)
    assert (round(found.spread, 3), round(found.standard, 3)) == (1.489, 0.333)
    assert found.freedom == 19
    assert found.factor == pytest.approx(2.09, abs=0.005)


def test_the_guides_voltage() -> None:
    found = estimate(VOLTS)
    assert round(found.value, 4) == 4.9990
    assert round(found.standard, 4) == 0.0032
    assert found.expanded == pytest.approx(2.78 * 0.0032, rel=0.01)


def test_the_guides_gauge_block() -> None:
    """GUM H.1.6: 32 nm of four parts has 16.7 degrees, taken as 16; t for 99 % is 2.92."""
    freedom = effective_freedom([(25, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)])
    assert freedom == 16
    assert student(0.99, freedom) == pytest.approx(2.92, abs=0.005)
    assert round(32 * student(0.99, freedom)) == 93


def test_the_guides_resolution() -> None:
    """GUM F.2.2.1: an indication's step contributes 0.29 of it."""
    found = estimate([0.18, 0.18, 0.18], resolution=0.01)
    assert found.standard == pytest.approx(0.29 * 0.01, rel=0.01)
    assert found.factor == pytest.approx(1.960, abs=5e-4)
    assert math.isinf(found.freedom)


@pytest.mark.parametrize(
    ("level", "freedom", "factor"),
    [
        (0.95, 1, 12.71), (0.95, 2, 4.30), (0.95, 3, 3.18), (0.95, 4, 2.78), (0.95, 10, 2.23),
        (0.95, 50, 2.01), (0.99, 5, 4.03), (0.6827, 7, 1.08), (0.9973, 3, 9.22),
        (0.95, math.inf, 1.960),
    ],
)  # fmt: skip
def test_students_factor_is_the_guides_table(level: float, freedom: float, factor: float) -> None:
    assert student(level, freedom) == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 12, 29, 99, 1000])
@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.999, 1 - 0.05 / 30])
def test_students_factor_against_another_library(level: float, freedom: int) -> None:
    assert student(level, freedom) == pytest.approx(stats.t.ppf((1 + level) / 2, freedom), rel=1e-9)


@pytest.mark.parametrize(("n", "limit"), [(3, 1.1543), (5, 1.7150), (8, 2.1266), (20, 2.7082)])
def test_grubbs_limit_is_the_published_table(n: int, limit: float) -> None:
    """Two-sided at 5 %, as tables after Grubbs (1969) print it (from memory)."""
    assert grubbs(n) == pytest.approx(limit, abs=1e-4)


def test_a_reading_that_does_not_belong_is_found() -> None:
    assert outliers([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]) == (7,)
    assert outliers(TEMPERATURES) == ()
    assert outliers([0.18, 0.19, 0.55, 0.18, 0.19, 0.18, 0.17, 0.31, 0.18, 0.19], 0.01) == (2, 7)
    assert outliers([0.18, 0.9]) == ()


def test_a_step_of_the_gauge_makes_no_outlier() -> None:
    assert outliers([0.18, 0.18, 0.18, 0.18, 0.19], 0.01) == ()
    assert outliers([0.18, 0.18, 0.18, 0.18, 0.19], 0.001) == (4,)


@pytest.mark.parametrize("readings", [[], [0.2], [0.2, math.nan], [0.2, math.inf]])
def test_what_gives_no_value(readings: list[float]) -> None:
    with pytest.raises(ReadingsError):
        estimate(readings)


def test_the_kerf_of_a_simulated_coupon_is_within_its_uncertainty() -> None:
    """2,000 combs of a known kerf, read with noise on a gauge with a step: 95 of 100 hold it."""
    chance = random.Random(20261125)
    held = 0
    for _ in range(2000):
        kerf, noise = chance.uniform(0.08, 0.6), chance.uniform(0.01, 0.05)
        cuts, step = chance.choice([10, 20]), chance.choice([0.01, 0.02])
        readings = []
        for _ in range(chance.randint(3, 10)):
            total = cuts * 10.0 - cuts * kerf + chance.gauss(0, noise)
            readings.append((cuts * 10.0 - round(total / step) * step) / cuts)
        found = estimate(readings, step / cuts)
        held += abs(found.value - kerf) <= found.expanded
    assert 0.935 <= held / 2000 <= 0.965
