"""Regions of the plane: what is covered, freed, near. Only `geometry` touches `shapely`.

A `Region` is a shapely geometry in mm.  Everything here works on outlines flattened within a stated
tolerance, so a result is true to that tolerance, no better.
Does not make curves: see `offset.py` and `fit.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Points

Region: TypeAlias = BaseGeometry


def _coords(points: Points) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.column_stack([points.real, points.imag])


def region(outline: Path, openings: Iterable[Path] = (), tolerance: float = 0.002) -> Region:
    """The material inside a closed outline less its openings."""
    holes = [_coords(p.flatten(tolerance)) for p in openings]
    return shapely.Polygon(_coords(outline.flatten(tolerance)), holes)


def curve(path: Path, tolerance: float = 0.002) -> Region:
    """A path as a line without area."""
    return shapely.LineString(_coords(path.flatten(tolerance)))
