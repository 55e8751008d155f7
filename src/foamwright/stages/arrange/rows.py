"""The plain placer: boxes in rows, no search. Used where the search fails or breaks a rule."""

from __future__ import annotations

from collections.abc import Sequence

from foamwright.model import Placement
from foamwright.stages.arrange.outline import Shape, turned_corner
from foamwright.stages.arrange.window import FIT_EPS, Window


def place_in_rows(
    shapes: Sequence[Shape], window: Window, clearance: float
) -> tuple[Placement, ...]:
    """Placements of those shapes that one window bears, deepest first, row behind row."""
    order = sorted(
        shapes, key=lambda s: (-_flattest(s, window)[2], -_flattest(s, window)[1], s.copy.name)
    )
    made: list[Placement] = []
    x, y, depth = window.left, window.near, 0.0
    for shape in order:
        rotation, across, along = _flattest(shape, window)
        if x > window.left and x + across > window.right + FIT_EPS:
            x, y, depth = window.left, y + depth + clearance, 0.0
        if y + along > window.far + FIT_EPS:
            continue
        made.append(_at(shape, rotation, x, y))
        x += across + clearance
        depth = max(depth, along)
    return tuple(made)


def _flattest(shape: Shape, window: Window) -> tuple[float, float, float]:
    """The allowed turn that takes least length, with its size across and along."""
    fitting = [r for r in shape.rotations if window.bears(shape.copy, r)] or shape.rotations
    sizes = [(shape.size(r), r) for r in fitting]
    (across, along), rotation = min(sizes, key=lambda s: (s[0][1], s[0][0], s[1]))
    return rotation, across, along


def _at(shape: Shape, rotation: float, x: float, y: float) -> Placement:
    corner = turned_corner(shape.copy, rotation)
    return Placement(shape.copy, rotation, x - corner.real, y - corner.imag)
