"""The boundaries of a DXF fill (HATCH, MPOLYGON) as closed runs of lines, arcs and cubics.

Terms: a boundary is one closed line round the fill or a hole in it; a text box is a boundary that
keeps the fill off a label, and is nobody's outline.  Arc edges are exact; ellipse edges are mapped
circles, spline edges are taken apart as SPLINE entities are.
Does not read fill patterns, and does not tell which outlines are drawn besides: see `pieces`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from foamwright.errors import GeometryError
from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.geometry.segments import Line, Segment
from foamwright.stages.acquire import nurbs
from foamwright.stages.acquire.dxf_entities import (
    Run,
    bulged,
    circular,
    placed,
    plane_map,
    spline_segments,
    turn_between,
)

#: Types that this module reads.
FILLS = frozenset(("HATCH", "MPOLYGON"))
#: Boundary flag of a label's box (published DXF reference, group 92).
TEXT_BOX = 8
#: Edges whose ends are this near, mm, meet: files round to so many places.
MEETS = 1e-3
#: Most edges of one boundary.
MOST_EDGES = 200_000


def boundaries(fill: Any, to_mm: Affine) -> Iterator[Run]:
    """Each boundary as a closed run in mm. Raises OutOfPlaneError, GeometryError."""
    own = plane_map(fill.dxf.extrusion)
    if fill.dxftype() == "MPOLYGON" and fill.dxf.hasattr("offset"):
        own = own @ Affine.translation(complex(fill.dxf.offset.x, fill.dxf.offset.y))
    level = float(fill.dxf.elevation.z) if fill.dxf.hasattr("elevation") else 0.0
    for path in fill.paths.paths:
        if path.path_type_flags & TEXT_BOX:
            continue
        segments = _polyline(path.vertices) if hasattr(path, "vertices") else _edges(path.edges)
        if segments:
            yield placed(segments, True, to_mm @ own, level)


def _polyline(vertices: Sequence[Sequence[float]]) -> list[Segment]:
    rows = [tuple(float(v) for v in row) for row in vertices]
    return bulged([complex(x, y) for x, y, _ in rows], [b for _, _, b in rows], True)


def _edges(edges: Sequence[Any]) -> list[Segment]:
    """The edges head to tail; one that was stored the other way is turned round."""
    if len(edges) > MOST_EDGES:
        raise GeometryError(f"a boundary of {len(edges)} edges")
    chains = [made for e in edges if (made := _edge(e))]
    chain: list[Segment] = []
    for i, run in enumerate(chains):
        if not chain:
            after = chains[i + 1] if i + 1 < len(chains) else None
            chain = _reversed(run) if after and _begins_wrong(run, after) else list(run)
            continue
        here = chain[-1].end
        turned = abs(run[-1].end - here) < abs(run[0].start - here)
        onward = _reversed(run) if turned else run
        _must_meet(here, onward[0].start)
        chain += [nurbs.moved_start(onward[0], here), *onward[1:]]
    if chain and chain[0].start != chain[-1].end:
        _must_meet(chain[-1].end, chain[0].start)
        chain[0] = nurbs.moved_start(chain[0], chain[-1].end)
    return chain


def _begins_wrong(run: Sequence[Segment], after: Sequence[Segment]) -> bool:
    ends = (after[0].start, after[-1].end)
    return min(abs(run[0].start - e) for e in ends) < min(abs(run[-1].end - e) for e in ends)


def _reversed(run: Sequence[Segment]) -> list[Segment]:
    return [s.reversed() for s in reversed(run)]


def _must_meet(a: complex, b: complex) -> None:
    if not abs(a - b) <= MEETS:
        raise GeometryError(f"a boundary whose edges are {abs(a - b):.3g} apart")


def _edge(edge: Any) -> list[Segment]:
    kind = edge.EDGE_TYPE
    if kind == "LineEdge":
        a, b = complex(edge.start.x, edge.start.y), complex(edge.end.x, edge.end.y)
        return [Line(a, b)] if a != b else []
    if kind == "ArcEdge":
        start, end = math.radians(edge.start_angle), math.radians(edge.end_angle)
        centre = complex(edge.center.x, edge.center.y)
        made = circular(centre, float(edge.radius), start, turn_between(start, end))
        return made if edge.ccw else _reversed(made)
    if kind == "EllipseEdge":
        return _ellipse(edge)
    if kind == "SplineEdge":
        return _spline(edge)
    raise GeometryError(f"an edge of an unknown kind ({kind})")


def _ellipse(edge: Any) -> list[Segment]:
    major = complex(edge.major_axis.x, edge.major_axis.y)
    ratio = float(edge.ratio)
    if not (abs(major) > 0 and math.isfinite(ratio) and ratio != 0):
        raise GeometryError("an ellipse without axes")
    minor = 1j * major * ratio
    frame = Affine(
        major.real, major.imag, minor.real, minor.imag, float(edge.center.x), float(edge.center.y)
    )
    start, end = float(edge.start_param), float(edge.end_param)
    arcs = circular(0j, 1.0, start, turn_between(start, end))
    made = [t for s in arcs for t in s.transformed(frame)]
    return made if edge.ccw else _reversed(made)


def _spline(edge: Any) -> list[Segment]:
    control = [complex(p.x, p.y) for p in edge.control_points]
    if not control:
        raise GeometryError("a boundary's spline without control points")
    return nurbs.chained(
        spline_segments(edge.degree, edge.knot_values, control, edge.weights, IDENTITY)
    )
