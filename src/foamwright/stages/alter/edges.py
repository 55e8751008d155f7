"""Edges: runs of a piece's outline between two corners or drawn points, named by the job.

An edge runs the way of the outline, counter-clockwise, from its first end to its second.  Corners
are numbered from 1 in that order, as `inspect` shows them.  An opening's name is an edge too: once
round.  Lengths are taken on the line that the drawing shows, after scaling.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import CORNER_ANGLE, Path, turn_degrees
from foamwright.model import Piece

#: A drawn point names a place on the outline when it lies this near to it, mm.
POINT_REACH = 1.0
#: How far to each side of a place its two directions are taken, mm.
ASIDE = 1e-6


class NoSuchEdgeError(Exception):
    """An edge, corner or point that the piece doesn't have; the text says which there are."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A run of a line from arc length start to end (mm); end may pass the line's own start."""

    name: str
    line: Path
    start: float
    end: float

    @property
    def length(self) -> float:
        return self.end - self.start

    def place(self, along: float) -> float:
        """Arc length on the line at `along` mm from the edge's start."""
        return (self.start + along) % self.line.length

    def beside(self, along: float, inward: float) -> complex:
        """The spot `inward` mm into the material, square to this edge even at its ends."""
        inside = min(max(along, ASIDE), self.length - ASIDE)
        normal = 1j * self.line.tangent_at(self.place(inside))
        return self.line.point_at(self.place(along)) + inward * normal


def edge_of(piece: Piece, name: str, edges: Mapping[str, tuple[str, str]]) -> Edge:
    """The named edge. Raises NoSuchEdgeError."""
    if name in edges:
        first, last = edges[name]
        start, end = end_of(piece, first), end_of(piece, last)
        if end <= start:
            end += piece.outline.length
        return Edge(name, piece.outline, start, end)
    for opening in piece.openings:
        if opening.name == name:
            return Edge(name, opening.path, 0.0, opening.path.length)
    known = [*edges, *(o.name for o in piece.openings)]
    raise NoSuchEdgeError(f"no edge {name!r}; there are {', '.join(known) or 'none named'}")


def end_of(piece: Piece, name: str) -> float:
    """Arc length on the outline of a corner (by number) or a drawn point (by id)."""
    joints = sorted(piece.outline.corners)
    if name.isdecimal():
        number = int(name)
        if not 1 <= number <= len(joints):
            raise NoSuchEdgeError(f"no corner {number}; the outline has {len(joints)}")
        return piece.outline.joint_lengths()[joints[number - 1]]
    if name not in piece.points:
        known = ", ".join(piece.points) or "none"
        raise NoSuchEdgeError(f"no point {name!r}; drawn points are {known}")
    along, gap = nearest_length(piece.outline, piece.points[name])
    if gap > POINT_REACH:
        raise NoSuchEdgeError(f"point {name!r} lies {gap:.1f} mm off the outline")
    return along


def directions(line: Path, at: float) -> tuple[complex, complex]:
    """Unit tangents of a closed line just before and just after a place on it."""
    step = min(ASIDE, line.length / 4)
    return line.tangent_at((at - step) % line.length), line.tangent_at((at + step) % line.length)


def across(line: Path, at: float, other: Path, inward: float) -> float:
    """Arc length on a line parallel to `line`, `inward` mm into the material, across from `at`.

    Across from a corner lies the corner that the mitre leads to, where the other line has one.
    """
    before, after = (1j * t for t in directions(line, at))
    mitre = (before + after) / max(1e-3, 1 + (before * after.conjugate()).real)
    spot = line.point_at(at) + inward * mitre
    if abs(turn_degrees(before, after)) > CORNER_ANGLE:
        near = min(other.corner_points(), key=lambda p: abs(p - spot), default=spot)
        spot = near if abs(near - spot) <= abs(inward) / 2 else spot
    return nearest_length(other, spot)[0]


def carried(edge: Edge, other: Path, inward: float) -> Edge:
    """The edge on a line parallel to its own, `inward` mm into the material."""
    ends = (edge.start, edge.end)
    start, end = (across(edge.line, s % edge.line.length, other, inward) for s in ends)
    return Edge(edge.name, other, start, end if end > start else end + other.length)
