"""Marks on the face: crosses, dots, drilled holes and lines, and the distance that they keep."""

from __future__ import annotations

from collections.abc import Iterator

from foamwright.findings import Finding, fault
from foamwright.geometry.path import Path
from foamwright.geometry.region import boundary, curve, distance, region, touches_or_overlaps
from foamwright.job import MarkSpec
from foamwright.model import Mark, MarkShape, Piece
from foamwright.stages.alter.axis import TWIN
from foamwright.stages.alter.pattern import OWN, Pattern

#: Flattening where distances to edges are judged, mm.
NEAR_TOLERANCE = 0.005


def mark_at(name: str, shape: MarkShape, at: complex, size: float, to: complex | None) -> Mark:
    """A mark of `size` mm across (dot, hole: diameter; cross: arm to arm); a line runs at..to."""
    if shape == "cross":
        r = size / 2
        arms = [(at - r, at + r), (at - 1j * r, at + 1j * r)]
        paths = tuple(Path.polygon(arm, closed=False) for arm in arms)
    elif shape == "line":
        end = at + size if to is None else to
        paths = (Path.polygon([at, end], closed=False),)
    else:
        paths = (Path.circle(at, size / 2),)
    return Mark(name, shape, at, paths)


def asked_marks(
    pattern: Pattern, specs: tuple[MarkSpec, ...]
) -> Iterator[tuple[MarkSpec, Mark | Finding]]:
    """The job's marks, at the places that they moved to, and their twins where a half was opened.

    Sizes stay.  Unknown points are faults.
    """
    for number, spec in enumerate(specs, 1):
        own = f"{OWN}mark-{number}"
        name = spec.name or spec.point or f"mark-{number}"
        place = own if spec.point is None else spec.point
        if pattern.spot(place) is None:
            known = ", ".join(pattern.piece().points) or "none"
            what = f"mark {name}: no point {spec.point!r}"
            mend = f"drawn points are {known}"
            yield spec, fault("A301", pattern.name, what, mend, piece=pattern.name)
        for end in ("", TWIN):
            at, to = pattern.spot(place + end), pattern.spot(f"{own}-to{end}")
            if at is not None:
                yield spec, mark_at(name + end, spec.shape, at, spec.size, to)


def too_near(piece: Piece, mark: Mark, keep: float) -> Finding | None:
    """A fault where the mark leaves the piece or comes nearer than keep (mm) to an edge."""
    inside = region(piece.outline, (o.path for o in piece.openings), NEAR_TOLERANCE)
    edges = boundary(inside)
    for path in mark.paths:
        drawn = curve(path, NEAR_TOLERANCE)
        gap = distance(drawn, edges)
        if not touches_or_overlaps(inside, drawn) or gap < keep - NEAR_TOLERANCE or gap == 0.0:
            return fault(
                "A302",
                f"{piece.name} at {mark.at.real:.1f}, {mark.at.imag:.1f} mm",
                f"mark {mark.name} comes within {gap:.2f} mm of an edge or leaves the piece"
                f" ({keep:g} mm are asked for)",
                "move it, make it smaller or lessen its keep",
                piece=piece.name,
            )
    return None
