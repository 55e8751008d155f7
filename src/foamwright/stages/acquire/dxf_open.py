"""Opening a DXF file: the strict reader first, mending where it balks, each mend told.

Three things go wrong before any entity is looked at.  A file that claims an old version (or none)
but holds newer entities without their subclass markers is read with flags and layers lost: the
markers are put in first.  A file that the strict reader rejects goes through the library's recover
mode.  A file that doesn't state its unit gets a made-up one from the library: only the bytes tell.
Does not look at what is drawn.
"""

from __future__ import annotations

import io
import logging
import pathlib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from ezdxf import recover
from ezdxf.audit import AuditError, ErrorEntry
from ezdxf.document import Drawing
from ezdxf.filemanagement import dxf_file_info, read, readfile

from foamwright.findings import Finding, fault, warning

logging.getLogger("ezdxf").addHandler(logging.NullHandler())

BINARY_SIGN = b"AutoCAD Binary DXF\r\n\x1a\x00"

#: $INSUNITS: code to name and millimetres (published DXF reference; survey foot 1200/3937 m).
INSUNITS: Mapping[int, tuple[str, float]] = MappingProxyType(
    {
        1: ("in", 25.4),
        2: ("ft", 304.8),
        3: ("mi", 1609344.0),
        4: ("mm", 1.0),
        5: ("cm", 10.0),
        6: ("m", 1e3),
        7: ("km", 1e6),
        8: ("uin", 25.4e-6),
        9: ("mil", 25.4e-3),
        10: ("yd", 914.4),
        11: ("angstrom", 1e-7),
        12: ("nm", 1e-6),
        13: ("um", 1e-3),
        14: ("dm", 100.0),
        15: ("dam", 1e4),
        16: ("hm", 1e5),
        17: ("Gm", 1e12),
        18: ("au", 149597870700e3),
        19: ("ly", 9460730472580800e3),
        20: ("pc", 3.0856775814913673e19),
        21: ("survey-ft", 1200e3 / 3937),
        22: ("survey-in", 100e3 / 3937),
        23: ("survey-yd", 3600e3 / 3937),
        24: ("survey-mi", 6336000e3 / 3937),
    }
)

#: Entities that newer versions brought, and the marker that opens their own data.
_MARKERS = {b"LWPOLYLINE": b"AcDbPolyline", b"SPLINE": b"AcDbSpline", b"ELLIPSE": b"AcDbEllipse"}
#: Group codes that every entity may have before its own data.
_COMMON = frozenset(
    (b"5", b"6", b"8", b"48", b"60", b"62", b"67", b"330", b"370", b"420", b"430", b"440")
)
_NEWER = re.compile(
    rb"^[ \t]*0[ \t]*\r?\n[ \t]*(LWPOLYLINE|SPLINE|ELLIPSE)[ \t]*\r?$", re.MULTILINE
)
_VERSION = re.compile(rb"\$ACADVER[ \t]*\r?\n[ \t]*1[ \t]*\r?\n[ \t]*(AC\d+)")
_UNITS = re.compile(rb"\$INSUNITS[ \t]*\r?\n[ \t]*70[ \t]*\r?\n[ \t]*([-+]?\d+)")
_SYSTEM = re.compile(rb"\$MEASUREMENT[ \t]*\r?\n[ \t]*70[ \t]*\r?\n[ \t]*([01])")
_UNITS_BINARY = re.compile(rb"\$INSUNITS\x00\x46\x00?(..)", re.DOTALL)
#: Mends that may change what is drawn: a number guessed, an entity dropped or altered.
_ALTERED = frozenset(
    (
        *(AuditError.INVALID_FLOATING_POINT_VALUE, AuditError.INVALID_INTEGER_VALUE),
        *(AuditError.REMOVED_INVALID_GRAPHIC_ENTITY, AuditError.INVALID_OWNER_HANDLE),
        AuditError.REMOVED_ENTITY_WITH_INVALID_OWNER_HANDLE,
        AuditError.INVALID_HATCH_BOUNDARY_PATH,
        *(AuditError.UNDEFINED_BLOCK, AuditError.UNDEFINED_BLOCK_NAME),
        AuditError.INVALID_BLOCK_REFERENCE_CYCLE,
        *(AuditError.INVALID_EXTRUSION_VECTOR, AuditError.INVALID_MAJOR_AXIS),
        *(AuditError.INVALID_VERTEX_COUNT, AuditError.INVALID_SPLINE_DEFINITION),
        *(AuditError.INVALID_SPLINE_CONTROL_POINT_COUNT, AuditError.INVALID_SPLINE_FIT_POINT_COUNT),
        *(AuditError.INVALID_SPLINE_KNOT_VALUE_COUNT, AuditError.INVALID_SPLINE_WEIGHT_COUNT),
        AuditError.INVALID_ELLIPSE_RATIO,
    )
)
#: How the library tells of an entity dropped for another's handle, under a code of many uses.
_DROPPED = "with a conflicting handle"
#: Versions before this one have no markers (R13 brought them).
_FIRST_MARKED = b"AC1012"
#: The version that a file without one is read as: R2000, the oldest that the library keeps.
_READ_AS = b"AC1015"


@dataclass(frozen=True)
class Opened:
    """A readable file.

    insunits: the code that literally stands in it, None where there is none.  system: what its
    $MEASUREMENT says, `inches` or `metric`, which settles no unit; else empty.
    """

    document: Drawing
    insunits: int | None
    system: str = ""


def open_dxf(file: pathlib.Path) -> tuple[Opened | None, tuple[Finding, ...]]:
    """The document and what was mended; None with a fault where it can't be read."""
    name = file.name
    try:
        data = file.read_bytes()
    except OSError as error:
        why = error.strerror or "can't be opened"
        return None, (fault("R001", name, f"can't be read: {why}", "check path and rights"),)
    if not data.strip():
        return None, (fault("R001", name, "is empty", "export the drawing again"),)
    binary = data.startswith(BINARY_SIGN)
    if not binary and not re.search(rb"SECTION|EOF", data):
        mend = "give a DXF file"
        return None, (fault("R001", name, "is not a DXF file", mend),)
    marked, count = (data, 0) if binary else with_markers(data)
    told = []
    if count:
        what = f"{count} entities without subclass markers, read as if they had them"
        told.append(warning("R301", name, what, "compare the sizes with the drawing"))
    document, more = _loaded(file, marked if count else None, binary)
    if document is None:
        return None, (*told, *more)
    return Opened(document, stated_insunits(data), stated_system(data)), (*told, *more)


def stated_insunits(data: bytes) -> int | None:
    """The $INSUNITS that the bytes hold, None where they hold none."""
    if data.startswith(BINARY_SIGN):
        found = _UNITS_BINARY.search(data)
        return int.from_bytes(found[1], "little", signed=True) if found else None
    found = _UNITS.search(data)
    return int(found[1]) if found else None


def stated_system(data: bytes) -> str:
    """What $MEASUREMENT says in a text file: `inches`, `metric` or nothing."""
    found = _SYSTEM.search(data)
    return ("inches", "metric")[int(found[1])] if found else ""


def _loaded(
    file: pathlib.Path, marked: bytes | None, binary: bool
) -> tuple[Drawing | None, tuple[Finding, ...]]:
    # the library lets AttributeError, ValueError, KeyError and more through on broken files
    try:
        return _strictly(file, marked), ()
    except Exception as error:
        first = _one_line(error)
    broken = fault("R001", file.name, f"is broken: {first}", "export the drawing again")
    if binary:
        return None, (broken,)
    try:
        document, auditor = recover.read(io.BytesIO(marked or file.read_bytes()))
        document.modelspace()
    except Exception:
        return None, (broken,)
    return document, (_mended(file.name, first, (*auditor.fixes, *auditor.errors)),)


def _strictly(file: pathlib.Path, marked: bytes | None) -> Drawing:
    """The document, its model space at hand; from the marked bytes where there are any."""
    if marked is None:
        document = readfile(file)
    else:
        encoding = dxf_file_info(str(file)).encoding
        document = read(io.StringIO(marked.decode(encoding, "surrogateescape")))
    document.modelspace()
    return document


def _mended(name: str, why: str, entries: Sequence[ErrorEntry]) -> Finding:
    """What recovering did. A number guessed or an entity dropped or changed is a fault."""
    mends = [_one_line(e.message) for e in entries]
    shown = "; ".join(mends[:3])
    what = f"is broken ({why})" + (
        f" and was mended in {len(mends)} places: {shown}" if mends else ""
    )
    if any(e.code in _ALTERED or _DROPPED in e.message for e in entries):
        return fault("R301", name, what, "mend it or export the drawing again")
    return warning("R301", name, what, "compare the pieces with the drawing")


def _one_line(error: object) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    # the library names entities without handle by their place in memory
    text = re.sub(r"\(#\d+\)", "", text)
    return "".join(c if c.isprintable() else "?" for c in text)[:120]


def with_markers(data: bytes) -> tuple[bytes, int]:
    """The file with missing subclass markers put in, and to how many entities.

    A file that needs none, or that states a version that reads them right, comes back as it is.
    """
    newer = Counter(_NEWER.findall(data))
    found = _VERSION.search(data)
    old = found is None or found[1] < _FIRST_MARKED
    if not newer or not (old or any(data.count(_MARKERS[t]) < n for t, n in newer.items())):
        return data, 0
    lines = data.replace(b"\r\n", b"\n").split(b"\n")
    made: list[bytes] = []
    count = at = 0
    while at + 1 < len(lines):
        code, value = lines[at].strip(), lines[at + 1].strip()
        if code != b"0" or value not in _MARKERS:
            made += lines[at : at + 2]
            at += 2
            continue
        end = at + 2
        while end + 1 < len(lines) and lines[end].strip() != b"0":
            end += 2
        tags = [(lines[i], lines[i + 1]) for i in range(at + 2, end, 2)]
        lacking = not any(c.strip() == b"100" and v.strip() == _MARKERS[value] for c, v in tags)
        count += lacking or old
        made += lines[at : at + 2]
        made += [t for tag in (_marked(tags, _MARKERS[value]) if lacking else tags) for t in tag]
        at = end
    made += lines[at:]
    if not count:
        return data, 0
    text = b"\n".join(made)
    return (_with_version(text) if old else text), count


def _marked(tags: list[tuple[bytes, bytes]], marker: bytes) -> list[tuple[bytes, bytes]]:
    """Common data, then the entity's own behind its marker, then the extended data.

    Application groups (102, from an opening brace to a closing one) are left out.
    """
    common, own, extended = [], [], []
    inside = False
    for code, value in tags:
        key = code.strip()
        if key == b"102":
            inside = not value.strip().startswith(b"}")
        elif inside:
            continue
        elif key in _COMMON:
            common.append((code, value))
        elif key.isdigit() and int(key) >= 1000:
            extended.append((code, value))
        elif key != b"100":
            own.append((code, value))
    return [(b"100", b"AcDbEntity"), *common, (b"100", marker), *own, *extended]


def _with_version(text: bytes) -> bytes:
    """The text stating the version that it is to be read as."""
    if _VERSION.search(text):
        return _VERSION.sub(b"$ACADVER\n1\n" + _READ_AS, text, count=1)
    tag = b"9\n$ACADVER\n1\n" + _READ_AS + b"\n"
    header = re.search(rb"^[ \t]*2[ \t]*\n[ \t]*HEADER[ \t]*\n", text, re.MULTILINE)
    if header:
        return text[: header.end()] + tag + text[header.end() :]
    return b"0\nSECTION\n2\nHEADER\n" + tag + b"0\nENDSEC\n" + text
