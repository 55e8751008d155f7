"""A picture of a job's sheets as they are meant to be cut: all of them, two in a row.

It draws what the operator's sheet draws, in the same lines, so that whoever looks at it before or
after sees the same.  For looking at, never for cutting.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypeAlias
from xml.sax.saxutils import escape

from foamwright.geometry.pathdata import number
from foamwright.names import readable
from foamwright.stages.save.picture import page_scale, sheet_picture
from foamwright.stages.save.preview import SIGNATURE
from foamwright.stages.save.sheet import Batch, SheetPage, SheetView

Page: TypeAlias = tuple[Batch, SheetPage]

#: Width of the picture, white border, height of a sheet's title, gap after a sheet, mm.
WIDTH, RIM, TITLE, GAP = 297.0, 12.0, 7.0, 9.0
#: Rules of the operator's sheet's style that its pictures need, by how they begin.
_RULES = re.compile(
    r"^(?:\.(?:stock|usable|offcut|piece|line|CUT_\w+|HOLE|SCORE|PEN|uncut|bridge|start|zero|arrow)\b"
    r"|\.picture (?:text|\.)).*$",
    re.MULTILINE,
)


def sheets_svg(view: SheetView) -> str:
    """The picture as SVG text."""
    pages = [(b, p) for b in view.batches for p in b.pages]
    columns = min(2, len(pages))
    room = (WIDTH - 2 * RIM - (columns - 1) * GAP) / max(1, columns)
    y = RIM + TITLE
    drawn: list[str] = []
    for row in _rows(pages, columns) if pages else ():
        tallest = 0.0
        for k, (batch, page) in enumerate(row):
            told, height = _sheet(batch, page, RIM + k * (room + GAP), y, room)
            drawn.extend(told)
            tallest = max(tallest, height)
        y += tallest + GAP
    high = number(y, 2)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:g}mm" height="{high}mm" '
            f'viewBox="0 0 {WIDTH:g} {high}">',
            f"<title>{SIGNATURE}: {escape(readable(view.job))}</title>",
            f"<style>{_style()}</style>",
            f'<rect width="{WIDTH:g}" height="{high}" fill="#ffffff"/>',
            f'<text class="head" x="{RIM:g}" y="{RIM:g}" font-size="6">'
            f"{escape(readable(view.job))}</text>",
            *drawn,
            "</svg>",
            "",
        ]
    )


def _rows(pages: Sequence[Page], size: int) -> Iterator[Sequence[Page]]:
    """So many at a time."""
    return (pages[k : k + size] for k in range(0, len(pages), size))


def _sheet(
    batch: Batch, page: SheetPage, x: float, y: float, room: float
) -> tuple[tuple[str, str], float]:
    """A sheet's title and picture from a place downwards, in so much width; how high both are."""
    sheet = page.program.sheet
    svg = sheet_picture(page.program, page.look)
    _, _, wide, high = (float(v) for v in re.findall(r'viewBox="([^"]+)"', svg)[0].split())
    k = max(wide / room, page_scale(sheet.width, sheet.length))
    place = f'x="{number(x, 2)}" y="{number(y + TITLE, 2)}" '
    place += f'width="{number(wide / k, 2)}" height="{number(high / k, 2)}"'
    title = f"{page.title}: {batch.material_name} on {batch.machine_name}"
    words = f'<text class="head" x="{number(x, 2)}" y="{number(y + TITLE - 2, 2)}" font-size="4">'
    parts = (words + escape(readable(title)) + "</text>", svg.replace("<svg ", f"<svg {place} ", 1))
    return parts, TITLE + high / k


def _style() -> str:
    """The light colours of the operator's sheet, written out: not every viewer knows variables."""
    css = Path(__file__).with_name("operator-sheet.css").read_text(encoding="utf-8")
    colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]+)", css.split("}", 1)[0]))
    screen = css.split("@page", 1)[0]
    rules = "\n".join(_RULES.findall(screen))
    plain = re.sub(r"var\(--([a-z]+)\)", lambda m: colours[m[1]], rules)
    plain = re.sub(r"font-family: [^;}]+", "font-family: sans-serif", plain)
    return f"{plain}\n.head {{ fill: {colours['ink']}; font-family: sans-serif; }}"
