"""A value from readings, with its uncertainty, after the Guide (ISO/IEC Guide 98-3, "GUM").

Terms.  *Type A*: from the scatter of n readings, u = s / sqrt(n), with n - 1 degrees of freedom
(GUM 4.2).  *Type B*: here the gauge's resolution d, as likely anywhere within half a step, u = d /
sqrt(12) (GUM F.2.2.1), with endless degrees of freedom.  *Expanded*: U = k u, with k Student's
factor for the effective degrees of freedom (GUM G.4.1) at 95 %.  *Outlier*: a reading that Grubbs'
test (1969, two-sided, 5 %) holds not to belong to the others.

Plain numbers in one unit, whichever it is.  Does not know what is measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from foamwright.errors import FoamwrightError

#: The share of repeats in which the expanded uncertainty is to hold.
LEVEL = 0.95
#: Chance that Grubbs' test finds an outlier where there is none.
OUTLIER_CHANCE = 0.05
#: Fewest readings that have a scatter.
FEWEST = 2
#: Steps of the continued fraction and of the bisection, more than either ever needs.
STEPS = 300


class ReadingsError(FoamwrightError):
    """Readings that give no value: too few, or not finite."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """value: the mean. spread: standard deviation of single readings. freedom: effective degrees.

    factor: k, so that expanded = k standard.
    """

    value: float
    n: int
    spread: float
    standard: float
    freedom: float
    factor: float
    expanded: float


def estimate(readings: Sequence[float], resolution: float = 0.0, level: float = LEVEL) -> Estimate:
    """The mean of the readings and its uncertainty. resolution: the gauge's step, in their unit.

    Raises ReadingsError for fewer than two readings or one that is not finite.
    """
    if len(readings) < FEWEST:
        has = "reading has" if len(readings) == 1 else "readings have"
        raise ReadingsError(f"{len(readings)} {has} no scatter: take {FEWEST} or more")
    if not all(map(math.isfinite, (*readings, resolution))) or resolution < 0:
        raise ReadingsError("a reading or the resolution is no finite number")
    n = len(readings)
    spread = stdev(readings)
    by_scatter = spread / math.sqrt(n)
    by_gauge = resolution / math.sqrt(12)
    standard = math.hypot(by_scatter, by_gauge)
    freedom = effective_freedom([(by_scatter, n - 1), (by_gauge, math.inf)])
    factor = student(level, freedom)
    return Estimate(fmean(readings), n, spread, standard, freedom, factor, factor * standard)


def effective_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Welch's and Satterthwaite's degrees of freedom of parts (u, degrees); GUM G.4.1.

    The next lower whole number, as the Guide has it; endless where no part's are finite.
    """
    below = sum(u**4 / degrees for u, degrees in parts)
    if below == 0:
        return math.inf
    whole: float = math.floor(sum(u * u for u, _ in parts) ** 2 / below * (1 + 1e-12))
    return max(1.0, whole)


def outliers(readings: Sequence[float], resolution: float = 0.0) -> tuple[int, ...]:
    """The places of readings that don't belong, found one after the other by Grubbs' test.

    A reading within one step of the gauge from the mean is never one.  Two readings can't tell.
    """
    left = list(range(len(readings)))
    found: list[int] = []
    while len(left) >= 3:
        values = [readings[i] for i in left]
        mean, spread = fmean(values), stdev(values)
        worst = max(left, key=lambda i: abs(readings[i] - mean))
        off = abs(readings[worst] - mean)
        if off <= resolution or off <= grubbs(len(left)) * spread:
            break
        found.append(worst)
        left.remove(worst)
    return tuple(sorted(found))


def grubbs(n: int, chance: float = OUTLIER_CHANCE) -> float:
    """How many standard deviations the farthest of n readings may lie off, two-sided."""
    t = student(1 - chance / n, n - 2)
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def student(level: float, freedom: float) -> float:
    """Student's factor: the share `level` of t lies within plus and minus it (GUM table G.2).

    freedom: degrees, 1 or more; endless gives the normal distribution's.
    """
    low, high = 0.0, 1.0
    while _outside(high, freedom) > 1 - level:
        high *= 2
    for _ in range(STEPS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if _outside(middle, freedom) > 1 - level:
            low = middle
        else:
            high = middle
    return high


def _outside(t: float, freedom: float) -> float:
    """The chance of a t farther off than this, either way."""
    if math.isinf(freedom):
        return math.erfc(t / math.sqrt(2))
    return _incomplete_beta(freedom / 2, 0.5, freedom / (freedom + t * t))


def _incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised I_x(a, b), by its continued fraction (Abramowitz & Stegun 26.5.8)."""
    if x in (0.0, 1.0):
        return x
    if x > (a + 1) / (a + b + 2):
        return 1 - _incomplete_beta(b, a, 1 - x)
    front = a * math.log(x) + b * math.log1p(-x) - math.log(a)
    front += math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    return math.exp(front) / _fraction(a, b, x)


def _fraction(a: float, b: float, x: float) -> float:
    """The continued fraction 1 + d1 / (1 + d2 / (1 + ...)), from its front (Lentz)."""
    tiny = 1e-300
    value, c, d = 1.0, 1.0, 0.0
    for k in range(1, STEPS):
        m = k // 2
        if k % 2:
            part = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            part = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1 / ((1 + part * d) or tiny)
        c = (1 + part / c) or tiny
        value *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return value
