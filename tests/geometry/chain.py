"""A piece from its target to the written file, and how far the freed edge is off, by `dense`."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from tests.geometry.dense import Edge, feet_off, fine_count, places, spots_on

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.model import Copy, FileStyle, Opening, Piece, Placement, Program, Sheet, Stock, Tool
from foamwright.stages.compensate import compensate
from foamwright.stages.save.svg import svg_text

#: Fitting's share of the chain, mm.
TOLERANCE = 0.006
#: mm between a target and the sheet's edge.
MARGIN = 5.0
#: What the dense measure may tell too much, and how near to unreached a place is left out, mm.
SLACK = 3e-4


def as_piece(path: Path, margin: float = MARGIN) -> Piece:
    """The outline, or a plate with the opening, on a sheet with a margin."""
    x, y, right, top = path.bounds
    room = complex(margin, margin) * (1 if path.area > 0 else 2)
    at = path.transformed(Affine.translation(room - complex(x, y)))
    if path.area > 0:
        return Piece("real", at)
    size = complex(right - x, top - y) + 2 * complex(margin, margin)
    low, high = complex(margin, margin), complex(margin, margin) + size
    plate = Path.polygon([low, complex(high.real, low.imag), high, complex(low.real, high.imag)])
    return Piece("real", plate, (Opening("opening", at),))


def written(
    piece: Piece, tool: Tool, margin: float = MARGIN
) -> tuple[str, float, Sequence[Finding]]:
    """The SVG of a piece as it lies, the sheet's length, and the findings."""
    _, _, right, top = piece.outline.bounds
    width, height = right + margin, top + margin
    copy = Copy("real/drawn/1", "real", piece, False, "card", "bench")
    stock, placed = Stock("card", "sheet", width, height), (Placement(copy, 0.0, 0.0, 0.0),)
    sheet = Sheet(1, stock, "bench", width, height, placed)
    cuts, findings = compensate(sheet, tool, TOLERANCE)
    return svg_text(Program(sheet, tool, cuts, 0.0), FileStyle()), height, findings


def freed_edge_off(contours: Sequence[Path], paths: Sequence[Path], radius: float) -> float:
    """Worst of | |path - target| - radius |, mm, outside what a disc of the radius can't reach."""
    target = Edge(contours)
    if not paths:
        return math.inf
    worst = np.abs(target.off(places(paths)[0]) - radius).max()
    cut = Edge(paths)
    for contour in contours:
        worst = max(worst, feet_off(contour, target, radius, SLACK, cut).max())
    return float(worst)


def tip_lost(contours: Sequence[Path], paths: Sequence[Path], radius: float) -> float:
    """Farthest that the targets closed by a disc lie from what the paths' sweep frees, mm.

    By the polygon library's own buffers of dense points: what a measure of the paths alone does not
    see is a spike so thin that both its sides' cuts cross before its tip.
    """
    rings = [_dense(c) for c in contours]
    target = shapely.Polygon(rings[0], rings[1:])
    swept = shapely.union_all([shapely.LineString(_dense(p)).buffer(radius, 256) for p in paths])
    closed = target.buffer(radius, 512).buffer(-radius, 512)
    window = shapely.box(*(target.bounds + np.array([-1, -1, 1, 1]) * (2 * radius + 1)))
    inside = target.representative_point()
    (freed,) = (p for p in shapely.get_parts(window.difference(swept)) if p.contains(inside))
    edge = shapely.get_coordinates(shapely.segmentize(closed.boundary, 0.05))
    return float(shapely.distance(shapely.points(edge), freed.boundary).max())


def _dense(path: Path) -> NDArray[np.float64]:
    points = np.concatenate([spots_on(s, 4 * fine_count(s))[0][:-1] for s in path.segments])
    ends = points[:1] if path.closed else [path.segments[-1].end]
    points = np.concatenate([points, ends])
    return np.column_stack([points.real, points.imag])
