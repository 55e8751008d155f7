"""A cut's values at a thickness, from a series of thicknesses at which they were measured.

Between the two nearest points every length and speed lies on the straight line through them.
Passes and words (power, focus, air) are the thicker point's; where the two take a different number
of passes, the speed and the step of the focus are the thicker's too, for they go with the passes.
Outside the measured range there is no value: a coupon gives one.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from foamwright.findings import Refused, fault
from foamwright.profile_laser import CutPoint
from foamwright.profile_models import CutSettings

#: Values that lie on a line between two points, and those of them that go with the passes.
ON_A_LINE = frozenset(
    {
        "kerf",
        "kerf_x",
        "kerf_y",
        "kerf_exit",
        "clearance",
        "focus_depth",
        "focus_step",
        "speed",
    }
)
BY_PASS = frozenset({"speed", "focus_step"})
#: Decimals that are kept, mm or mm/s: a nanometre.
DECIMALS = 6
#: Two thicknesses that differ by less are the same, mm: nominal figures are rounded.
SAME = 1e-6


def settled(cut: CutSettings, thickness: float, where: str) -> CutSettings:
    """The cut with its values at this thickness (mm); `at` keeps the one or two points used.

    where: whose, for the message.  Raises Refused (J526) outside the measured range.
    """
    if not cut.at:
        return cut
    used = around(cut.at, thickness)
    if not used:
        low, high = cut.at[0].thickness, cut.at[-1].thickness
        span = f"{low:g} to {high:g} mm" if high > low else f"{low:g} mm alone"
        what = f"its cut was measured in {span}, and the stock is {thickness:g} mm thick"
        mend = (
            f"cut a test coupon of {thickness:g} mm stock and add what it measures as a [[cut.at]]"
        )
        raise Refused([fault("J526", where, what, mend)])
    return cut.model_copy(update={**_between(used, thickness), "at": used})


def around(points: tuple[CutPoint, ...], thickness: float) -> tuple[CutPoint, ...]:
    """The point of this thickness, or the two that it lies between; none outside their range."""
    for p in points:
        if abs(p.thickness - thickness) <= SAME:
            return (p,)
    for low, high in pairwise(points):
        if low.thickness < thickness < high.thickness:
            return (low, high)
    return ()


def _between(used: tuple[CutPoint, ...], thickness: float) -> Mapping[str, Any]:
    low, high = used[0], used[-1]
    values = dict(high.values)
    if low is high:
        return values
    share = (thickness - low.thickness) / (high.thickness - low.thickness)
    alike = low.passes == high.passes
    for key, there in values.items():
        if key in ON_A_LINE and (alike or key not in BY_PASS):
            here = low.values[key]
            values[key] = round(here + share * (there - here), DECIMALS)
    return values
