"""Linear programs against another solver (HiGHS, through scipy), and those without an answer."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from foamwright.stages.arrange.linear import Rows, Values, least


def dense(rows: Rows, count: int) -> Values:
    made = np.zeros((len(rows.bounds), count))
    for k, (unknowns, factors) in enumerate(zip(rows.unknowns, rows.factors, strict=True)):
        np.add.at(made[k], unknowns, factors)
    return made


def program(seed: int) -> tuple[Values, Rows]:
    """Bounded by a box, with rows of four unknowns that the origin keeps."""
    chance = np.random.default_rng(seed)
    count, more = int(chance.integers(4, 30)), int(chance.integers(1, 60))
    box = np.pad(np.tile(np.arange(count), 2)[:, None], ((0, 0), (0, 3)))
    ways = np.pad(np.repeat([1.0, -1.0], count)[:, None], ((0, 0), (0, 3)))
    unknowns = np.array([chance.choice(count, 4, replace=False) for _ in range(more)])
    factors = chance.normal(size=(more, 4))
    bounds = np.concatenate([np.ones(2 * count), chance.uniform(0, 1, more)])
    rows = Rows(np.concatenate([box, unknowns]), np.concatenate([ways, factors]), bounds)
    return chance.normal(size=count), rows


@pytest.mark.parametrize("seed", range(40))
def test_the_least_value_is_that_of_another_solver(seed: int) -> None:
    cost, rows = program(seed)
    found = least(cost, rows)
    other = linprog(cost, dense(rows, len(cost)), rows.bounds, bounds=(None, None))
    assert found is not None
    assert cost @ found == pytest.approx(other.fun, abs=1e-6)
    assert (rows.of(found) <= rows.bounds + 1e-7).all()


def test_rows_that_contradict_each_other_have_no_answer() -> None:
    unknowns = np.zeros((2, 1), dtype=np.int64)
    rows = Rows(unknowns, np.array([[1.0], [-1.0]]), np.array([-1.0, -1.0]))
    assert least(np.array([1.0]), rows) is None


def test_a_cost_without_bound_has_no_answer() -> None:
    rows = Rows(np.zeros((1, 1), dtype=np.int64), np.array([[1.0]]), np.array([1.0]))
    assert least(np.array([1.0]), rows) is None
