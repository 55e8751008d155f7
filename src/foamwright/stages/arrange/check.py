"""Whether a layout keeps its rules, judged on exact outlines, not on the search's polygons."""

from __future__ import annotations

from collections.abc import Sequence

from foamwright.geometry.region import distance, near, region
from foamwright.model import Placement
from foamwright.stages.arrange.window import Window

#: Flattening of outlines for the check, mm, and what a gap may miss by for it.
CHECK_TOLERANCE = 0.005


def broken_rule(placements: Sequence[Placement], window: Window, clearance: float) -> str | None:
    """The first rule that the placements break, in words, or None."""
    for p in placements:
        low_x, low_y, high_x, high_y = p.piece.outline.bounds
        over = max(
            window.left - low_x, window.near - low_y, high_x - window.right, high_y - window.far
        )
        if over > CHECK_TOLERANCE:
            return f"{p.copy.name} lies {over:.2f} mm outside the usable stock"
    shapes = [region(p.piece.outline, (), CHECK_TOLERANCE) for p in placements]
    for i, j in near(shapes).pairs(clearance):
        gap = distance(shapes[i], shapes[j])
        if gap < clearance - 2 * CHECK_TOLERANCE:
            a, b = placements[i].copy.name, placements[j].copy.name
            return f"{a} and {b} are {gap:.2f} mm apart, {clearance:.2f} mm are asked for"
    return None
