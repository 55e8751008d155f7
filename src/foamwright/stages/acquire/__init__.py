"""Acquire: drawings (SVG, DXF) become pieces.

A reader turns a file into `Shape`s in mm, y up; `pieces` sorts those into pieces.  Coordinates of
an SVG are measured from the lower left corner of its page, those of a DXF from its own zero.
A file's fault is a finding, never an exception.
"""

from __future__ import annotations

import pathlib
import re
from types import MappingProxyType

from foamwright.findings import Finding, fault, warning
from foamwright.geometry.path import CORNER_ANGLE
from foamwright.model import Drawing, Piece
from foamwright.stages.acquire.pieces import sort_shapes
from foamwright.stages.acquire.shapes import Reading
from foamwright.stages.acquire.told import tidied
from foamwright.units import unit_size

#: The widest gap between loose ends, in mm, that is closed.
JOIN_TOLERANCE = 0.05
#: Larger files are refused unread.
MOST_BYTES = 100_000_000
#: All of a drawing smaller, or a piece larger than this, in mm: the unit is in doubt.
LEAST_SIZE, MOST_SIZE = 2.0, 10_000.0

_DXF_START = re.compile(rb"\s*(?:999\s*\r?\n.*\r?\n\s*)*0\s*\r?\n\s*SECTION", re.IGNORECASE)
_XML_STARTS = (b"<", b"\xef\xbb\xbf<", b"\xff\xfe<", b"\xfe\xff\x00<", b"<\x00", b"\x00<")
_BINARY_DXF = b"AutoCAD Binary DXF"


def read_drawing(
    file: pathlib.Path,
    units: str | None = None,
    corner_angle: float = CORNER_ANGLE,
    join_tolerance: float = JOIN_TOLERANCE,
    mend_crossings: bool = False,
) -> tuple[Drawing, tuple[Finding, ...]]:
    """The pieces of a drawing and what was noticed; a file that can't be read gives faults.

    units: what a bare number of the file stands for; it beats what a DXF states, and an SVG with a
    physical size has no bare number.  corner_angle: degrees of turn above which a joint is a
    corner.  join_tolerance: mm, gaps up to it are closed.  mend_crossings: an outline that crosses
    itself is taken apart by the even-odd rule instead of refused.
    """
    shapes, findings, unit = _read(file, units, corner_angle, join_tolerance)
    if not shapes and any(f.is_fault for f in findings):
        return Drawing(file.name, (), unit), tidied(findings)
    found = sort_shapes(shapes, file.name, mend_crossings=mend_crossings)
    told = (*findings, *found.findings, *_size_in_doubt(file.name, found.pieces, unit, units))
    aliases = MappingProxyType(dict(found.aliases))
    drawing = Drawing(file.name, found.pieces, unit, aliases, strays=found.strays)
    return drawing, tidied(told)


def select(drawing: Drawing, name: str) -> Piece | None:
    """The piece that a job's `file#name` means: piece, id, title, group or layer; else None."""
    meant = drawing.aliases.get(name, name)
    return next((p for p in drawing.pieces if p.name == meant), None)


def _read(
    file: pathlib.Path, units: str | None, corner_angle: float, join_tolerance: float
) -> Reading:
    kind, told = _kind(file)
    if kind == "svg":
        from foamwright.stages.acquire.svg import read_svg

        return read_svg(file, units, corner_angle, join_tolerance)
    if kind == "dxf":
        from foamwright.stages.acquire.dxf import read_dxf
        from foamwright.stages.acquire.svgroot import known_unit

        wrong = known_unit(file.name, units)
        return ((), wrong, "") if wrong else read_dxf(file, units, corner_angle, join_tolerance)
    return (), told, ""


def _kind(file: pathlib.Path) -> tuple[str, tuple[Finding, ...]]:
    """`svg` or `dxf` by the file's first bytes, or why it is neither."""
    try:
        if not file.is_file():
            what = "is not a file" if file.exists() else "is not there"
            return "", (fault("R001", file.name, what, "check the path"),)
        size = file.stat().st_size
        with file.open("rb") as stream:
            head = stream.read(4096)
    except OSError as why:
        return "", (fault("R001", file.name, f"can't be read: {why.strerror or why}"),)
    if not head.strip():
        return "", (fault("R001", file.name, "is empty", "export the drawing again"),)
    if size > MOST_BYTES:
        what = f"holds {size / 1e6:.0f} MB; more than {MOST_BYTES / 1e6:.0f} MB are not read"
        return "", (fault("R001", file.name, what, "split the drawing"),)
    if head.startswith(_BINARY_DXF) or _DXF_START.match(head):
        return "dxf", ()
    if head.lstrip().startswith(_XML_STARTS):
        return "svg", ()
    packed = "is packed: unpack it first" if head.startswith(b"\x1f\x8b") else ""
    what = packed or "is neither an SVG nor a DXF drawing"
    return "", (fault("R002", file.name, what, "" if packed else "export it as SVG or DXF"),)


def _size_in_doubt(
    name: str, pieces: tuple[Piece, ...], unit: str, units: str | None
) -> tuple[Finding, ...]:
    """Sizes that no foam or fabric piece has: a fault where nobody said the unit.

    An SVG with a physical size stays in doubt unless the unit asked for is the one that it states.
    """
    if not pieces:
        return ()
    sizes = [max(b[2] - b[0], b[3] - b[1]) for b in (p.outline.bounds for p in pieces)]
    if LEAST_SIZE <= max(sizes) <= MOST_SIZE:
        return ()
    what = f"its largest piece measures {max(sizes):.3g} mm, so the unit is in doubt"
    if units is None or unit_size(units) != unit_size(unit):
        return (fault("R005", name, what, f"state the unit with --units ({unit}, if it is meant)"),)
    return (warning("R005", name, what, f"check that {unit} is meant"),)
