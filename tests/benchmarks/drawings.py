"""Drawings of many pieces for benchmarks: leaves of cubics and arcs with a round opening each."""

from __future__ import annotations

import math
from pathlib import Path

#: Distance from leaf to leaf, mm.
PITCH = 60.0


def leaf(x: float, y: float, k: int) -> str:
    """A leaf about 40 mm long as SVG path data, each one a little different."""
    w, h = 12 + 3 * math.sin(k), 38 + 4 * math.cos(1.7 * k)
    return (
        f"M{x} {y} C{x + w} {y + 0.2 * h} {x + 1.4 * w} {y + 0.7 * h} {x + 0.4 * w} {y + h} "
        f"A{0.4 * w} {0.4 * w} 0 0 1 {x - 0.4 * w} {y + h} "
        f"C{x - 1.5 * w} {y + 0.6 * h} {x - 0.9 * w} {y + 0.3 * h} {x} {y} Z"
    )


def write_leaves(file: Path, count: int) -> None:
    columns = max(1, round(math.sqrt(count)))
    rows = math.ceil(count / columns)
    side_x, side_y = PITCH * (columns + 1), PITCH * (rows + 1)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side_x}mm" height="{side_y}mm" '
        f'viewBox="0 0 {side_x} {side_y}">'
    ]
    for k in range(count):
        x, y = PITCH * (k % columns + 0.6), PITCH * (k // columns + 0.2)
        out.append(
            f'<g id="leaf-{k}"><path d="{leaf(x, y, k)}"/>'
            f'<circle cx="{x}" cy="{y + 22}" r="3"/></g>'
        )
    file.write_text("\n".join([*out, "</svg>"]), "utf-8")
