"""An edge as lengths on its line, and what lies beside it."""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.geometry.path import Path

#: How far to each side of a place its two directions are taken, mm.
ASIDE = 1e-6


class NoSuchEdgeError(Exception):
    """An edge, corner or point that the piece doesn't have; the text says which there are."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A run of a line from arc length start to end (mm); end may pass the line's own start.

    ring: the name of the line in its pattern.  darts: from where to where along the edge each dart
    takes it up, mm, in order: so much is gone once they are closed.
    """

    name: str
    line: Path
    start: float
    end: float
    ring: str = ""
    darts: tuple[tuple[float, float], ...] = ()

    @property
    def length(self) -> float:
        return self.end - self.start

    @property
    def sewn(self) -> float:
        """Its length once its darts are closed, mm."""
        return self.sewn_at(self.length)

    def sewn_at(self, along: float) -> float:
        """How far along the edge a place is once the darts before it are closed, mm."""
        return along - sum(min(max(along - a, 0.0), b - a) for a, b in self.darts)

    def along(self, sewn: float) -> float:
        """How far along the edge a place is that is so far along it once its darts are closed."""
        for a, b in self.darts:
            sewn += b - a if sewn > a else 0.0
        return sewn

    def place(self, along: float) -> float:
        """Arc length on the line at `along` mm from the edge's start."""
        return (self.start + along) % self.line.length

    def beside(self, along: float, inward: float) -> complex:
        """The spot `inward` mm into the material, square to this edge even at its ends."""
        inside = min(max(along, ASIDE), self.length - ASIDE)
        normal = 1j * self.line.tangent_at(self.place(inside))
        return self.line.point_at(self.place(along)) + inward * normal


def directions(line: Path, at: float) -> tuple[complex, complex]:
    """Unit tangents of a closed line just before and just after a place on it."""
    step = min(ASIDE, line.length / 4)
    return line.tangent_at((at - step) % line.length), line.tangent_at((at + step) % line.length)
