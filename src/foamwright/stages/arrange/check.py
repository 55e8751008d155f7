"""Whether a layout keeps its rules, judged on exact outlines, not on the search's polygons."""

from __future__ import annotations

from collections.abc import Sequence

from foamwright.geometry.region import Region, distance, grown, near, region
from foamwright.model import Placement
from foamwright.stages.arrange.outline import turned_corner
from foamwright.stages.arrange.window import Window

#: Flattening of outlines for the check, mm, and what a gap may miss by for it.
CHECK_TOLERANCE = 0.005


def broken_rule(placements: Sequence[Placement], window: Window, clearance: float) -> str | None:
    """The first rule that the placements of one sheet break, in words, or None."""
    for p in placements:
        fault = window.fault_of(p, CHECK_TOLERANCE) or _wrong_turn(p) or _off_its_pin(p)
        if fault is not None:
            return f"{p.copy.name} {fault}"
    pieces = [p.piece for p in placements]
    shapes = [region(p.outline, (o.path for o in p.openings), CHECK_TOLERANCE) for p in pieces]
    for i, j in near(shapes).pairs(clearance) if shapes else ():
        gap = distance(shapes[i], shapes[j])
        if gap < clearance - 2 * CHECK_TOLERANCE:
            a, b = placements[i].copy.name, placements[j].copy.name
            return f"{a} and {b} are {gap:.2f} mm apart, {clearance:.2f} mm are asked for"
        if gap == 0 and _is_deep(shapes[i], shapes[j]):
            return f"{placements[i].copy.name} and {placements[j].copy.name} overlap"
    return None


def _is_deep(one: Region, other: Region) -> bool:
    """Whether the one, narrowed by what a gap may miss by, still lies in the other."""
    return distance(grown(one, -2 * CHECK_TOLERANCE, CHECK_TOLERANCE / 4), other) == 0


def _wrong_turn(p: Placement) -> str | None:
    if p.copy.free or p.rotation in p.copy.rotations:
        return None
    return f"is turned by {p.rotation:g} degrees, which its material's rules don't allow"


def _off_its_pin(p: Placement) -> str | None:
    if p.copy.pin is None:
        return None
    at = turned_corner(p.copy, p.rotation) + complex(p.x, p.y)
    return None if abs(at - p.copy.pin) <= CHECK_TOLERANCE else "does not lie where it is pinned"


def parted_groups(sheets: Sequence[Sequence[Placement]]) -> tuple[str, ...]:
    """Groups of which the copies lie on more than one sheet."""
    on: dict[str, set[int]] = {}
    for number, sheet in enumerate(sheets):
        for p in sheet:
            if p.copy.group:
                on.setdefault(p.copy.group, set()).add(number)
    return tuple(group for group, numbers in on.items() if len(numbers) > 1)
