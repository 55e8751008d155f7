"""The operator's sheet: one HTML file that tells a bench what to do, and what to see to.

Terms.  *Batch*: one material on one machine, with its settings and its sheets.  The page loads
nothing; its content policy admits its own style and its own script alone, by hash.  Without the
script it tells the same, but for zoom and stills.  Every word that comes from a job is escaped.
The same view gives the same bytes.

Does not judge, place or prove: it prints what the record and the rules say, and never that a thing
is safe.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from foamwright.checklist import CheckLine, Stage
from foamwright.model import Method, Placement, Program
from foamwright.names import readable
from foamwright.record import PermitEntry, Verification
from foamwright.stages.save.picture import (
    Look,
    legend_bar,
    legend_line,
    operations_of,
    sheet_picture,
    steps_of,
    thumbnail,
)
from foamwright.stages.save.piece_arrows import arrow_words
from foamwright.word_tables import WordTable

#: What each operation is called on the sheet.
OPERATION_WORDS: Mapping[str, str] = {
    "PEN": "drawn mark",
    "SCORE": "scored mark",
    "HOLE": "mark made as a hole",
    "CUT_SLIT": "slit",
    "CUT_INNER": "opening",
    "CUT_OUTER": "outline, cut last of its piece",
}
STAGE_WORDS: Mapping[str, str] = {
    "before": "Before",
    "set-up": "Setting up",
    "during": "While it cuts",
    "after": "Afterwards",
}

#: Settings that the list of runs repeats: the tool, how deep or how strong, how fast.
KEY_SETTINGS = ("Blade", "Blade depth", "Force", "Power", "Focus", "Air", "Speed", "Passes")
#: Spots out of the tool's reach that are listed; the record has them all.
UNREACHED_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Setting:
    """A value to set or to check at the machine, in words and units, and how it is known."""

    name: str
    value: str
    basis: str
    origin: str


@dataclass(frozen=True, slots=True)
class CutFile:
    """A file to load. drawn, sheet: sizes in its own unit; bare: it can't name that unit itself."""

    name: str
    unit: str
    drawn: str
    sheet: str
    bare: bool


@dataclass(frozen=True, slots=True)
class SheetPage:
    """One sheet of stock with its files and its picture's particulars. stock: what to fetch."""

    title: str
    stock: str
    program: Program
    look: Look
    files: tuple[CutFile, ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """One material on one machine.

    composition: the words that the profile claims; basis: how they are known.  sources: where the
    settings come from.
    """

    material: str
    material_name: str
    machine: str
    machine_name: str
    method: Method
    composition: tuple[str, ...]
    basis: str
    thickness: str
    hold: tuple[str, ...]
    stock: str
    back: bool
    settings: tuple[Setting, ...]
    sources: tuple[str, ...]
    pages: tuple[SheetPage, ...]


@dataclass(frozen=True, slots=True)
class SheetView:
    """All that the sheet tells. warnings, notes: findings as lines; checks: of the pattern;
    measuring: what is to be measured of what was cut; exchange: the file for other shops, which is
    not for the machine.
    """

    job: str
    version: str
    batches: tuple[Batch, ...]
    permits: tuple[PermitEntry, ...]
    checklist: Mapping[Stage, tuple[CheckLine, ...]]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    verification: Verification | None
    checks: tuple[WordTable, ...] = ()
    measuring: tuple[WordTable, ...] = ()
    exchange: str = ""


def sheet_html(view: SheetView) -> str:
    """The whole page as text."""
    style, script = (_part(f"operator-sheet.{kind}") for kind in ("css", "js"))
    policy = (
        f"default-src 'none'; style-src 'sha256-{_digest(style)}'; "
        f"script-src 'sha256-{_digest(script)}'; base-uri 'none'; form-action 'none'"
    )
    return _template().render(
        view=view,
        style=Markup(style),
        script=Markup(script),
        policy=policy,
        stages=[(STAGE_WORDS[s], lines) for s, lines in view.checklist.items() if lines],
        pages=sum(len(b.pages) for b in view.batches),
        pieces=sum(len(p.program.sheet.placements) for b in view.batches for p in b.pages),
        unreached_shown=UNREACHED_SHOWN,
        seconds=sum(p.program.time_s for b in view.batches for p in b.pages),
    )


def _part(name: str) -> str:
    """The style or the script; neither has anything in it that could end its element."""
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


@cache
def _template() -> Template:
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_printable,
    )
    environment.filters["duration"] = duration
    environment.filters["capitalize_first"] = lambda text: text[:1].upper() + text[1:]
    environment.filters["lower_first"] = lambda text: text[:1].lower() + text[1:]
    environment.filters["picture"] = lambda p: Markup(sheet_picture(p.program, p.look))
    environment.filters["thumbnail"] = lambda p: Markup(thumbnail(p.program, p.look.label))
    environment.filters["legend"] = lambda p: [
        (Markup(legend_line(o)), OPERATION_WORDS[o], dict(p.program.times).get(o))
        for o in operations_of(p.program)
    ]
    environment.filters["steps"] = step_words
    environment.filters["key_settings"] = key_settings
    environment.filters["bridges"] = bridge_rows
    environment.filters["stickers"] = sticker_rows
    environment.filters["legend_line"] = lambda kind: Markup(legend_line(kind))
    environment.filters["legend_bar"] = lambda kind: Markup(legend_bar(kind))
    environment.filters["pieces"] = lambda p: [
        piece_row(i, placed, p.look) for i, placed in enumerate(p.program.sheet.placements, 1)
    ]
    return environment.get_template("operator-sheet.html.j2")


def _printable(value: Any) -> Any:
    """Names with control or direction characters are shown with them made visible."""
    return readable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def duration(seconds: float) -> str:
    """`1 h 5 min`, `4 min 20 s`, `35 s`."""
    whole = max(1, round(seconds))
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def piece_row(index: int, placed: Placement, look: Look) -> Mapping[str, Any]:
    """A line of the table of pieces; the size is of the target as it lies, mm."""
    piece = placed.piece
    x0, y0, x1, y1 = piece.outline.bounds
    hand = "mirror image" if placed.copy.mirrored else "as drawn"
    return {
        "number": index,
        "name": placed.copy.name,
        "hand": f"{hand}, once turned over by hand" if placed.copy.turned else hand,
        "size": f"{x1 - x0:.1f} × {y1 - y0:.1f}",
        "turned": f"{placed.rotation:g}°",
        "arrows": arrow_words(placed, look.nap, look.stretch) or "any way",
        "openings": len(piece.openings),
        "slits": len(piece.slits),
        "marks": len(piece.marks),
    }


def step_words(page: SheetPage) -> list[str]:
    """A line for each contour in cutting order: `opening eye of piece 2, sole/mirrored/1`."""
    numbers = {p.copy.name: k for k, p in enumerate(page.program.sheet.placements, 1)}
    lines = []
    for step in steps_of(page.program):
        what = step.contour.replace(":", " ")
        number = numbers.get(step.copy)  # a stroke in the scrap is no piece's
        lines.append(f"{what} of piece {number}, {step.copy}" if number else f"{what} in the scrap")
    return lines


def key_settings(batch: Batch) -> list[Setting]:
    """The settings without which nobody starts a machine."""
    return [s for s in batch.settings if s.name in KEY_SETTINGS]


def sticker_rows(view: SheetView) -> list[tuple[str, tuple[str, ...]]]:
    """The copies that a printed label is asked for: where each lies, and what its label says."""
    return [
        (f"{page.title}, no. {i}", placed.copy.sticker)
        for batch in view.batches
        for page in batch.pages
        for i, placed in enumerate(page.program.sheet.placements, 1)
        if placed.copy.sticker
    ]


def bridge_rows(page: SheetPage) -> list[Mapping[str, str]]:
    """A line for each copy with holding bridges: how many, how wide, how much edge they leave."""
    rows: list[Mapping[str, str]] = []
    for placed in page.program.sheet.placements:
        name = placed.copy.name
        mine = [c.bridge for c in page.program.cuts if c.copy == name and c.bridge]
        if mine:
            widths = sorted({f"{b.width:g}" for b in mine})
            length = f"{sum(b.length for b in mine):.1f}"
            row = {"name": name, "count": str(len(mine)), "width": ", ".join(widths)}
            rows.append({**row, "length": length})
    return rows
