"""Knives over the whole chain, on hundreds of random sheets and glyphs.

    python -m pytest tests/benchmarks/test_knives.py -o addopts= -s

prints for each knife the figures of `tests/knives.py`, what was refused and what is beyond a limit,
by seed.  FOAMWRIGHT_SEEDS tells how many of each.
"""

from __future__ import annotations

import os
import random
from collections import Counter
from collections.abc import Callable
from functools import cache

import pytest

from foamwright.model import Sheet, Tool
from tests.benchmarks.outlines import Outline, glyph_outlines
from tests.knives import (
    Seen,
    any_drag_knife,
    any_oscillating_knife,
    beyond,
    random_sheet,
    see_drag_knife,
    see_oscillating_knife,
    sheet_of,
)

SEEDS = int(os.environ.get("FOAMWRIGHT_SEEDS", "200"))
#: Glyphs of each font to choose from.
OF_EACH = 4


@cache
def glyphs() -> tuple[Outline, ...]:
    return tuple(glyph_outlines(OF_EACH))


def of_glyphs(rng: random.Random) -> Sheet:
    two = [g.path for g in rng.sample(glyphs(), 2)]
    return sheet_of(two, rng.uniform(8, 20), rng.uniform(4, 15))


def small_and_large(rng: random.Random) -> Sheet:
    return random_sheet(rng, 2, 200)


def gently_bent(rng: random.Random) -> Sheet:
    return random_sheet(rng, 50, 500, rng.choice([0.03, 0.1]))


KNIVES = {
    "drag knife, random": (small_and_large, any_drag_knife, see_drag_knife),
    "drag knife, glyphs": (of_glyphs, any_drag_knife, see_drag_knife),
    "oscillating knife, random": (gently_bent, any_oscillating_knife, see_oscillating_knife),
    "oscillating knife, glyphs": (of_glyphs, any_oscillating_knife, see_oscillating_knife),
}


@pytest.mark.parametrize("name", KNIVES)
def test_knives_on_many_sheets(name: str) -> None:
    found, off = {}, {}
    for seed in range(SEEDS):
        found[seed], tool = _seen(*KNIVES[name], random.Random(seed))
        off[seed] = beyond(found[seed], tool)
    print(f"\n{name}: {SEEDS} sheets")
    refused = Counter("+".join(sorted(s.refused)) for s in found.values() if s.refused)
    print(f"  refused {refused.total()}: {dict(refused)}")
    for figure in dict.fromkeys(f for s in found.values() for f in s.figures):
        rows = sorted((s.figures[figure], k) for k, s in found.items() if figure in s.figures)
        (middle, _), (worst, at) = rows[len(rows) // 2], rows[-1]
        print(f"  {figure:16} median {middle:9.5f}  worst {worst:9.5f} (seed {at})")
    assert not {k: v for k, v in off.items() if v}


def _seen(
    sheet: Callable[[random.Random], Sheet],
    knife: Callable[[random.Random], Tool],
    see: Callable[[Sheet, Tool, random.Random], Seen],
    rng: random.Random,
) -> tuple[Seen, Tool]:
    laid, tool = sheet(rng), knife(rng)
    return see(laid, tool, rng), tool
