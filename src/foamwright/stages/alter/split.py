"""A piece cut in two along a straight line, to be joined again: for pieces longer than their stock.

Both parts get the allowance beyond the line, notches or short marks at the same stations along it,
and a cross each at the same distance from it.  Does not decide whether a piece is split.

Terms: a place's side is its distance from the line, mm, positive to the left of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from foamwright.geometry.path import Path, joined
from foamwright.geometry.region import covers, curve, region
from foamwright.geometry.segments import Line, Points
from foamwright.model import Mark, Piece
from foamwright.stages.alter.bites import Bite, BitesMeetError, bitten
from foamwright.stages.alter.marks import mark_at

#: Steps in which an outline is searched for its crossings with the line, mm.
STEP = 1.0
#: Halvings of a step: down to a rounding.
HALVINGS = 60
#: Stations of notches along the line, as parts of it: not even, so that no part fits turned round.
STATIONS = (0.3, 0.6)
#: Depth of a notch at most, mm, and as a part of the allowance that bears it.
NOTCH_DEPTH, NOTCH_SHARE = 4.0, 0.5
#: A mark in place of a notch: from this far inside the edge, so long, mm.
MARK_INSET, MARK_LENGTH = 1.0, 4.0
#: The cross: its size, and its distance from the line, mm.
CROSS_SIZE, CROSS_APART = 6.0, 15.0
#: How closely curves are followed where places are judged, mm.
FINE = 0.05


class SplitError(Exception):
    """The line does not part the piece in two, or runs through something of it."""


@dataclass(frozen=True, slots=True)
class Cutting:
    """The line from a towards b, and the allowance beyond it on both parts, mm.

    notched: the machine can cut notches into the allowance.
    """

    a: complex
    b: complex
    allowance: float = 0.0
    notched: bool = True

    @property
    def along(self) -> complex:
        return (self.b - self.a) / abs(self.b - self.a)

    def side(self, p: complex) -> float:
        return ((p - self.a) * self.along.conjugate()).imag

    def sides(self, points: Points) -> npt.NDArray[np.float64]:
        made: npt.NDArray[np.float64] = ((points - self.a) * self.along.conjugate()).imag
        return made


def split(piece: Piece, line: Cutting) -> tuple[Piece, Piece]:
    """The part to the left of the line and that to its right. Raises SplitError with the reason."""
    if abs(line.b - line.a) < STEP:
        raise SplitError("its two points lie in one place")
    seam = _seam(piece.outline, line)
    return _part(piece, line, seam, 1), _part(piece, line, seam, -1)


def _seam(outline: Path, line: Cutting) -> tuple[complex, complex]:
    """Where the line itself meets the outline, in its own direction."""
    ends = [outline.point_at(s) for s in _crossings(outline, line, 0.0)]
    first, last = sorted(ends, key=lambda p: ((p - line.a) * line.along.conjugate()).real)
    return first, last


def _crossings(outline: Path, line: Cutting, level: float) -> tuple[float, float]:
    """The two arc lengths at which the outline's side is `level`. Raises SplitError."""
    count = max(64, int(outline.length / STEP) + 1)
    at = np.linspace(0.0, outline.length, count + 1)
    off = [line.side(outline.point_at(float(s))) - level for s in at]
    found = [
        _crossing(outline, line, level, (float(at[k]), float(at[k + 1])), off[k])
        for k in range(count)
        if (off[k] < 0) != (off[k + 1] < 0)
    ]
    if len(found) != 2:
        raise SplitError(f"its line crosses the outline {len(found)} times, not twice")
    return found[0], found[1]


def _crossing(
    outline: Path, line: Cutting, level: float, span: tuple[float, float], first: float
) -> float:
    low, high = span
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if (line.side(outline.point_at(middle)) - level < 0) == (first < 0):
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _part(piece: Piece, line: Cutting, seam: tuple[complex, complex], way: int) -> Piece:
    """way: 1 for the left part, -1 for the right one."""
    level = -way * line.allowance
    one, other = _crossings(piece.outline, line, level)
    run = piece.outline.between(one, other)
    if (line.side(run.point_at(run.length / 2)) - level) * way < 0:
        run = piece.outline.between(other, one + piece.outline.length)
    outline = joined([run, Path((Line(run.end, run.start),), False)], True)
    openings = tuple(o for o in piece.openings if _is_mine(o.path, line, way, o.name))
    slits = tuple(s for s in piece.slits if _is_mine(s.path, line, way, s.name))
    made = replace(
        piece,
        outline=outline,
        openings=openings,
        slits=slits,
        marks=tuple(m for m in piece.marks if line.side(m.at) * way > 0),
        points=MappingProxyType({n: p for n, p in piece.points.items() if line.side(p) * way > 0}),
        stitch=None,
    )
    return _matched(made, run.length, line, seam, way)


def _is_mine(path: Path, line: Cutting, way: int, name: str) -> bool:
    """Whether an opening or slit lies in this part. Raises SplitError where it is cut."""
    sides = line.sides(path.flatten(FINE)) * way
    if sides.min() < line.allowance + STEP and sides.max() > -line.allowance - STEP:
        raise SplitError(f"its line runs through {name}, or too near to it")
    return bool(sides.min() > 0)


def _matched(
    piece: Piece, before: float, line: Cutting, seam: tuple[complex, complex], way: int
) -> Piece:
    """With notches or marks at the stations, and the cross. before: mm of outline up to the cut."""
    spots = [seam[0] + share * (seam[1] - seam[0]) for share in STATIONS]
    cross = seam[0] + (seam[1] - seam[0]) / 2 + 1j * line.along * way * CROSS_APART
    marks = [mark_at("split-cross", "cross", cross, CROSS_SIZE, None)]
    depth = min(NOTCH_DEPTH, NOTCH_SHARE * line.allowance)
    if depth < MARK_INSET or not line.notched:
        marks += _lines(spots, line, way)
        return _bearing(piece, marks)
    start = piece.outline.point_at(before)
    bites = [
        Bite(f"split-{k}", "v", before + abs(_foot(p, line, way) - start), depth, depth)
        for k, p in enumerate(spots, 1)
    ]
    try:
        return _bearing(replace(piece, outline=bitten(piece.outline, bites)), marks)
    except BitesMeetError as why:
        raise SplitError(str(why)) from None


def _foot(p: complex, line: Cutting, way: int) -> complex:
    """The place on the part's cut edge beside a place of the line."""
    return p - 1j * line.along * way * line.allowance


def _lines(spots: list[complex], line: Cutting, way: int) -> Iterator[Mark]:
    inward = 1j * line.along * way
    for number, p in enumerate(spots, 1):
        start = p + MARK_INSET * inward
        path = Path.polygon([start, start + MARK_LENGTH * inward], closed=False)
        yield Mark(f"split-{number}", "notch", start, (path,))


def _bearing(piece: Piece, marks: list[Mark]) -> Piece:
    """With those of the marks that lie inside it whole."""
    inside = region(piece.outline, (o.path for o in piece.openings), FINE)
    borne = [m for m in marks if all(covers(inside, curve(p, FINE)) for p in m.paths)]
    return replace(piece, marks=(*piece.marks, *borne))
