"""Arcs and lines through a smooth curve within a tolerance; corners stay corners."""

from __future__ import annotations

from foamwright.geometry.path import Path


def fit_arcs(path: Path, tolerance: float) -> Path:
    """The path as lines and arcs, no point of either farther than tolerance (mm) from the other.

    Lines and arcs are kept as they are; each smooth run of cubics becomes arcs whose tangents
    agree at the joints.  Corners keep their place exactly.
    """
    raise NotImplementedError
