"""What a closed run of points winds round: the fill behind offsets and widened regions.

A curve that is the convolution of an outline with a disc winds at least once round all that the
outline's inside, widened by the disc, covers, and not at all round the rest (Guibas, Ramshaw and
Stolfi, "A kinetic framework for computational geometry", 1983).  The polygon library's buffer of
nought fills just that; its coordinates stay the given ones to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from foamwright.geometry.segments import Points

#: How far outside everything the frame round a clockwise run stands, mm.
FRAME = 10.0


def wound_round(points: Points) -> BaseGeometry:
    """All that the points wind round at least once; they run counter-clockwise at their topmost."""
    ring = np.append(points, points[0])
    return shapely.buffer(shapely.Polygon(np.column_stack([ring.real, ring.imag])), 0)


def bounding_rings(points: Points, clockwise: bool) -> Iterator[Points]:
    """The boundary rings of what the points wind round, each along the points' way and open.

    clockwise: the points bound the outside; they are hung into a frame, and the rings are those of
    what is left open in it.
    """
    run = points
    if clockwise:
        run = np.concatenate([_frame(points), points, points[:1]])
    for part in shapely.get_parts(wound_round(run)):
        for i, ring in enumerate(shapely.get_rings(part)):
            if clockwise and i == 0:
                continue  # the frame
            xy = shapely.get_coordinates(ring)[:-1]
            made = xy[:, 0] + 1j * xy[:, 1]
            yield made if (twice_area(made) > 0) == (i == 0) else made[::-1]


def twice_area(points: Points) -> float:
    """Twice the signed area of a ring, mm2, positive counter-clockwise."""
    local = points - points[0]
    return float(np.sum((local.conjugate() * np.roll(local, -1)).imag))


def _frame(points: Points) -> Points:
    low = complex(points.real.min() - FRAME, points.imag.min() - FRAME)
    high = complex(points.real.max() + FRAME, points.imag.max() + FRAME)
    return np.array([low, complex(high.real, low.imag), high, complex(low.real, high.imag), low])
