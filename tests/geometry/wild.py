"""Outlines that no drafter means: for hypothesis.

From 0.01 mm to 10 m across; points a billionth to a thousandth of a millimetre from each other;
cubics with cusps, loops and controls on their ends; edges that run out and back upon themselves.

The ordinary run takes a few, always the same.  FOAMWRIGHT_EXAMPLES=2000 takes so many, at random.
"""

from __future__ import annotations

import cmath
import math
import os
from itertools import pairwise

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: Powers of ten of an outline's radius, mm, and of what lies between points nearly the same.
SIZES, HAIRS = (-2.0, 4.0), (-9.0, -3.0)
_ASKED = os.environ.get("FOAMWRIGHT_EXAMPLES")


def few(count: int) -> settings:
    return settings(
        max_examples=int(_ASKED) if _ASKED else count,
        derandomize=not _ASKED,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )


@st.composite
def wild_outlines(
    draw: st.DrawFn, sizes: tuple[float, float] = SIZES, retraced: bool = True
) -> Path:
    """A closed path of lines, arcs and cubics; sizes: powers of ten of its radius, mm."""
    size = 10 ** draw(st.floats(*sizes))
    spots = draw(_spots(size, retraced))
    made: list[Segment] = []
    for a, b in pairwise([*spots, spots[0]]):
        made.extend(draw(_edge(a, b)))
    return Path.of(made, True)


@st.composite
def _spots(draw: st.DrawFn, size: float, retraced: bool) -> list[complex]:
    n = draw(st.integers(3, 9))
    spots: list[complex] = []
    for k in range(n):
        spots.append(size * draw(st.floats(0.3, 1)) * cmath.rect(1, 2 * math.pi * k / n))
        extra = draw(st.sampled_from(["", "", "", "hair", "spike" if retraced else "hair"]))
        if extra == "hair":
            hair = 10 ** draw(st.floats(*HAIRS))
            spots.append(spots[-1] + cmath.rect(hair, draw(st.floats(-3, 3))))
        elif extra == "spike":  # out along a line and back to where it began
            spots += [spots[-1] * draw(st.floats(0.5, 1.5)), spots[-1]]
    return spots


@st.composite
def _edge(draw: st.DrawFn, a: complex, b: complex) -> list[Segment]:
    way = b - a
    if way == 0:
        return []
    bend = draw(st.floats(-0.4, 0.4))
    turn, skew = cmath.rect(1 / 3, bend), cmath.rect(1 / 3, draw(st.floats(-0.8, 0.8)))
    kind = draw(st.sampled_from(["line", "arc", "cubic", "cusp", "stop"]))
    if kind == "arc" and abs(bend) > 0.01:
        return [Arc(a, b, bend)]
    if kind == "cubic":
        return [Cubic(a, a + way * turn, b - way * skew, b)]
    if kind == "cusp":  # near one, or a small loop: the controls have changed places
        reach = draw(st.floats(0.9, 1.1))
        return [Cubic(a, a + way * (reach + bend * 1j), b - way * (reach - bend * 1j), b)]
    if kind == "stop":  # a control point on its end
        return [Cubic(a, a, b - way * skew, b)]
    return [Line(a, b)]
