"""Edges: runs of a piece's outline between two corners or drawn points, named by the job.

An edge runs the way of the outline, counter-clockwise, from its first end to its second.  Corners
are numbered from 1 in that order, as `inspect` shows them.  An opening's name is an edge too: once
round.  Lengths are taken on the line that the drawing shows, after scaling.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.model import Piece

#: A drawn point names a place on the outline when it lies this near to it, mm.
POINT_REACH = 1.0


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

    def path(self) -> Path:
        return self.line.between(self.start, self.end)


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
