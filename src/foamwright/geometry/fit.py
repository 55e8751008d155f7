"""Arcs and lines through a smooth curve within a tolerance; corners stay corners.

A run is a stretch of cubics between corners, kept lines and arcs, cusps and the path's own ends.
Does not simplify lines or arcs, and does not know of offsets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.fit_biarcs import fit_biarcs
from foamwright.geometry.fit_curve import coefficients, cut_at_cusps, sample
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic, Line, Segment

#: The share of the tolerance that the fit plans with; the rest is for what lies between samples.
PLANNED = 0.97
#: A cubic this near to its chord (mm), and never doubling back, is a line.
STRAIGHT = 1e-6
#: A cubic whose slowest sample is above this share of its fastest has no cusp.
SLOW = 0.15


@dataclass(frozen=True, slots=True)
class _Piece:
    """One kept segment, or the cubics of one run; corner: it begins at one."""

    kept: Segment | None
    cubics: tuple[Cubic, ...]
    corner: bool


def fit_arcs(path: Path, tolerance: float) -> Path:
    """The path as lines and arcs, no point of either farther than tolerance (mm) from the other.

    Lines and arcs are kept as they are; each smooth run of cubics becomes arcs whose tangents
    agree at the joints.  Corners keep their place exactly.  Raises GeometryError where tolerance
    is not positive or the path is not finite.
    """
    if not tolerance > 0:
        raise GeometryError("a fit needs a tolerance above nought")
    if not any(isinstance(s, Cubic) for s in path.segments):
        return path
    made: list[Segment] = []
    corners = []
    for piece in _pieces(path, tolerance):
        if piece.corner:
            corners.append(len(made))
        if piece.kept is not None:
            made.append(piece.kept)
        else:
            made.extend(_fit_run(piece.cubics, tolerance))
    return Path(tuple(made), path.closed, frozenset(corners))


def _pieces(path: Path, tolerance: float) -> list[_Piece]:
    parts = _simple_parts(path, tolerance)
    pieces: list[_Piece] = []
    for segment, corner in parts:
        if not isinstance(segment, Cubic):
            pieces.append(_Piece(segment, (), corner))
        elif pieces and pieces[-1].kept is None and not corner:
            last = pieces.pop()
            pieces.append(_Piece(None, (*last.cubics, segment), last.corner))
        else:
            pieces.append(_Piece(None, (segment,), corner))
    return pieces


def _simple_parts(path: Path, tolerance: float) -> list[tuple[Segment, bool]]:
    """Segments without cusps, straight cubics as lines, each with whether it begins at a corner."""
    cubics = [s for s in path.segments if isinstance(s, Cubic)]
    if not np.isfinite(coefficients(cubics)).all():
        raise GeometryError("a curve with a point that is not finite")
    suspects = iter(_may_turn_back(cubics))
    parts: list[tuple[Segment, bool]] = []
    for i, segment in enumerate(path.segments):
        corner = i in path.corners
        if not isinstance(segment, Cubic):
            parts.append((segment, corner))
            continue
        cut = cut_at_cusps(segment, tolerance) if next(suspects) else [segment]
        for k, part in enumerate(cut):
            parts.append((_straightened(part), corner or k > 0))
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


def _fit_run(cubics: Sequence[Cubic], tolerance: float) -> list[Segment]:
    curve = sample(cubics)
    chain = fit_biarcs(curve, PLANNED * tolerance)
    chain.joints[0], chain.joints[-1] = cubics[0].start, cubics[-1].end
    return list(chain.segments())
