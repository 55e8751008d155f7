"""Arcs and lines through a smooth curve within a tolerance; corners stay corners.

A run is a stretch of cubics between corners, kept lines and arcs, cusps and the path's own ends.
Does not simplify lines or arcs, and does not know of offsets.
"""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.fitting.cusps import controls_of, cut_at_cusps, may_turn_back
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Points, Segment

#: Joints of a fit turn by at most this, radians (the writer's limit is 1 degree); and by at most
#: that where the arcs can be had so.
KINK, SMOOTH = math.radians(0.95), math.radians(0.01)
#: A run's direction at a corner stays within this share of the corner's turn.
CORNER_SHARE = 0.25
#: At the end of an open path a run's direction is its own within this, radians.
FREE = math.radians(10.0)
#: A cubic this near to its chord (mm), and never doubling back, is a line.
STRAIGHT = 1e-6


@dataclass(frozen=True, slots=True)
class _End:
    """A direction that a run's end must have, within `kink` radians; `smooth` where that can be."""

    way: complex
    kink: float
    smooth: float


@dataclass(slots=True)
class _Piece:
    """One kept segment, or the cubics of one run; corner, cusp: it begins at one."""

    corner: bool
    cusp: bool
    kept: Line | Arc | None = None
    cubics: list[Cubic] = field(default_factory=list)

    @property
    def first(self) -> Segment:
        return self.kept or self.cubics[0]

    @property
    def last(self) -> Segment:
        return self.kept or self.cubics[-1]


def fit_arcs(path: Path, tolerance: float) -> Path:
    """The path as lines and arcs, no point of either farther than tolerance (mm) from the other.

    Lines and arcs are kept as they are; each smooth run of cubics becomes arcs whose tangents
    agree at the joints within a degree, and within a hundredth of one where the allowed arcs let
    them.  Corners keep their place exactly, and a cusp becomes one.
    A closed path that begins within a run begins at another joint afterwards.
    Raises GeometryError where tolerance is not positive or the path is not finite.
    """
    if not tolerance > 0:
        raise GeometryError("a fit needs a tolerance above nought")
    cubics = [s for s in path.segments if isinstance(s, Cubic)]
    if not cubics:
        return path
    controls = controls_of(cubics)
    if not np.isfinite(controls).all():
        raise GeometryError("a curve with a point that is not finite")
    pieces = _pieces(path, controls, tolerance)
    arcs = iter(_fitted(pieces, path.closed, tolerance))
    made: list[Segment] = []
    corners = []
    for piece in pieces:
        if piece.corner:
            corners.append(len(made))
        if piece.kept is None:
            made.extend(next(arcs))
        else:
            made.append(piece.kept)
    return Path(tuple(made), path.closed, frozenset(corners))


def _fitted(pieces: Sequence[_Piece], closed: bool, tolerance: float) -> list[list[Line | Arc]]:
    """The arcs of each run."""
    from foamwright.geometry.fitting.runs import fit_runs

    cubics: list[Cubic] = []
    upto, ways, kinks = [0], [], []
    loop = closed and len(pieces) == 1 and not pieces[0].corner
    for i, piece in enumerate(pieces):
        if piece.kept is None:
            first, last = _ends(pieces, i, closed)
            cubics.extend(piece.cubics)
            upto.append(len(cubics))
            ways.append((first.way, last.way))
            kinks.append((first.kink, first.smooth, last.kink, last.smooth))
    if not ways:
        return []
    starts, ends, bulges, counts, _ = fit_runs(
        controls_of(cubics),
        np.array(upto),
        np.full(len(ways), loop),
        np.array(ways),
        np.array(kinks),
        tolerance,
    )
    arcs = [
        Arc(a, b, bulge) if bulge else Line(a, b)
        for a, b, bulge in zip(starts.tolist(), ends.tolist(), bulges.tolist(), strict=True)
    ]
    return [arcs[a:b] for a, b in itertools.pairwise(counts.tolist())]


def _ends(pieces: Sequence[_Piece], i: int, closed: bool) -> tuple[_End, _End]:
    before = pieces[i - 1].last if closed or i > 0 else None
    after = pieces[(i + 1) % len(pieces)] if closed or i + 1 < len(pieces) else None
    came = None if before is None else before.tangent(1.0)
    goes = None if after is None else after.first.tangent(0.0)
    return (
        _end(pieces[i].first.tangent(0.0), came, pieces[i]),
        _end(pieces[i].last.tangent(1.0), goes, after),
    )


def _end(own: complex, other: complex | None, piece: _Piece | None) -> _End:
    """What a run's end must agree with where `piece` begins.

    At a smooth joint with the neighbour; at a corner with its own direction, so that the corner
    keeps its angle; at a cusp with none, for the curve may curl there within less than tolerance.
    """
    if other is None or piece is None:
        return _End(own, FREE, FREE)
    if piece.cusp:
        return _End(own, math.pi, math.pi)
    turn = abs(cmath.phase(own / other))
    if piece.corner:
        limit = max(KINK, CORNER_SHARE * turn)
        return _End(own, limit, limit)
    return _End(other, max(KINK, turn), max(SMOOTH, turn))


def _pieces(path: Path, controls: Points, tolerance: float) -> list[_Piece]:
    """The path as kept segments and runs; a closed one begins between two of them, if it can."""
    parts = _simple_parts(path, controls, tolerance)
    breaks = [
        i
        for i, (segment, corner, _) in enumerate(parts)
        if corner or not (isinstance(segment, Cubic) and isinstance(parts[i - 1][0], Cubic))
    ]
    if path.closed and breaks:
        parts = parts[breaks[0] :] + parts[: breaks[0]]
    pieces: list[_Piece] = []
    for segment, corner, cusp in parts:
        if not isinstance(segment, Cubic):
            pieces.append(_Piece(corner, cusp, segment))
        elif not corner and pieces and pieces[-1].kept is None:
            pieces[-1].cubics.append(segment)
        else:
            pieces.append(_Piece(corner, cusp, None, [segment]))
    return pieces


def _simple_parts(
    path: Path, controls: Points, tolerance: float
) -> list[tuple[Segment, bool, bool]]:
    """Segments cut at cusps, straight cubics as lines; each begins at a corner? at a cusp?"""
    suspects = iter(zip(may_turn_back(controls), _straight(controls), strict=True))
    parts: list[tuple[Segment, bool, bool]] = []
    for i, segment in enumerate(path.segments):
        corner = i in path.corners
        turns, straight = (False, False) if not isinstance(segment, Cubic) else next(suspects)
        if not isinstance(segment, Cubic) or not (turns or straight):
            parts.append((segment, corner, False))
            continue
        cut = cut_at_cusps(segment, tolerance) if turns else [segment]
        for k, part in enumerate(cut):
            line = _straight(controls_of([part]))[0]
            kept = Line(part.start, part.end) if line else part
            parts.append((kept, corner or k > 0, k > 0))
    return parts


def _straight(controls: Points) -> list[bool]:
    """Of cubics (k, 4), whether each is its chord, as near as STRAIGHT."""
    chord = controls[:, 3] - controls[:, 0]
    size = np.abs(chord)
    inner = controls[:, 1:3] - controls[:, :1]
    turned = inner * (chord.conj() / np.where(size > 0, size, 1.0))[:, None]
    flat = np.abs(turned.imag).max(axis=1) <= STRAIGHT
    onward = (turned.real >= 0).all(axis=1) & (turned.real <= size[:, None]).all(axis=1)
    found: list[bool] = (flat & onward & (size > 0)).tolist()
    return found
