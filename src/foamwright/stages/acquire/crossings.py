"""Outlines that cross themselves, taken apart by the even-odd rule where a job asks for it.

The largest outline that comes of one keeps its names; the others are numbered.  An outline that
runs along itself is left as it is, to be refused: which strand is meant isn't the rule's to say.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from foamwright.errors import GeometryError
from foamwright.findings import Finding, warning
from foamwright.geometry.evenodd import even_odd
from foamwright.geometry.region import CLOSELY, loops
from foamwright.stages.acquire.shapes import Shape

#: Places told of one outline in words; a picture shows more.
MOST_TOLD = 5


def uncrossed(shapes: Iterable[Shape]) -> tuple[tuple[Shape, ...], list[Finding]]:
    """The shapes, each closed one that crosses itself as the outlines round its odd parts."""
    made: list[Shape] = []
    told: list[Finding] = []
    for s in shapes:
        asked = s.path.closed and s.role in (None, "cut")
        parts = _parts(s, told) if asked and (spots := loops(s.path)) else [s]
        if len(parts) > 1:
            told.append(_mended(s, spots, len(parts)))
        made += parts
    return tuple(made), told


def _parts(s: Shape, told: list[Finding]) -> list[Shape]:
    try:
        found = sorted(even_odd(s.path, CLOSELY[-1]), key=lambda p: -p.area)
    except GeometryError as why:
        what = f"crosses itself and can't be mended by even-odd: it {why}"
        told.append(warning("R117", s.where, what, "draw it again"))
        return [s]
    parts = [replace(s, path=found[0])]
    for k, path in enumerate(found[1:], 2):
        parts.append(replace(s, path=path, id=f"{s.id}-{k}" if s.id else "", title=""))
    return parts


def _mended(s: Shape, spots: tuple[complex, ...], count: int) -> Finding:
    places = ", ".join(f"({p.real:.2f}, {p.imag:.2f}) mm" for p in spots[:MOST_TOLD])
    more = f" and {len(spots) - MOST_TOLD} more places" if len(spots) > MOST_TOLD else ""
    what = f"crosses itself at {places}{more}: made {count} outlines of it by even-odd"
    return warning("R117", s.where, what, "compare them with the drawing", spots=spots)
