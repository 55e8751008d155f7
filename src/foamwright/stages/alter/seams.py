"""Seams: two edges that are sewn together must be equally long, but for a stated ease.

The edges lie face to face, so the end of one meets the start of the other; an edge that is sewn to
itself is sewn to its own mirror image, end to end.  All is measured on stitch lines.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from foamwright.findings import Finding, fault
from foamwright.geometry.path import turn_degrees
from foamwright.job import Seam
from foamwright.stages.alter.draft import Draft, Drafts
from foamwright.stages.alter.edges import Edge, NoSuchEdgeError, directions
from foamwright.stages.alter.notches import places_of
from foamwright.stages.alter.pattern import edge_of

#: What two edges, or the places of two notches, may differ by, mm: a thread's width; common
#: practice, no source.
LENGTH_SLACK = 0.5
#: What the two corners of a seam that closes flat may miss 180 degrees by.
FLAT_SLACK = 1.0


@dataclass(frozen=True, slots=True)
class SeamRow:
    """A seam as measured.

    lengths: of the first and second edge, mm.  ease: what the one may be longer by, mm.  notches:
    how many each edge has between its ends.  notches_off: how far apart two of them that should
    meet lie at most, mm, once the ease is spread evenly; None where they don't pair up.  corners:
    at the first edge's start, then at its end, the angle inside each piece, degrees; None where an
    edge goes once round an opening.  flat: the two must be 180 together.
    """

    name: str
    joins: tuple[str, str]
    lengths: tuple[float, float]
    ease: float
    notches: tuple[int, int] = (0, 0)
    notches_off: float | None = 0.0
    corners: tuple[tuple[float, float], tuple[float, float]] | None = None
    flat: bool = False

    @property
    def difference(self) -> float:
        """First less second, mm."""
        return self.lengths[0] - self.lengths[1]

    @property
    def matches(self) -> bool:
        return abs(abs(self.difference) - self.ease) <= LENGTH_SLACK

    @property
    def notches_meet(self) -> bool:
        return self.notches_off is not None and self.notches_off <= LENGTH_SLACK

    @property
    def closes_flat(self) -> bool:
        return self.corners is None or all(abs(sum(c) - 180) <= FLAT_SLACK for c in self.corners)

    @property
    def is_right(self) -> bool:
        return self.matches and self.notches_meet and (self.closes_flat or not self.flat)


def measure_seams(
    seams: tuple[Seam, ...], drafts: Drafts
) -> tuple[tuple[SeamRow, ...], tuple[Finding, ...]]:
    """The seam table and its faults: A311 an edge that isn't there, A312 lengths, A313 corners,
    A361 notches.  drafts: by name, at their size, with the notches that seams ask of them.
    """
    rows: list[SeamRow] = []
    findings: list[Finding] = []
    for seam in seams:
        try:
            row, notched = _measured(seam, drafts)
        except NoSuchEdgeError as why:
            findings.append(fault("A311", f"seam {seam.name}", str(why), "see [piece.edges]"))
            continue
        rows.append(row)
        findings.extend(_wrong(row, notched))
    return tuple(rows), tuple(findings)


#: Each edge's notches as distances from where the seam begins, mm.
_Notched = tuple[list[float], list[float]]


def _measured(seam: Seam, drafts: Drafts) -> tuple[SeamRow, _Notched]:
    """Raises NoSuchEdgeError."""
    patterns = {name: d.pattern for name, d in drafts.items()}
    first, second = (edge_of(join, patterns) for join in seam.joins)
    one, other = (
        _notches_along(drafts[join.partition(".")[0]], edge)
        for join, edge in zip(seam.joins, (first, second), strict=True)
    )
    turned = seam.joins[0] != seam.joins[1]
    if turned:
        other = sorted(second.sewn - at for at in other)
    lengths = (first.sewn, second.sewn)
    row = SeamRow(
        seam.name,
        seam.joins,
        lengths,
        seam.ease,
        (len(one), len(other)),
        _apart(one, other, lengths),
        _corners(first, second, turned),
        seam.flat,
    )
    return row, (one, other)


def _notches_along(drawn: Draft, edge: Edge) -> list[float]:
    """How far along an edge, its darts closed, its notches lie, but for those at its ends, mm."""
    found = []
    for notch in drawn.spec.notch:
        try:
            places = places_of(drawn.pattern, notch)
        except NoSuchEdgeError:
            continue  # A303 tells it
        along = [(at - edge.start) % edge.line.length for ring, at in places if ring == edge.ring]
        along = [edge.sewn_at(s) for s in along if s <= edge.length]
        found += [s for s in along if LENGTH_SLACK < s < edge.sewn - LENGTH_SLACK]
    return sorted(found)


def _apart(one: list[float], other: list[float], lengths: tuple[float, float]) -> float | None:
    """How far apart the notches of two edges lie at most, with the ease spread evenly, mm."""
    if len(one) != len(other):
        return None
    mean = sum(lengths) / 2
    shares = ((a / lengths[0], b / lengths[1]) for a, b in zip(one, other, strict=True))
    return max((abs(a - b) * mean for a, b in shares), default=0.0)


def _corners(
    first: Edge, second: Edge, turned: bool
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    if any(edge.length >= edge.line.length for edge in (first, second)):
        return None
    start, end = (_inner_angle(first, at_start) for at_start in (True, False))
    meets_start, meets_end = (
        _inner_angle(second, at_start != turned) for at_start in (True, False)
    )
    return (start, meets_start), (end, meets_end)


def _wrong(row: SeamRow, notched: _Notched) -> Iterator[Finding]:
    where, (first, second) = f"seam {row.name}", row.joins
    if not row.matches:
        a, b = row.lengths
        what = (
            f"{first} is {a:.2f} mm and {second} {b:.2f} mm long: they differ by "
            f"{abs(a - b):.2f} mm with an ease of {row.ease:.2f} mm"
        )
        yield fault("A312", where, what, "redraw one edge or state the ease")
    if not row.notches_meet:
        one, other = (_listed(at) for at in notched)
        what = f"from where it begins the notches of {first} lie {one}, those of {second} {other}"
        mend = "set them once, with [[seam.notch]], or move the one"
        yield fault("A361", where, what, mend)
    if row.flat and row.corners is not None:
        for label, angles in zip(("start", "end"), row.corners, strict=True):
            if abs(sum(angles) - 180.0) > FLAT_SLACK:
                yield fault(
                    "A313",
                    where,
                    f"at the {label} of {first} the corners are {angles[0]:.1f} and "
                    f"{angles[1]:.1f} degrees, {sum(angles):.1f} together: it won't close flat",
                    "bring them to 180 degrees together",
                )


def _listed(at: list[float]) -> str:
    return f"at {', '.join(f'{s:.2f}' for s in at)} mm" if at else "nowhere"


def _inner_angle(edge: Edge, at_start: bool) -> float:
    """Angle inside the piece between the edge and what adjoins it there, degrees."""
    return 180.0 - turn_degrees(
        *directions(edge.line, edge.place(0.0 if at_start else edge.length))
    )
