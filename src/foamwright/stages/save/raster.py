"""A picture of ours as PNG, drawn by resvg with the face that the paper pattern bears.

No font of the machine is used, so that the same picture gives the same bytes.
"""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import reportlab
import resvg_py

from foamwright.stages.save.preview import SIGNATURE

#: A PNG's larger side, its least width and its greatest height, pixels.
PIXELS, LEAST_WIDTH, GREATEST_HEIGHT = 2000, 1200, 8000
#: Where the first chunk after a PNG's header begins: signature and IHDR (ISO 15948).
_AFTER_HEADER = 33


def png_of(svg: str) -> bytes:
    """The picture as a PNG that bears the same signature in a text chunk."""
    fonts = Path(reportlab.__file__).parent / "fonts"
    width, height = (_side(svg, side) for side in ("width", "height"))
    wide = max(LEAST_WIDTH, PIXELS * min(1.0, width / height))
    wide = max(1.0, min(wide, GREATEST_HEIGHT * width / height))
    data = resvg_py.svg_to_bytes(
        svg_string=svg,
        width=round(wide),
        dpi=96.0,  # for sizes in mm
        skip_system_fonts=True,
        font_files=[str(fonts / name) for name in ("Vera.ttf", "VeraBd.ttf", "VeraIt.ttf")],
        sans_serif_family="Bitstream Vera Sans",
        font_family="Bitstream Vera Sans",
    )
    return (
        data[:_AFTER_HEADER]
        + _chunk(b"tEXt", b"Title\0" + SIGNATURE.encode())
        + (data[_AFTER_HEADER:])
    )


def _side(svg: str, name: str) -> float:
    """A side of the picture in its own mm."""
    return float(svg.partition(f' {name}="')[2].partition("mm")[0])


def _chunk(kind: bytes, data: bytes) -> bytes:
    check = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)
