"""Reads a written DXF strictly: polylines of lines and bulges on the record's layers.

No recovery: a file that `ezdxf.readfile`'s own strict loader would not take is refused, and so is
any entity, layer, extrusion or width that `save` does not write.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from typing import Any

import ezdxf

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line, line_or_arc
from foamwright.record import FileEntry
from foamwright.stages.verify.reading import FOR_PEOPLE, Run, UnreadableError, to_sheet
from foamwright.units import MM

#: $INSUNITS of the units a machine may take (DXF reference, header variables).
_INSUNITS = {"in": 1, "mm": 4}
#: $ACADVER of the versions that are written.
_ACADVER = {"r12": "AC1009", "r2000": "AC1015"}
#: The widest bulge that is written turns by 120 degrees; rounding may pass that a little.
WIDEST_BULGE = math.tan(math.radians(120.0) / 4) * (1 + 1e-6)

Vertex = tuple[float, float, float]


def read_dxf(data: bytes, entry: FileEntry) -> tuple[Run, ...]:
    """Its runs in sheet coordinates and file order. Raises UnreadableError with every reason."""
    doc = _load(data)
    reasons = [*_unit_faults(doc, entry)]
    runs: list[Run] = []
    for number, entity in enumerate(doc.modelspace(), 1):
        try:
            run = _run(entity, number, entry)
        except UnreadableError as err:
            reasons.extend(err.reasons)
        else:
            runs.extend(run)
    if any(len(layout) for layout in doc.layouts if layout.name != "Model"):
        reasons.append("something lies outside the model space")
    if reasons:
        raise UnreadableError(reasons)
    return tuple(runs)


def _load(data: bytes) -> Any:
    text = data.decode("cp1252", errors="surrogateescape")
    try:
        return ezdxf.read(io.StringIO(text))  # type: ignore[attr-defined]
    except Exception as err:  # the loader raises what its many parsers raise
        raise UnreadableError([f"not a DXF that a strict reader takes ({err})"]) from None


def _unit_faults(doc: Any, entry: FileEntry) -> Iterator[str]:
    if doc.dxfversion != _ACADVER.get(entry.version):
        yield f"its version is {doc.dxfversion} and the record's {entry.version}"
    if entry.unit not in _INSUNITS or entry.scale != MM[entry.unit]:
        yield f"the record's unit {entry.unit!r} and scale {entry.scale:g} do not agree"
    elif entry.version != "r12" and doc.header.get("$INSUNITS") != _INSUNITS[entry.unit]:
        yield (
            f"its $INSUNITS is {doc.header.get('$INSUNITS')} and the record says "
            f"{entry.unit} ({_INSUNITS[entry.unit]})"
        )


def _run(entity: Any, number: int, entry: FileEntry) -> list[Run]:
    kind, layer = entity.dxftype(), entity.dxf.layer
    where = f"entity {number} on layer {layer!r}"
    names = frozenset(op for op, name in entry.layers.items() if name == layer)
    if not names:
        raise UnreadableError([f"{where}: a layer that the record does not name"])
    people = bool(names & set(FOR_PEOPLE))
    if kind == "TEXT" and "TEXT" in names:
        return []
    if kind == "LWPOLYLINE":
        vertices, closed = _light(entity, where)
    elif kind == "POLYLINE":
        vertices, closed = _heavy(entity, where)
    else:
        raise UnreadableError([f"{where}: {kind} where only polylines stand"])
    try:
        path = _path(vertices, closed, where)
        placed = path.transformed(to_sheet(entry, flipped=False))
    except GeometryError as err:
        raise UnreadableError([f"{where}: {err}"]) from None
    return [Run(placed, names, people)]


def _light(entity: Any, where: str) -> tuple[list[Vertex], bool]:
    reasons = []
    if entity.dxf.elevation or tuple(entity.dxf.extrusion) != (0.0, 0.0, 1.0):
        reasons.append(f"{where}: it lies off the plane")
    rows = [tuple(float(v) for v in row) for row in entity.get_points("xysebq"[:5])]
    if entity.dxf.const_width or any(s or e for _, _, s, e, _ in rows):
        reasons.append(f"{where}: it has a width")
    if entity.dxf.flags & ~1:
        reasons.append(f"{where}: flags {entity.dxf.flags} that are not written")
    if reasons:
        raise UnreadableError(reasons)
    return [(x, y, b) for x, y, _, _, b in rows], bool(entity.closed)


def _heavy(entity: Any, where: str) -> tuple[list[Vertex], bool]:
    reasons = []
    if tuple(entity.dxf.extrusion) != (0.0, 0.0, 1.0) or entity.dxf.elevation.z:
        reasons.append(f"{where}: it lies off the plane")
    if entity.dxf.flags & ~1 or entity.dxf.smooth_type:
        reasons.append(f"{where}: flags {entity.dxf.flags} that are not written")
    if entity.dxf.default_start_width or entity.dxf.default_end_width:
        reasons.append(f"{where}: it has a width")
    vertices = []
    for v in entity.vertices:
        d = v.dxf
        if d.location.z or d.get("start_width", 0) or d.get("end_width", 0) or d.flags:
            reasons.append(f"{where}: a vertex with height, width or flags")
        vertices.append((float(d.location.x), float(d.location.y), float(d.get("bulge", 0.0))))
    if reasons:
        raise UnreadableError(reasons)
    return vertices, bool(entity.is_closed)


def _path(vertices: list[Vertex], closed: bool, where: str) -> Path:
    if not all(math.isfinite(v) for row in vertices for v in row):
        raise UnreadableError([f"{where}: a number that isn't finite"])
    if any(abs(b) > WIDEST_BULGE for _, _, b in vertices):
        raise UnreadableError([f"{where}: an arc wider than 120 degrees"])
    ends = vertices[1:] + vertices[:1] if closed else vertices[1:]
    segments = []
    for (x, y, bulge), (x2, y2, _) in zip(vertices, ends, strict=False):
        a, b = complex(x, y), complex(x2, y2)
        segments.append(Line(a, b) if bulge == 0 else line_or_arc(a, b, bulge))
    return Path.of(segments, closed)
