"""What the page shows of a job: pieces, seams, sheets and findings as plain data.

Sizes in mm.  A finding is told with the names of the cards that it is about.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from foamwright.asked import Bench, Plan
from foamwright.desk.cards import Cards
from foamwright.desk.picture import piece_picture
from foamwright.findings import Finding, Severity
from foamwright.model import Piece, Program
from foamwright.report import duration
from foamwright.stages.alter import SeamRow
from foamwright.stages.save.dxf import file_origin
from foamwright.stages.save.picture import Look, sheet_picture

_LINE = re.compile(r"job\.toml line (\d+),? ?")
_TABLE = re.compile(r"\[\[(piece|seam|stock|permit)\]\] (.*)")
_GRAVITY = (Severity.FAULT, Severity.WARNING, Severity.NOTE)


def piece_data(piece: Piece) -> dict[str, Any]:
    """A piece as drawn: its size, picture, and the places and openings that edges may name."""
    low_x, low_y, high_x, high_y = piece.outline.bounds
    return {
        "across_mm": high_x - low_x,
        "along_mm": high_y - low_y,
        "picture": piece_picture(piece),
        "corners": len(piece.outline.corners),
        "points": list(piece.points),
        "openings": [o.name for o in piece.openings],
        "slits": len(piece.slits),
        "marks": len(piece.marks),
    }


def seam_data(row: SeamRow) -> dict[str, Any]:
    first, second = row.lengths
    return {
        "name": row.name,
        "joins": row.joins,
        "lengths_mm": [first, second],
        "difference_mm": row.difference,
        "ease_mm": row.ease,
        "matches": row.matches,
        "notches": row.notches,
        "notches_meet": row.notches_meet,
        "corners": row.corners,
        "closes_flat": row.closes_flat,
    }


def sheet_data(bench: Bench, program: Program) -> dict[str, Any]:
    """A sheet with its picture, as it stands on the operator's sheet."""
    sheet, profile = program.sheet, bench.material.profile
    look = Look(
        label=f"sheet-{sheet.number}",
        usable=bench.usable(sheet),
        zero=file_origin(program, bench.style),
        nap=profile.nap,
        stretch=profile.stretch,
    )
    return {
        "number": sheet.number,
        "material": profile.name,
        "machine": bench.machine.profile.name,
        "width_mm": sheet.width,
        "length_mm": sheet.length,
        "pieces": [p.copy.name for p in sheet.placements],
        "density": sheet.density,
        "time": duration(program.time_s),
        "back": sheet.back,
        "picture": sheet_picture(program, look),
    }


def plan_data(plan: Plan) -> list[dict[str, Any]]:
    return [sheet_data(bench, program) for bench, program in plan.programs]


def cut_sizes(plan: Plan) -> dict[str, list[float]]:
    """The box of each piece's target before it is turned on its sheet, by the piece's name."""
    sizes: dict[str, list[float]] = {}
    for _, program in plan.programs:
        for placed in program.sheet.placements:
            low_x, low_y, high_x, high_y = placed.copy.piece.outline.bounds
            sizes.setdefault(placed.copy.of, [high_x - low_x, high_y - low_y])
    return sizes


def finding_data(finding: Finding, cards: Cards) -> dict[str, Any]:
    line = _LINE.match(finding.where)
    where = finding.where[line.end() :] if line else finding.where
    return {
        "severity": finding.severity.value,
        "code": finding.code,
        "line": int(line[1]) if line else None,
        "where": where,
        "what": finding.what,
        "mend": finding.mend,
        "cards": list(cards_meant(finding, where, cards)),
    }


def findings_data(findings: Iterable[Finding], cards: Cards) -> list[dict[str, Any]]:
    """Faults first, then warnings and notes; of each kind hazards first, then as they flow."""
    told = sorted(
        dict.fromkeys(findings),
        key=lambda f: (_GRAVITY.index(f.severity), not f.code.startswith("S")),
    )
    return [finding_data(f, cards) for f in told]


def cards_meant(finding: Finding, where: str, cards: Cards) -> Iterator[str]:
    """The names of the cards that a finding is about; where: its place without the file's line."""
    names = [p.name for p in cards.pieces]
    table = _TABLE.match(where)
    if finding.piece or (table and table[1] == "piece"):
        held = _held(finding.piece or (table[2] if table else ""), names, "./-")
        yield from [held] if held else []
        return
    pairs = {p.name: (p.material, p.machine or cards.head.machine) for p in cards.pieces}
    used = [n for n, pair in pairs.items() if where in _words_of(*pair)]
    if used:
        yield from used
        return
    for words in where.removeprefix("piece ").split(", "):
        held = _held(words, names, " /-")
        yield from [held] if held else []


def _words_of(material: str, machine: str) -> tuple[str, ...]:
    """The places by which findings name a pair, or one of the two."""
    return (f"{material} on {machine}", f"material {material}", f"machine {machine}", material)


def _held(text: str, names: Sequence[str], ends: str) -> str:
    """The longest name that the text is, or begins with before one of these ends."""
    fitting = [n for n in names if text == n or any(text.startswith(n + e) for e in ends)]
    return max(fitting, key=len, default="")


def proof_data(proof: Any) -> Mapping[str, Any]:
    """How the proof of a cut came out."""
    return {
        "passed": proof.passed,
        "worst_mm": proof.worst_deviation_mm,
        "limit_mm": proof.limit_mm,
        "unreached": len(proof.unreached),
        "left_mm": proof.left_mm,
    }
