"""Reads a written DXF strictly: polylines of lines and bulges on the record's layers.

No recovery: a file that `ezdxf.readfile`'s own strict loader would not take is refused, and so is
any entity, layer, extrusion or width that `save` does not write.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from typing import Any

from ezdxf import filemanagement

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import line_or_arc
from foamwright.record import FileEntry
from foamwright.stages.verify.reading import (
    FOR_PEOPLE,
    Reading,
    Run,
    UnreadableError,
    placed,
    to_sheet,
)
from foamwright.units import MM

#: $INSUNITS of the units a machine may take (DXF reference, header variables).
_INSUNITS = {"in": 1, "mm": 4}
#: $ACADVER of the versions that are written.
_ACADVER = {"r12": "AC1009", "r2000": "AC1015"}
#: The widest bulge that is written turns by 120 degrees; rounding may pass that a little.
WIDEST_BULGE = math.tan(math.radians(120.0) / 4) * (1 + 1e-6)

Vertex = tuple[float, float, float]


def read_dxf(data: bytes, entry: FileEntry) -> Reading:
    """The file's runs in sheet coordinates. Raises UnreadableError where it is no DXF."""
    doc = _load(data)
    reasons = [*_unit_faults(doc, entry)]
    m = to_sheet(entry, _scale(doc, entry), flipped=False)
    runs: list[Run] = []
    for number, entity in enumerate(doc.modelspace(), 1):
        where = f"entity {number} on layer {entity.dxf.layer!r}"
        try:
            made = _run(entity, entry, m)
        except (GeometryError, UnreadableError) as err:
            reasons.append(f"{where}: {err}")
            continue
        if made is not None:
            runs.append(made)
            reasons.extend(f"{where}: {why}" for why in _extras(entity))
    reasons.extend(_elsewhere(doc, entry))
    return Reading(tuple(runs), tuple(reasons))


def _elsewhere(doc: Any, entry: FileEntry) -> Iterator[str]:
    """What lies in no model space, and layers that people can't see."""
    if any(len(layout) for layout in doc.layouts if layout.name != "Model"):
        yield "something lies outside the model space"
    if any(len(block) for block in doc.blocks if not block.is_any_layout):
        yield "a block with something in it"
    for layer in doc.layers:
        hidden = layer.is_off() or layer.is_frozen() or not layer.dxf.get("plot", 1)
        if hidden and layer.dxf.name in entry.layers.values():
            yield f"layer {layer.dxf.name!r} is off, frozen or not plotted"


def _scale(doc: Any, entry: FileEntry) -> float:
    """Millimetres in one unit of the file: by its own word where it has one."""
    own = {number: name for name, number in _INSUNITS.items()}.get(doc.header.get("$INSUNITS"))
    return MM[own] if own and entry.version != "r12" else entry.scale


def _load(data: bytes) -> Any:
    text = data.decode("cp1252", errors="surrogateescape")
    try:
        return filemanagement.read(io.StringIO(text))
    except Exception as err:  # the loader raises what its many parsers raise
        raise UnreadableError(f"not a DXF that a strict reader takes ({err})") from None


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


def _run(entity: Any, entry: FileEntry, m: Affine) -> Run | None:
    """The entity as a run, or None for a text that may stand there."""
    kind = entity.dxftype()
    names = frozenset(op for op, name in entry.layers.items() if name == entity.dxf.layer)
    if not names:
        raise UnreadableError("a layer that the record does not name")
    if kind == "TEXT" and "TEXT" in names:
        return None
    if kind == "LWPOLYLINE":
        vertices = [(float(x), float(y), float(b)) for x, y, b in entity.get_points("xyb")]
        closed = bool(entity.closed)
    elif kind == "POLYLINE":
        spots = [(v.dxf.location, v.dxf.get("bulge", 0.0)) for v in entity.vertices]
        vertices = [(float(p.x), float(p.y), float(b)) for p, b in spots]
        closed = bool(entity.is_closed)
    else:
        raise UnreadableError(f"{kind} where only polylines stand")
    path = _path(vertices, closed)
    return Run(placed(path, m), names, bool(names & set(FOR_PEOPLE)))


def _extras(entity: Any) -> Iterator[str]:
    """What a polyline has beyond what is written: height, another plane, a width, flags."""
    dxf = entity.dxf
    if dxf.get("invisible", 0) or dxf.get("transparency"):
        yield "it can't be seen"
    if entity.xdata or entity.appdata:
        yield "data of another program"
    if tuple(dxf.extrusion) != (0.0, 0.0, 1.0):
        yield "it is turned out of the plane"
    if dxf.flags & ~1:
        yield f"flags {dxf.flags} that are not written"
    if entity.dxftype() == "LWPOLYLINE":
        height, vertices = dxf.elevation, entity.get_points("se")
        wide = bool(dxf.const_width) or any(s or e for s, e in vertices)
    else:
        height = dxf.elevation.z or max((abs(v.dxf.location.z) for v in entity.vertices), default=0)
        wide = bool(dxf.default_start_width or dxf.default_end_width or dxf.smooth_type)
        wide |= any(
            v.dxf.get("start_width", 0) or v.dxf.get("end_width", 0) or v.dxf.flags
            for v in entity.vertices
        )
    if height:
        yield "it lies off the plane"
    if wide:
        yield "it has a width or a curve of its own"


def _path(vertices: list[Vertex], closed: bool) -> Path:
    if not all(math.isfinite(v) for row in vertices for v in row):
        raise UnreadableError("a number that isn't finite")
    if any(abs(b) > WIDEST_BULGE for _, _, b in vertices):
        raise UnreadableError("an arc wider than 120 degrees")
    ends = vertices[1:] + vertices[:1] if closed else vertices[1:]
    segments = [
        line_or_arc(complex(x, y), complex(x2, y2), bulge)
        for (x, y, bulge), (x2, y2, _) in zip(vertices, ends, strict=False)
    ]
    return Path.of(segments, closed)
