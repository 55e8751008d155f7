"""B-splines as chains of cubics: exact where the mathematics allows, else within a tolerance.

Terms: a piece is the Bezier form of one knot span; homogeneous control points are rows (w P, w).
A non-rational piece of degree 3 or less is a cubic exactly; a rational quadratic piece that is a
circular arc becomes that arc; all else is approximated by cubics that agree in place and direction
at their ends.  Knows nothing of files.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.errors import GeometryError
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

Row: TypeAlias = npt.NDArray[np.complex128]

#: Halvings of a piece after which a curve is given up as not approximable.
MAX_DEPTH = 24
#: Least share of the greatest weight that a weight may have: below, a double's digits run out.
LEAST_WEIGHT = 1e-9
#: Highest degree taken: published formats stop far below.
MAX_DEGREE = 25
#: Relative departure from a circle below which a rational quadratic is the arc it stands for.
ARC_EPS = 1e-9
#: Where in 0..1 an approximation is compared with its curve.
_SAMPLES = np.arange(1, 8) / 8


def segments_of(
    degree: int,
    knots: Sequence[float],
    points: Sequence[complex],
    weights: Sequence[float],
    tolerance: float,
) -> list[Segment]:
    """The curve over its whole domain, knots[degree]..knots[n], clamped or not.

    weights: one for each control point, or none at all.  tolerance: mm, for the pieces that have
    no exact form.  Raises GeometryError on data that define no curve.
    """
    _must_define_curve(degree, knots, points, weights)
    w = np.array(weights if len(weights) else [1.0] * len(points))
    w /= w.max()
    rational = bool(np.ptp(w) > 0)
    rows = np.column_stack([np.array(points) * w, w.astype(complex)])
    made: list[Segment] = []
    for span in range(degree, len(points)):
        if knots[span] < knots[span + 1]:
            piece = _bezier(rows, knots, degree, span)
            made.extend(_rational(piece, tolerance) if rational else _plain(piece, tolerance))
    return chained(made)


def _must_define_curve(
    degree: int, knots: Sequence[float], points: Sequence[complex], weights: Sequence[float]
) -> None:
    n = len(points)
    if not 1 <= degree <= MAX_DEGREE:
        raise GeometryError(f"a spline of degree {degree}")
    if n <= degree:
        raise GeometryError(f"a spline of degree {degree} with {n} control points")
    if len(knots) != n + degree + 1:
        raise GeometryError(f"{len(knots)} knots where {n + degree + 1} are needed")
    if not all(math.isfinite(k) for k in knots) or any(b < a for a, b in pairwise(knots)):
        raise GeometryError("knots that do not rise")
    if not (knots[degree] < knots[n] and math.isfinite(knots[-1] - knots[0])):
        raise GeometryError("a spline whose knots span nothing")
    if len(weights) not in (0, n):
        raise GeometryError(f"{len(weights)} weights for {n} control points")
    if not all(math.isfinite(w) and w > 0 for w in weights):
        raise GeometryError("weights that are not above nought")
    if len(weights) and min(weights) < LEAST_WEIGHT * max(weights):
        raise GeometryError("weights that differ beyond all measure")


def chained(segments: Sequence[Segment]) -> list[Segment]:
    """The same run with each segment starting on the very number where the last one ends.

    Only for neighbours that differ by rounding; a true gap stays and is caught where paths are
    made.
    """
    made: list[Segment] = []
    for s in segments:
        rounded = made and 0 < abs(made[-1].end - s.start) <= 1e-9 * max(1.0, abs(s.start))
        made.append(moved_start(s, made[-1].end) if rounded else s)
    return made


def moved_start(s: Segment, to: complex) -> Segment:
    """The segment with its start at `to`: a cubic's handle moves along, an arc keeps its sweep."""
    if isinstance(s, Cubic):
        return Cubic(to, s.control1 + (to - s.start), s.control2, s.end)
    if isinstance(s, Arc):
        return Arc(to, s.end, s.bulge)
    return Line(to, s.end)


def _bezier(rows: Row, knots: Sequence[float], degree: int, span: int) -> Row:
    """Bezier rows of a knot span, by the curve's polar form (Ramshaw's blossom)."""
    low, high = knots[span], knots[span + 1]
    return np.array(
        [
            _blossom(rows, knots, degree, span, [low] * (degree - j) + [high] * j)
            for j in range(degree + 1)
        ]
    )


def _blossom(rows: Row, knots: Sequence[float], degree: int, span: int, at: Sequence[float]) -> Row:
    d = rows[span - degree : span + 1].copy()
    for r in range(1, degree + 1):
        for j in range(degree, r - 1, -1):
            i = span - degree + j
            share = (at[r - 1] - knots[i]) / (knots[i + degree - r + 1] - knots[i])
            d[j] = (1 - share) * d[j - 1] + share * d[j]
    result: Row = d[degree]
    return result


def _plain(piece: Row, tolerance: float) -> list[Segment]:
    p = [complex(v) for v in piece[:, 0]]
    if len(p) == 2:
        return [Line(p[0], p[1])]
    if len(p) == 3:
        return [Cubic(p[0], (p[0] + 2 * p[1]) / 3, (2 * p[1] + p[2]) / 3, p[2])]
    if len(p) == 4:
        return [Cubic(p[0], p[1], p[2], p[3])]
    return list(_approximated(piece, tolerance))


def _rational(piece: Row, tolerance: float) -> list[Segment]:
    w = piece[:, 1].real
    if len(piece) == 2:
        return [Line(*(complex(v) for v in piece[:, 0] / w))]
    if np.ptp(w) <= 1e-15 * w.max():
        return _plain(piece / w[0], tolerance)
    arc = _as_arc(piece) if len(piece) == 3 else None
    return [arc] if arc else list(_approximated(piece, tolerance))


def _as_arc(piece: Row) -> Arc | None:
    """The circular arc that a rational quadratic is: legs equal, middle weight cos(sweep / 2)."""
    w = piece[:, 1].real
    a, b, c = (complex(v) for v in piece[:, 0] / w)
    first, second = b - a, c - b
    size = abs(first)
    if size == 0 or abs(abs(second) - size) > ARC_EPS * size:
        return None
    turn = math.atan2((first.conjugate() * second).imag, (first.conjugate() * second).real)
    middle = w[1] / math.sqrt(w[0] * w[2])
    if abs(middle - math.cos(turn / 2)) > ARC_EPS or abs(turn) < 1e-6:
        return None
    return Arc(a, c, math.tan(turn / 4))


class _Curve:
    """A Bezier piece, rational or not, with its derivative."""

    def __init__(self, piece: Row) -> None:
        self.degree = len(piece) - 1
        self.rows = piece
        self.hodograph = self.degree * np.diff(piece, axis=0)

    def _rows_at(self, rows: Row, t: npt.NDArray[np.float64]) -> Row:
        n = len(rows) - 1
        k = np.arange(n + 1)
        binomial = np.array([math.comb(n, int(i)) for i in k], dtype=float)
        basis = binomial * t[:, None] ** k * (1 - t[:, None]) ** (n - k)
        result: Row = basis @ rows
        return result

    def points(self, t: npt.NDArray[np.float64]) -> Row:
        rows = self._rows_at(self.rows, t)
        result: Row = rows[:, 0] / rows[:, 1]
        return result

    def derivatives(self, t: npt.NDArray[np.float64]) -> Row:
        rows, slope = self._rows_at(self.rows, t), self._rows_at(self.hodograph, t)
        place = rows[:, 0] / rows[:, 1]
        result: Row = (slope[:, 0] - place * slope[:, 1]) / rows[:, 1]
        return result


def _approximated(piece: Row, tolerance: float) -> list[Cubic]:
    """Cubics by Hermite's conditions, halved until seven samples lie within half the tolerance."""
    curve = _Curve(piece)
    made: list[Cubic] = []
    stack = [(0.0, 1.0, 0)]
    while stack:
        a, b, depth = stack.pop()
        ends = np.array([a, b])
        p, q = (complex(v) for v in curve.points(ends))
        u, v = (complex(d) * (b - a) / 3 for d in curve.derivatives(ends))
        cubic = Cubic(p, p + u, q - v, q)
        miss = np.abs(curve.points(a + (b - a) * _SAMPLES) - cubic.points(_SAMPLES)).max()
        if miss <= tolerance / 2:
            made.append(cubic)
        elif depth == MAX_DEPTH or not math.isfinite(miss):
            raise GeometryError("a spline that no chain of cubics comes near")
        else:
            middle = (a + b) / 2
            stack += [(middle, b, depth + 1), (a, middle, depth + 1)]
    return made


def closed_through(points: Sequence[complex]) -> list[Segment]:
    """The smooth closed cubic spline through the points, parameters by chord length.

    At least three different neighbours are needed.  Raises GeometryError otherwise.
    """
    kept = [p for i, p in enumerate(points) if p != points[i - 1]]
    n = len(kept)
    if n < 3:
        raise GeometryError("a closed spline through fewer than three points")
    p = np.array(kept)
    h = np.abs(np.roll(p, -1) - p)
    before = np.roll(h, 1)
    slope = (np.roll(p, -1) - p) / h
    system = np.zeros((n, n))
    for i in range(n):
        system[i, i - 1] += h[i]
        system[i, i] += 2 * (h[i] + before[i])
        system[i, (i + 1) % n] += before[i]
    right = 3 * (h * np.roll(slope, 1) + before * slope)
    m = np.linalg.solve(system, right)
    made: list[Segment] = []
    for i in range(n):
        a, b = complex(p[i]), complex(p[(i + 1) % n])
        reach = float(h[i]) / 3
        made.append(Cubic(a, a + complex(m[i]) * reach, b - complex(m[(i + 1) % n]) * reach, b))
    return made
