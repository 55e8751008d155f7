"""A program as DXF, R12 or R2000: one polyline with bulges for each cut, in cutting order.

R12 has no field for its unit: numbers are in the machine's `dxf_units`, which the operator's sheet
states.  R2000 carries $INSUNITS besides.  Arcs are bulges, exact.  The same bytes each time.
"""

from __future__ import annotations

import logging
import re
from typing import Any

from ezdxf import colors, units
from ezdxf.document import Drawing
from ezdxf.filemanagement import new

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc
from foamwright.model import FileStyle, Program
from foamwright.stages.save.dxf_bytes import fixed_text
from foamwright.stages.save.layers import (
    as_written,
    blocks,
    colour_of,
    layer_name,
    used_layers,
)
from foamwright.stages.save.people import LETTERS, labels, lines_for_people
from foamwright.units import MM

#: Decimals of a coordinate in file units, and of a bulge (a bulge scales with the chord).
DECIMALS = 7
BULGE_DECIMALS = 12
# the library warns of R12's missing unit field on standard error; the operator's sheet tells it
logging.getLogger("ezdxf").addHandler(logging.NullHandler())
_RELEASE = {"r12": "R12", "r2000": "R2000"}


def file_scale(style: FileStyle) -> float:
    """Millimetres in one unit of the file."""
    return MM[style.dxf_units]


def file_origin(program: Program, style: FileStyle) -> complex:
    """The sheet point (mm) where the file's zero lies."""
    w, h = program.sheet.width, program.sheet.length
    return {
        "bottom-left": 0j,
        "bottom-right": complex(w, 0),
        "top-left": complex(0, h),
        "top-right": complex(w, h),
        "centre": complex(w, h) / 2,
    }[style.origin]


def dxf_text(program: Program, style: FileStyle) -> str:
    """The whole file as text with newlines only."""
    return fixed_text(lambda: _document(program, style))


def _document(program: Program, style: FileStyle) -> Drawing:
    doc = new(_RELEASE[style.dxf])
    if style.dxf == "r12":
        doc.header["$INSUNITS"] = 0  # the release has no such field
    else:
        doc.units = units.MM if style.dxf_units == "mm" else units.IN
        doc.header["$MEASUREMENT"] = 1 if style.dxf_units == "mm" else 0
    for operation, layer in used_layers(program, style).items():
        if layer not in doc.layers:
            doc.layers.add(layer, color=nearest_index(colour_of(operation, style)))
    scale, origin = file_scale(style), file_origin(program, style)
    for block in blocks(program, style):
        for cut in block.cuts:
            _polyline(doc, cut.path, block.layer, scale, origin)
    _for_people(doc, program, style, scale, origin)
    _set_extents(
        doc,
        _at(0j, scale, origin),
        _at(complex(program.sheet.width, program.sheet.length), scale, origin),
    )
    return doc


def _set_extents(doc: Drawing, low: tuple[float, float], high: tuple[float, float]) -> None:
    """The sheet as what a viewer shows first."""
    doc.modelspace().reset_extents((*low, 0.0), (*high, 0.0))
    doc.modelspace().reset_limits(low, high)
    # the library passes over a corner at nought
    doc.header["$EXTMIN"], doc.header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)


def _polyline(doc: Drawing, path: Path, layer: str, scale: float, origin: complex) -> None:
    points = []
    whole = as_written(path)
    for s in whole.segments:
        bulge = round(s.bulge, BULGE_DECIMALS) if isinstance(s, Arc) else 0.0
        points.append((*_at(s.start, scale, origin), bulge))
    if not whole.closed:
        points.append((*_at(whole.end, scale, origin), 0.0))
    attribs: dict[str, Any] = {"layer": layer}
    space = doc.modelspace()
    if doc.dxfversion == "AC1009":
        space.add_polyline2d(points, format="xyb", close=whole.closed, dxfattribs=attribs)
    else:
        space.add_lwpolyline(points, format="xyb", close=whole.closed, dxfattribs=attribs)


def _at(p: complex, scale: float, origin: complex) -> tuple[float, float]:
    q = (p - origin) / scale
    return round(q.real, DECIMALS) + 0.0, round(q.imag, DECIMALS) + 0.0


def _for_people(
    doc: Drawing, program: Program, style: FileStyle, scale: float, origin: complex
) -> None:
    if "TEXT" in style.writes:
        layer = layer_name("TEXT", style)
        for label in labels(program):
            text = doc.modelspace().add_text(
                plain_text(label.text), height=LETTERS / scale, dxfattribs={"layer": layer}
            )
            text.set_placement(_at(label.at, scale, origin))
    for name, path in lines_for_people(program, style).items():
        _polyline(doc, path, layer_name(name, style), scale, origin)


def plain_text(text: str) -> str:
    """A text in ASCII: other letters as `\\U+00E9`, the format's own escape; `^` and `%%` start
    others, so they are spaced out."""
    ascii_only = "".join(
        c if c.isascii() else f"\\U+{ord(c):04X}" if ord(c) < 0x10000 else "?" for c in text
    )
    return re.sub("%(?=%)", "% ", ascii_only.replace("^", "^ "))


def nearest_index(colour: str) -> int:
    """The colour index (1..255) of DXF's fixed table that lies nearest to #RRGGBB.

    Of two that miss it alike the higher: the palette's two oranges stay farther apart.
    """
    wanted = tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))

    def miss(index: int) -> tuple[int, int]:
        off = sum((a - b) ** 2 for a, b in zip(colors.aci2rgb(index), wanted, strict=True))
        return off, -index if off else index

    return min(range(1, 256), key=miss)
