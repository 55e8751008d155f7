"""Whether an altered piece is still sound: one outline, openings apart, marks and slits inside.

Only what the alterations did is told here; a drawing's own faults are its reader's matter.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain, combinations

from foamwright.findings import Finding, fault
from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    Region,
    boundary,
    common,
    contains,
    covers,
    curve,
    distance,
    grown,
    inside_point,
    is_empty,
    loops,
    region,
    self_touches,
)
from foamwright.model import Piece

#: Flattening of outlines where they are compared, mm.
SOUND_TOLERANCE = 0.005


def unsound(before: Piece, after: Piece) -> tuple[Finding, ...]:
    """Faults that the alterations made. before: the drawn piece at its size, nothing kept or cut.

    A310: the outline meets itself.  A314: an opening meets the outline or another opening, or lies
    outside.  A315: a drawn slit or mark that was inside the material and is so no longer.
    """
    met = tuple(_self_met(before, after))
    if met:
        return met
    parted = tuple(_openings_met(before, after))
    return parted or tuple(_left_outside(before, after))


def _self_met(before: Piece, after: Piece) -> Iterator[Finding]:
    told = [("crosses", p) for p in loops(after.outline)]
    if after.outline != before.outline:
        drawn = self_touches(before.outline)
        touches = self_touches(after.outline)
        told += [
            ("touches", p) for p in touches if all(abs(p - q) > SOUND_TOLERANCE for q in drawn)
        ]
    for word, p in told:
        yield fault(
            "A310",
            _where(after, p),
            f"the altered outline {word} itself",
            "lessen the relief, notch or allowance there",
            piece=after.name,
        )


def _openings_met(before: Piece, after: Piece) -> Iterator[Finding]:
    """What an opening meets now and did not meet as drawn."""
    if _same_edges(before, after):
        return
    face = region(after.outline, (), SOUND_TOLERANCE)
    edge = boundary(face)
    holes = {o.name: region(o.path, (), SOUND_TOLERANCE) for o in after.openings}
    for name, hole in holes.items():
        if distance(boundary(hole), edge) <= SOUND_TOLERANCE or not contains(
            face, inside_point(hole)
        ):
            yield _met(after, name, "the altered outline", hole, face)
    for (a, one), (b, other) in combinations(holes.items(), 2):
        if distance(one, other) <= SOUND_TOLERANCE:
            yield _met(after, a, f"opening {b}", one, other)


def _met(piece: Piece, name: str, what: str, hole: Region, other: Region) -> Finding:
    shared = common(hole, other)
    spot = inside_point(hole if is_empty(shared) else shared)
    return fault(
        "A314",
        _where(piece, spot),
        f"opening {name} meets {what}",
        "lessen the relief, notch or allowance there, or don't fix the opening's size",
        piece=piece.name,
    )


def _left_outside(before: Piece, after: Piece) -> Iterator[Finding]:
    if _same_edges(before, after):
        return
    was, now = (_face(p) for p in (before, after))
    now = grown(now, SOUND_TOLERANCE)
    slits = [(f"slit {s.name}", (s.path,)) for s in after.slits]
    marks = [(f"mark {m.name}", m.paths) for m in after.marks]
    drawn = [(s.path,) for s in before.slits], [m.paths for m in before.marks]
    kept = chain(zip(drawn[0], slits, strict=False), zip(drawn[1], marks, strict=False))
    for then, (name, here) in kept:
        if _inside(was, then) and not _inside(now, here):
            yield fault(
                "A315",
                _where(after, here[0].start),
                f"{name} no longer lies inside the piece",
                "move it, or lessen the relief or the fixed opening there",
                piece=after.name,
            )


def _same_edges(a: Piece, b: Piece) -> bool:
    return [a.outline, *(o.path for o in a.openings)] == [
        b.outline,
        *(o.path for o in b.openings),
    ]


def _face(piece: Piece) -> Region:
    return region(piece.outline, (o.path for o in piece.openings), SOUND_TOLERANCE)


def _inside(face: Region, paths: tuple[Path, ...]) -> bool:
    return all(covers(face, curve(p, SOUND_TOLERANCE)) for p in paths)


def _where(piece: Piece, p: complex) -> str:
    return f"{piece.name} at {p.real:.2f}, {p.imag:.2f} mm"
