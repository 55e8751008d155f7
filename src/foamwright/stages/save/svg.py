"""A program as plain SVG: groups by operation, plain paths, millimetres, the same bytes each time.

No transform, style sheet or script.  y is turned round here: the file's zero is the sheet's far
left corner.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape, quoteattr

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import number, to_path_data
from foamwright.model import FileStyle, Program
from foamwright.stages.save.layers import as_written, blocks, colour_of, layer_name
from foamwright.stages.save.people import LETTERS, labels, lines_for_people

#: Decimals of a millimetre in coordinates: a tenth of the writer's share of the budget and less.
DECIMALS = 6
#: Width of the drawn line, mm: for looking at; the tool follows its middle.
HAIRLINE = "0.1"


def turned(program: Program) -> Affine:
    """From sheet coordinates (y up) to the file's (y down)."""
    return Affine(1.0, 0.0, 0.0, -1.0, 0.0, program.sheet.length)


def svg_text(program: Program, style: FileStyle) -> str:
    """The whole file; one `path` for each of the program's cuts, in cutting order."""
    m = turned(program)
    w, h = number(program.sheet.width, DECIMALS), number(program.sheet.length, DECIMALS)
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">',
    ]
    for block in blocks(program, style):
        out.append(_group(block.label, block.operation, block.colour))
        for cut in block.cuts:
            out.append(_path(cut.path, m))
        out.append("</g>")
    out.extend(_for_people(program, style, m))
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _group(label: str, operation: str, colour: str) -> str:
    return (
        f'<g id={quoteattr(label)} data-operation={quoteattr(operation)} fill="none" '
        f'stroke={quoteattr(colour)} stroke-width="{HAIRLINE}">'
    )


def _path(path: Path, m: Affine) -> str:
    return f'<path d="{to_path_data(as_written(path).transformed(m), DECIMALS)}"/>'


def _for_people(program: Program, style: FileStyle, m: Affine) -> Iterator[str]:
    if "TEXT" in style.writes:
        colour = quoteattr(colour_of("TEXT", style))
        yield f'<g id={quoteattr(layer_name("TEXT", style))} data-operation="TEXT" fill={colour}>'
        for label in labels(program):
            at = m(label.at)
            x, y = number(at.real, DECIMALS), number(at.imag, DECIMALS)
            yield f'<text x="{x}" y="{y}" font-size="{LETTERS:g}">{escape(label.text)}</text>'
        yield "</g>"
    for name, path in lines_for_people(program, style).items():
        yield _group(layer_name(name, style), name, colour_of(name, style))
        yield _path(path, m)
        yield "</g>"
