"""Linear programs with few unknowns a row, by an interior-point method.

The predictor-corrector method of Mehrotra (1992), on the normal equations: as many unknowns as two
a piece, rows of at most four of them.  General, and knows nothing of layouts.  Does not tell a
program without an answer from one that it can't solve: both give None.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Values: TypeAlias = npt.NDArray[np.float64]
Indices: TypeAlias = npt.NDArray[np.int64]

#: Steps after which an answer isn't waited for any longer: 15 to 30 are usual.
MOST_STEPS = 60
#: What rows may be missed by, and the gap to the least value, in the program's own unit.
CLOSE = 1e-8
#: How much of the way to the next bound a step may go.
SHORT_OF_BOUND = 0.995


@dataclass(frozen=True)
class Rows:
    """Rows of the program: the sum of factors times unknowns is at most the bound of the row.

    unknowns, factors: (rows, width); a factor of 0 leaves its unknown out.  bounds: (rows,).
    """

    unknowns: Indices
    factors: Values
    bounds: Values

    def of(self, x: Values) -> Values:
        """The rows' sums."""
        made: Values = (self.factors * x[self.unknowns]).sum(axis=1)
        return made

    def back(self, z: Values, count: int) -> Values:
        """The rows' factors times a value for each row, summed for each unknown."""
        shares = (self.factors * z[:, None]).ravel()
        return np.bincount(self.unknowns.ravel(), shares, count).astype(np.float64)

    def normal(self, weights: Values, count: int) -> Values:
        """The matrix of the normal equations with a weight for each row: (count, count)."""
        places = self.unknowns[:, :, None] * count + self.unknowns[:, None, :]
        shares = self.factors[:, :, None] * self.factors[:, None, :] * weights[:, None, None]
        summed = np.bincount(places.ravel(), shares.ravel(), count * count)
        return summed.astype(np.float64).reshape(count, count)


def least(cost: Values, rows: Rows) -> Values | None:
    """The unknowns for which the cost times them is least while every row holds; None if none.

    cost: (unknowns,).  Unknowns should be about 1 in size, and bounded by the rows.
    """
    with np.errstate(all="ignore"):  # what runs away ends as no answer
        return _least(cost, rows)


@dataclass(frozen=True)
class _Point:
    """Where the method stands. miss: of the rows, pull: of the unknowns; both 0 at an answer."""

    rows: Rows
    slack: Values
    dual: Values
    miss: Values
    pull: Values
    inverse: Values

    def step(self, aim: Values) -> tuple[Values, Values, Values]:
        """The moves of unknowns, slacks and duals after which slack times dual is nearer to aim."""
        weights = self.dual / self.slack
        led = self.rows.back(aim / self.slack - weights * self.miss, len(self.pull))
        dx = self.inverse @ (self.pull - led)
        ds = self.miss - self.rows.of(dx)
        return dx, ds, (aim - self.dual * ds) / self.slack


def _least(cost: Values, rows: Rows) -> Values | None:
    count = len(cost)
    x = np.zeros(count)
    slack = np.maximum(rows.bounds - rows.of(x), 1.0)
    dual = np.ones(len(rows.bounds))
    for _ in range(MOST_STEPS):
        miss = rows.bounds - rows.of(x) - slack
        pull = -cost - rows.back(dual, count)
        gap = float(slack @ dual) / len(slack)
        if max(np.abs(miss).max(), np.abs(pull).max(), gap) < CLOSE:
            return x
        try:
            inverse: Values = np.linalg.inv(rows.normal(dual / slack, count)).astype(np.float64)
        except np.linalg.LinAlgError:
            return None
        at = _Point(rows, slack, dual, miss, pull, inverse)
        _, ds, dz = at.step(-slack * dual)
        ahead = (slack + _reach(slack, ds) * ds) @ (dual + _reach(dual, dz) * dz) / len(slack)
        centre = gap * (ahead / gap) ** 3
        dx, ds, dz = at.step(centre - ds * dz - slack * dual)
        if not np.isfinite(dx).all():
            return None
        primal, other = (min(1.0, SHORT_OF_BOUND * _reach(*p)) for p in ((slack, ds), (dual, dz)))
        x, slack, dual = x + primal * dx, slack + primal * ds, dual + other * dz
    return None


def _reach(values: Values, step: Values) -> float:
    """How many steps go before a value is 0, 1 at most for none that falls."""
    falls = step < 0
    return float(min((-values[falls] / step[falls]).min(initial=np.inf), 1 / SHORT_OF_BOUND))
