"""Parallel curves of closed paths: round, mitred or bevelled at corners."""

from __future__ import annotations

from typing import Literal, TypeAlias

from foamwright.geometry.path import Path

Join: TypeAlias = Literal["round", "mitre", "bevel"]


def offset(
    path: Path,
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
) -> tuple[Path, ...]:
    """The closed curves parallel to a closed path, `distance` mm to the right of its travel.

    Material lies to the left, so a positive distance goes away from it (an outer boundary grows, a
    clockwise opening shrinks) and a negative one into it.  The result may be several paths (a neck
    vanished) or none (all vanished), each with the source's orientation.  Lines and arcs only.
    """
    raise NotImplementedError
