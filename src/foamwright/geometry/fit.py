"""Arcs and lines through a smooth curve within a tolerance; corners stay corners.

A run is a stretch of cubics between corners, kept lines and arcs, cusps and the path's own ends.
Does not simplify lines or arcs, and does not know of offsets.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.fit_curve import coefficients, cut_at_cusps, sample
from foamwright.geometry.fit_run import fit_run
from foamwright.geometry.fit_solve import KINK, Ends
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: A run's direction at a corner stays within this share of the corner's turn.
CORNER_SHARE = 0.25
#: At the end of an open path a run's direction is its own within this, radians.
FREE = math.radians(10.0)
#: What a run without ends must agree with: itself.
LOOP = Ends(1 + 0j, KINK, 1 + 0j, KINK, loop=True)
#: A cubic this near to its chord (mm), and never doubling back, is a line.
STRAIGHT = 1e-6
#: A cubic whose slowest sample is above this share of its fastest has no cusp.
SLOW = 0.15


@dataclass(frozen=True, slots=True)
class _Piece:
    """One kept segment, or the cubics of one run; corner: it begins at one."""

    segments: tuple[Segment, ...]
    corner: bool
    cusp: bool = False

    @property
    def cubics(self) -> tuple[Cubic, ...]:
        """Empty for a kept segment."""
        return tuple(s for s in self.segments if isinstance(s, Cubic))


def fit_arcs(path: Path, tolerance: float) -> Path:
    """The path as lines and arcs, no point of either farther than tolerance (mm) from the other.

    Lines and arcs are kept as they are; each smooth run of cubics becomes arcs whose tangents
    agree at the joints within a degree.  Corners keep their place exactly, and a cusp becomes one.
    A closed path that begins within a run begins at another joint afterwards.
    Raises GeometryError where tolerance is not positive or the path is not finite.
    """
    if not tolerance > 0:
        raise GeometryError("a fit needs a tolerance above nought")
    if not any(isinstance(s, Cubic) for s in path.segments):
        return path
    pieces = _pieces(path, tolerance)
    loop = path.closed and len(pieces) == 1 and not pieces[0].corner
    made: list[Segment] = []
    corners = []
    for i, piece in enumerate(pieces):
        if piece.corner:
            corners.append(len(made))
        if not piece.cubics:
            made.extend(piece.segments)
            continue
        ends = LOOP if loop else _ends(pieces, i, path.closed)
        made.extend(_fitted(piece.cubics, ends, tolerance))
    return Path(tuple(made), path.closed, frozenset(corners))


def _fitted(cubics: tuple[Cubic, ...], ends: Ends, tolerance: float) -> list[Line | Arc]:
    chain = fit_run(sample(cubics, tolerance, ends.loop), ends, tolerance)
    if not ends.loop:
        chain.joints[0], chain.joints[-1] = cubics[0].start, cubics[-1].end
    return chain.segments()


def _ends(pieces: Sequence[_Piece], i: int, closed: bool) -> Ends:
    own = pieces[i].segments
    before = pieces[i - 1].segments[-1] if closed or i > 0 else None
    after = pieces[(i + 1) % len(pieces)] if closed or i + 1 < len(pieces) else None
    came = None if before is None else before.tangent(1.0)
    goes = None if after is None else after.segments[0].tangent(0.0)
    first = _end(own[0].tangent(0.0), came, pieces[i])
    last = _end(own[-1].tangent(1.0), goes, after)
    return Ends(*first, *last)


def _end(own: complex, other: complex | None, piece: _Piece | None) -> tuple[complex, float]:
    """The direction that a run's end must have where `piece` begins, and within how many radians.

    At a smooth joint the neighbour's; at a corner its own, so that the corner keeps its angle; at a
    cusp any, for the curve may curl there within less than the tolerance.
    """
    if other is None or piece is None:
        return own, FREE
    if piece.cusp:
        return own, math.pi
    turn = abs(cmath.phase(own / other))
    return (own, max(KINK, CORNER_SHARE * turn)) if piece.corner else (other, max(KINK, turn))


def _pieces(path: Path, tolerance: float) -> list[_Piece]:
    """The path as kept segments and runs; a closed one begins between two of them, if it can."""
    parts = _simple_parts(path, tolerance)
    breaks = [
        i
        for i, (segment, corner, _) in enumerate(parts)
        if corner or not (isinstance(segment, Cubic) and isinstance(parts[i - 1][0], Cubic))
    ]
    if path.closed and breaks:
        parts = parts[breaks[0] :] + parts[: breaks[0]]
    pieces: list[_Piece] = []
    for segment, corner, cusp in parts:
        smooth = isinstance(segment, Cubic) and not corner
        if smooth and pieces and pieces[-1].cubics:
            pieces[-1] = replace(pieces[-1], segments=(*pieces[-1].segments, segment))
        else:
            pieces.append(_Piece((segment,), corner, cusp))
    return pieces


def _simple_parts(path: Path, tolerance: float) -> list[tuple[Segment, bool, bool]]:
    """Segments cut at cusps, straight cubics as lines; each begins at a corner? at a cusp?"""
    cubics = [s for s in path.segments if isinstance(s, Cubic)]
    if not np.isfinite(coefficients(cubics)).all():
        raise GeometryError("a curve with a point that is not finite")
    suspects = iter(_may_turn_back(cubics))
    parts: list[tuple[Segment, bool, bool]] = []
    for i, segment in enumerate(path.segments):
        corner = i in path.corners
        if not isinstance(segment, Cubic):
            parts.append((segment, corner, False))
            continue
        cut = cut_at_cusps(segment, tolerance) if next(suspects) else [segment]
        for k, part in enumerate(cut):
            parts.append((_straightened(part), corner or k > 0, k > 0))
    return parts


def _may_turn_back(cubics: Sequence[Cubic]) -> list[bool]:
    a = coefficients(cubics)
    t = np.linspace(0.0, 1.0, 17)[:, None]
    speed = np.abs(a[:, 1] + t * (2 * a[:, 2] + 3 * t * a[:, 3]))
    found: list[bool] = (speed.min(axis=0) <= SLOW * speed.max(axis=0)).tolist()
    return found


def _straightened(cubic: Cubic) -> Segment:
    chord = cubic.end - cubic.start
    size = abs(chord)
    if size == 0:
        return cubic
    turn = chord.conjugate() / size
    first, second = (cubic.control1 - cubic.start) * turn, (cubic.control2 - cubic.start) * turn
    flat = max(abs(first.imag), abs(second.imag)) <= STRAIGHT
    onward = 0 <= first.real <= size and 0 <= second.real <= size
    return Line(cubic.start, cubic.end) if flat and onward else cubic
