"""Arcs and lines through a smooth curve within a tolerance; corners stay corners.

A run is a stretch of cubics between corners, kept lines and arcs, cusps and the path's own ends.
Does not simplify lines or arcs, and does not know of offsets.
"""

from __future__ import annotations

import cmath
import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.batches import in_batches
from foamwright.geometry.chains import curves
from foamwright.geometry.fitting.cusps import controls_of, cut_at_cusps
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Points, Segment

#: Joints of a fit turn by at most this, radians (the writer's limit is 1 degree); and by at most
#: that where the arcs can be had so.
KINK, SMOOTH = math.radians(0.95), math.radians(0.01)
#: A run's direction at a corner is the drawing's own within this, radians, if no less is asked.
AT_CORNERS = math.radians(0.5)
#: And within this share of the angle between both sides, so that those of a spike don't cross.
SPIKE_SHARE = 0.25
#: At the end of an open path a run's direction is its own within this, radians.
FREE = math.radians(10.0)
#: The row of a cubic that is part of a drawn one.
CUT = -1
#: A drawn cubic's row among the controls, whether it may turn back, whether it is a line.
_Look: TypeAlias = tuple[int, bool, bool]


@dataclass(frozen=True, slots=True)
class _End:
    """A direction that a run's end must have, within `kink` radians; `smooth` where that can be."""

    way: complex
    kink: float
    smooth: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """A path of lines and arcs, and what was drawn before and after each corner that it kept.

    corners: the index of the segment that begins there, and the drawing's segments that meet there.
    """

    path: Path
    corners: tuple[tuple[int, Segment, Segment], ...] = ()


@dataclass(slots=True)
class _Piece:
    """One kept segment, or one run: its cubics and their rows; corner, cusp: it begins at one."""

    corner: bool
    cusp: bool
    kept: Line | Arc | None = None
    cubics: list[Cubic] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)

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
    return fit_many((path,), tolerance)[0]


def fit_many(paths: Iterable[Path], tolerance: float, threads: int = 1) -> tuple[Path, ...]:
    """As `fit_arcs` of each path, to the last bit, in less time than one by one.

    threads: how many batches of paths are worked on side by side.
    """
    _must_be_positive(tolerance)
    return tuple(in_batches(lambda batch: [f.path for f in _fit(batch, tolerance)], paths, threads))


def fitted_many(
    paths: Sequence[Path], tolerance: float, at_corners: float = AT_CORNERS
) -> list[Fitted]:
    """As `fit_many`, with what was drawn at the corners.

    at_corners: how far a direction there may be off the drawing's, radians.
    """
    _must_be_positive(tolerance)
    return _fit(paths, tolerance, at_corners)


def _must_be_positive(tolerance: float) -> None:
    if not tolerance > 0:
        raise GeometryError("a fit needs a tolerance above nought")


def _fit(paths: Sequence[Path], tolerance: float, at_corners: float = AT_CORNERS) -> list[Fitted]:
    cubics = [s for p in paths for s in p.segments if isinstance(s, Cubic)]
    if not cubics:
        return [Fitted(p) for p in paths]
    controls = controls_of(cubics)
    if not np.isfinite(controls).all():
        raise GeometryError("a curve with a point that is not finite")
    looks = _looks(controls)
    pieces = [_pieces(p, looks, tolerance) for p in paths]
    arcs = _fitted(paths, pieces, controls, tolerance, at_corners)
    return [_joined(p, own, arcs) for p, own in zip(paths, pieces, strict=True)]


def _joined(path: Path, pieces: Sequence[_Piece], arcs: Iterator[tuple[Line | Arc, ...]]) -> Fitted:
    if all(piece.kept is not None for piece in pieces) and not _has_cubics(path):
        return Fitted(path)
    made: list[Segment] = []
    corners = []
    drawn = []
    for i, piece in enumerate(pieces):
        if piece.corner:
            corners.append(len(made))
            if not piece.cusp:
                drawn.append((len(made), pieces[i - 1].last, piece.first))
        if piece.kept is None:
            made.extend(next(arcs))
        else:
            made.append(piece.kept)
    return Fitted(Path(tuple(made), path.closed, frozenset(corners)), tuple(drawn))


def _has_cubics(path: Path) -> bool:
    return any(isinstance(s, Cubic) for s in path.segments)


def _fitted(
    paths: Sequence[Path],
    pieces: Sequence[Sequence[_Piece]],
    controls: Points,
    tolerance: float,
    at_corners: float,
) -> Iterator[tuple[Line | Arc, ...]]:
    """The arcs of each run of all the paths; controls: of all their cubics as drawn."""
    from foamwright.geometry.fitting.runs import fit_runs

    cubics: list[Cubic] = []
    rows: list[int] = []
    upto, loops, ways, kinks = [0], [], [], []
    for path, own in zip(paths, pieces, strict=True):
        loop = path.closed and len(own) == 1 and not own[0].corner
        for i, piece in enumerate(own):
            if piece.kept is None:
                first, last = _ends(own, i, path.closed, at_corners)
                cubics.extend(piece.cubics)
                rows.extend(piece.rows)
                upto.append(len(cubics))
                loops.append(loop)
                ways.append((first.way, last.way))
                kinks.append((first.kink, first.smooth, last.kink, last.smooth))
    if not ways:
        return iter(())
    runs = controls[rows]
    cut = [k for k, row in enumerate(rows) if row == CUT]
    if cut:
        runs[cut] = controls_of([cubics[k] for k in cut])
    starts, ends, bulges, counts, _ = fit_runs(
        runs, np.array(upto), np.array(loops), np.array(ways), np.array(kinks), tolerance
    )
    arcs = curves(starts, ends, bulges)
    return iter([arcs[a:b] for a, b in itertools.pairwise(counts.tolist())])


def _ends(pieces: Sequence[_Piece], i: int, closed: bool, at_corners: float) -> tuple[_End, _End]:
    before = pieces[i - 1].last if closed or i > 0 else None
    after = pieces[(i + 1) % len(pieces)] if closed or i + 1 < len(pieces) else None
    came = None if before is None else before.tangent(1.0)
    goes = None if after is None else after.first.tangent(0.0)
    return (
        _end(pieces[i].first.tangent(0.0), came, pieces[i], at_corners),
        _end(pieces[i].last.tangent(1.0), goes, after, at_corners),
    )


def _end(own: complex, other: complex | None, piece: _Piece | None, at_corners: float) -> _End:
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
        limit = min(at_corners, max(SMOOTH, SPIKE_SHARE * (math.pi - turn)))
        return _End(own, limit, limit)
    return _End(other, max(KINK, turn), max(SMOOTH, turn))


def _pieces(path: Path, looks: Iterator[_Look], tolerance: float) -> list[_Piece]:
    """The path as kept segments and runs; a closed one begins between two of them, if it can."""
    parts = _simple_parts(path, looks, tolerance)
    breaks = [
        i
        for i, (segment, corner, _, _) in enumerate(parts)
        if corner or not (isinstance(segment, Cubic) and isinstance(parts[i - 1][0], Cubic))
    ]
    if path.closed and breaks:
        parts = parts[breaks[0] :] + parts[: breaks[0]]
    pieces: list[_Piece] = []
    for segment, corner, cusp, row in parts:
        if not isinstance(segment, Cubic):
            pieces.append(_Piece(corner, cusp, segment))
            continue
        if corner or not pieces or pieces[-1].kept is not None:
            pieces.append(_Piece(corner, cusp))
        pieces[-1].cubics.append(segment)
        pieces[-1].rows.append(row)
    return pieces


def _simple_parts(
    path: Path, looks: Iterator[_Look], tolerance: float
) -> list[tuple[Segment, bool, bool, int]]:
    """Segments cut at cusps, straight cubics as lines: at a corner? at a cusp? the cubic's row."""
    parts: list[tuple[Segment, bool, bool, int]] = []
    for i, segment in enumerate(path.segments):
        corner = i in path.corners
        if not isinstance(segment, Cubic):
            parts.append((segment, corner, False, CUT))
            continue
        row, turns, straight = next(looks)
        if not turns:
            kept = Line(segment.start, segment.end) if straight else segment
            parts.append((kept, corner, False, row))
            continue
        cut = cut_at_cusps(segment, tolerance)
        for k, (_, _, line) in enumerate(_looks(controls_of(cut))):
            part = Line(cut[k].start, cut[k].end) if line else cut[k]
            parts.append((part, corner or k > 0, k > 0, CUT))
    return parts


def _looks(controls: Points) -> Iterator[_Look]:
    from foamwright.geometry.fitting.suspects import looked_at

    turns, straight = looked_at(controls)
    return zip(itertools.count(), turns.tolist(), straight.tolist(), strict=False)
