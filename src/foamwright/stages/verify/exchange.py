"""Whether a pattern exchange file holds the pieces that the record tells, and nothing else.

Read strictly: the blocks, layers and entities that are written, each line within what its chords
and rounding may lie off, each notch, drill hole and word.  The file is in no tool's units and no
sheet's place, so nothing is simulated.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from ezdxf import filemanagement

from foamwright.findings import Finding, fault
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import curve, directed_deviation, polyline
from foamwright.geometry.segments import Points
from foamwright.record import ExchangeEntry, ExchangePiece

#: mm in a unit of the file, by the standard's two ways.
UNITS = {"metric": 1.0, "english": 25.4}
#: Layers of points that lie on other layers' lines, and of notches.
TURNS, CURVES = "2", "3"
NOTCHES = ("4", "80", "81", "83")
#: Flattening of the record's lines where the file's are held against them, mm.
COMPARED = 0.001
#: What rounding to the standard's decimals may move a place by, mm.
ROUNDED = 0.01
#: Degrees that a written angle may be off.
ANGLE = 0.01
_ANEW = "cut the job anew"


def prove_exchange(entry: ExchangeEntry, data: bytes | None) -> tuple[Finding, ...]:
    """V051 for whatever the file holds otherwise than recorded; data: its bytes, if it is there."""
    if data is None:
        return (fault("V051", entry.name, "it is missing: it belongs with the cut files", _ANEW),)
    try:
        doc = filemanagement.read(io.StringIO(data.decode("ascii")))
        wrong = list(_wrong(doc, entry))
    except Exception as why:  # the loader raises what its many parsers raise
        wrong = [f"it can't be read as one ({type(why).__name__}: {why})"]
    return tuple(fault("V051", entry.name, what, _ANEW) for what in wrong)


def _wrong(doc: Any, entry: ExchangeEntry) -> Iterator[str]:
    drawn = Counter(e.dxf.name for e in doc.modelspace() if e.dxftype() == "INSERT")
    due = Counter(p.block for p in entry.pieces)
    if drawn != due:
        yield f"it draws {dict(drawn)} where the record has {dict(due)}"
        return
    words = [e.dxf.text for e in doc.modelspace() if e.dxftype() == "TEXT"]
    if f"UNITS: {entry.units.upper()}" not in words:
        yield f"it does not state its units as {entry.units}"
    for insert in doc.modelspace().query("INSERT"):
        if (insert.dxf.xscale, insert.dxf.yscale, insert.dxf.rotation) != (1, 1, 0):
            yield f"block {insert.dxf.name} is turned or scaled"
    for piece in entry.pieces:
        for what in _piece(list(doc.blocks[piece.block]), piece, entry):
            yield f"piece {piece.name}: {what}"


def _piece(entities: list[Any], piece: ExchangePiece, entry: ExchangeEntry) -> Iterator[str]:
    size, off = UNITS[entry.units], entry.off_mm
    by_layer: dict[str, list[Any]] = {}
    for e in entities:
        by_layer.setdefault(e.dxf.layer if e.dxftype() != "TEXT" else "words", []).append(e)
    known = {*piece.lines, TURNS, CURVES, "7", "words"}
    known |= {"13"} if piece.drills else set()
    known |= {n.layer for n in piece.notches}
    for layer in by_layer.keys() ^ known - {CURVES}:
        if layer not in (CURVES, "words"):
            yield f"layer {layer} is {'missing' if layer in known else 'none of its own'}"
    lines: list[Points] = []
    for layer, told in piece.lines.items():
        found = [_vertices(e, size) for e in by_layer.get(layer, [])]
        lines.extend(found)
        yield from _lines(layer, found, [parse_path_data(d)[0] for d in told], off)
    marked = _spots([e for k in (TURNS, CURVES) for e in by_layer.get(k, [])], size)
    corners = {p for line in lines for p in line.tolist()}
    if set(marked) != corners:
        yield "its turn and curve points are not those of its lines"
    if not _alike(_spots(by_layer.get("13", []), size), [complex(*p) for p in piece.drills], off):
        yield "its drill holes are not where the record has them"
    yield from _notches(by_layer, piece, size, off)
    yield from _grain(by_layer.get("7", []), piece, size)
    words = {e.dxf.text for e in by_layer.get("words", [])}
    if f"QUANTITY: {piece.count},{piece.mirrored}" not in words:
        yield f"it does not tell its quantity, {piece.count} and {piece.mirrored} mirrored"


def _vertices(entity: Any, size: float) -> Points:
    """A polyline's points in mm, a closed one's first again. Raises ValueError for another kind."""
    if entity.dxftype() != "POLYLINE" or any(v.dxf.bulge for v in entity.vertices):
        raise ValueError(f"{entity.dxftype()} is no polyline of chords")
    points = [complex(v.dxf.location.x, v.dxf.location.y) * size for v in entity.vertices]
    return np.array([*points, points[0]] if entity.is_closed else points)


def _lines(layer: str, found: Sequence[Points], due: Sequence[Path], off: float) -> Iterator[str]:
    if len(found) != len(due):
        yield f"layer {layer} holds {len(found)} lines where the record has {len(due)}"
        return
    for k, (line, path) in enumerate(zip(found, due, strict=True), 1):
        closed = bool(line[0] == line[-1])
        ends_off = 0.0 if closed else max(abs(line[0] - path.start), abs(line[-1] - path.end))
        there = directed_deviation(line, curve(path, COMPARED)).max()
        back = directed_deviation(path.flatten(COMPARED), polyline(line)).max()
        apart = max(ends_off, float(there), float(back))
        if closed != path.closed or apart > off + COMPARED:
            yield f"line {k} of layer {layer} lies {apart:.3f} mm off, more than {off:g}"


def _spots(entities: Sequence[Any], size: float) -> list[complex]:
    return [complex(e.dxf.location.x, e.dxf.location.y) * size for e in entities]


def _alike(found: Sequence[complex], due: Sequence[complex], off: float) -> bool:
    return len(found) == len(due) and all(
        abs(p - q) <= off for p, q in zip(found, due, strict=True)
    )


def _notches(
    by_layer: dict[str, list[Any]], piece: ExchangePiece, size: float, off: float
) -> Iterator[str]:
    for layer in NOTCHES:
        told = [n for n in piece.notches if n.layer == layer]
        found = by_layer.get(layer, [])
        places = [complex(*n.at) for n in told]
        right = _alike(_spots(found, size), places, off) and all(
            abs(e.dxf.location.z * size - n.depth) <= off
            and abs(e.dxf.get("thickness", 0.0) * size - n.width) <= off
            and abs(e.dxf.get("angle", 0.0) - n.angle) <= ANGLE
            for e, n in zip(found, told, strict=True)
        )
        if not right:
            yield f"its notches on layer {layer} are not those of the record"


def _grain(found: Sequence[Any], piece: ExchangePiece, size: float) -> Iterator[str]:
    """One straight line; the shorter it is, the more its rounding may turn it."""
    if len(found) != 1 or found[0].dxftype() != "LINE":
        yield "it has not one grain line"
        return
    ends = (complex(p.x, p.y) * size for p in (found[0].dxf.start, found[0].dxf.end))
    first, last = ends
    way = np.exp(1j * np.radians(piece.grain))
    if abs(((last - first) * way.conjugate()).imag) > 2 * ROUNDED or last == first:
        yield f"its grain does not run at {piece.grain:g} degrees"
