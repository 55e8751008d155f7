"""Seams: two edges that are sewn together must be equally long, but for a stated ease."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from foamwright.findings import Finding, fault
from foamwright.geometry.path import turn_degrees
from foamwright.job import Seam
from foamwright.stages.alter.edges import Edge, NoSuchEdgeError, directions
from foamwright.stages.alter.pattern import Pattern, edge_of

#: What two edges may differ by, mm: a thread's width; common practice, no source.
LENGTH_SLACK = 0.5
#: What the two corners of a seam that closes flat may miss 180 degrees by.
FLAT_SLACK = 1.0


@dataclass(frozen=True, slots=True)
class SeamRow:
    """A seam as measured: lengths in mm (first, second), the ease asked for, what it misses by."""

    name: str
    joins: tuple[str, str]
    lengths: tuple[float, float]
    ease: float

    @property
    def difference(self) -> float:
        """First less second, mm."""
        return self.lengths[0] - self.lengths[1]

    @property
    def matches(self) -> bool:
        return abs(abs(self.difference) - self.ease) <= LENGTH_SLACK


def measure_seams(
    seams: tuple[Seam, ...], patterns: Mapping[str, Pattern]
) -> tuple[tuple[SeamRow, ...], tuple[Finding, ...]]:
    """The seam table and its faults, on stitch lines; patterns by name, at their size."""
    rows, findings = [], []
    for seam in seams:
        try:
            first, second = (edge_of(join, patterns) for join in seam.joins)
        except NoSuchEdgeError as why:
            findings.append(fault("A311", f"seam {seam.name}", str(why), "see [piece.edges]"))
            continue
        row = SeamRow(seam.name, seam.joins, (first.length, second.length), seam.ease)
        rows.append(row)
        if not row.matches:
            findings.append(_unequal(row))
        if seam.flat:
            findings.extend(_not_flat(seam, first, second))
    return tuple(rows), tuple(findings)


def _unequal(row: SeamRow) -> Finding:
    a, b = row.lengths
    return fault(
        "A312",
        f"seam {row.name}",
        f"{row.joins[0]} is {a:.2f} mm and {row.joins[1]} {b:.2f} mm long: they differ by "
        f"{abs(a - b):.2f} mm with an ease of {row.ease:.2f} mm",
        "redraw one edge or state the ease",
    )


def _not_flat(seam: Seam, first: Edge, second: Edge) -> list[Finding]:
    found = []
    for label, angles in (
        ("start", (_inner_angle(first, at_start=True), _inner_angle(second, at_start=False))),
        ("end", (_inner_angle(first, at_start=False), _inner_angle(second, at_start=True))),
    ):
        if abs(sum(angles) - 180.0) > FLAT_SLACK:
            found.append(
                fault(
                    "A313",
                    f"seam {seam.name}",
                    f"at the {label} of {seam.joins[0]} the corners are {angles[0]:.1f} and "
                    f"{angles[1]:.1f} degrees, {sum(angles):.1f} together: it won't close flat",
                    "bring them to 180 degrees together",
                )
            )
    return found


def _inner_angle(edge: Edge, at_start: bool) -> float:
    """Angle inside the piece between the edge and what adjoins it there, degrees."""
    return 180.0 - turn_degrees(
        *directions(edge.line, edge.place(0.0 if at_start else edge.length))
    )
