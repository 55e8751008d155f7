"""A new job: a commented `job.toml`, with an entry for each piece of a drawing where one is given.

Never overwrites a file.
"""

from __future__ import annotations

import os
from pathlib import Path

import tomlkit

from foamwright.findings import Finding, Refused, fault
from foamwright.job import piece_names
from foamwright.model import Drawing
from foamwright.names import readable
from foamwright.stages.acquire import read_drawing

JOB_FILE = "job.toml"

_HEAD = """\
# A Foamwright job. Lengths take a unit (12.7 mm, 1/2 in); a bare number is in `units`.
schema = 1

[job]
name    = {name}
units   = "mm"
{drawing_units}machine = "flatbed-knife-1200"      # a guess: choose from `foamwright profile list`
scale   = 1.0                       # resizes drafted outlines only

"""

_PIECE = """\
[[piece]]
name     = {name}
outline  = {outline}
drawn    = "cut-line"               # or "stitch-line", with an allowance
material = "pu-foam-12mm"           # a guess: choose from `foamwright profile list`
count    = 1                        # as drawn
mirrored = 0                        # mirror images besides: 1 and 1 is a left and a right
# [piece.allowance]
# default = "6 mm"
# [piece.edges]
# hem = ["1", "2"]                  # from corner to corner, as `foamwright inspect` numbers them
# [[piece.notch]]
# point = "ID"                      # a drawn point, or: edge = "NAME", at = "2 in"
# shape = "v"
# depth = "4 mm"

"""

_SEAM = """\
# [[seam]]                          # what is sewn or glued to what: compared by `check`
# name  = "ankle"
# joins = ["PIECE.EDGE", "PIECE.EDGE"]
"""


def start_job(
    folder: Path, drawing: Path | None, units: str | None
) -> tuple[Path, tuple[Finding, ...]]:
    """Writes folder/job.toml; gives its path and what was noticed in the drawing.

    Raises Refused where there is a job already, the drawing is faulty or it can't be written.
    """
    file = folder / JOB_FILE
    if file.exists():
        raise Refused([fault("W703", str(file), "there is a job already", "choose another folder")])
    drawn: Drawing | None = None
    findings: tuple[Finding, ...] = ()
    if drawing is not None:
        drawn, findings = read_drawing(drawing, units)
        if any(f.is_fault for f in findings):
            raise Refused(findings)
    stated = f"drawing_units = {_quoted(units)}\n" if units else ""
    text = _HEAD.format(name=_quoted(folder.resolve().name or "job"), drawing_units=stated)
    text += _pieces(drawn, drawing, folder) + _SEAM
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with file.open("x", encoding="utf-8", newline="\n") as out:
            out.write(text)
    except OSError as why:
        reason = why.strerror or str(why)
        raise Refused(
            [fault("W702", str(file), f"can't be written: {reason}", "choose another folder")]
        ) from why
    return file, findings


def _pieces(drawn: Drawing | None, drawing: Path | None, folder: Path) -> str:
    if drawn is None or drawing is None:
        return _PIECE.format(name='"piece"', outline='"drawing.svg#piece"')
    place = os.path.relpath(drawing.resolve(), folder.resolve()).replace(os.sep, "/")
    names = tuple(p.name for p in drawn.pieces)
    return "".join(
        _PIECE.format(name=_quoted(name), outline=_quoted(f"{place}#{piece}"))
        for piece, name in zip(names, piece_names(names), strict=True)
    )


def _quoted(text: str) -> str:
    """A TOML string."""
    return tomlkit.string(readable(text)).as_string()
