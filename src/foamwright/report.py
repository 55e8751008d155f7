"""What the command prints: tables for people at 80 columns, documents for programs.

Tables go to standard output, findings to standard error.  Colour only on a terminal, and never
where NO_COLOR is set.  Every name from a file is made harmless for a terminal.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeAlias

from rich.table import Table

from foamwright.asked import Checks, Plan
from foamwright.beam import Faces, Optics, at_the_faces
from foamwright.check_tables import checks_data, tables_of
from foamwright.explained import Explanation, Place, lines_of
from foamwright.findings import Finding, Refused
from foamwright.finishing import Result
from foamwright.geometry.path import Path as Outline
from foamwright.model import Drawing, Piece
from foamwright.profiles import Loaded, Shelf
from foamwright.record import Verification
from foamwright.report_layout import layout_data, show_layouts, stock_name, used_length
from foamwright.series import settled
from foamwright.tables import new_table as _table
from foamwright.tables import plain
from foamwright.tables import safe as _safe
from foamwright.tables import terminal as _console

#: What beam to expect, by the number of a `[[cut]]`, from 1.
Beams: TypeAlias = Sequence[tuple[int, Faces]]
#: Notes or warnings of one code that people are told before the rest is counted.
TOLD = 3
#: mm within which a point is told as the name of a corner.
AT_CORNER = 0.01


def document(data: dict[str, Any], findings: Iterable[Finding]) -> str:
    """One JSON document with the findings in it; ok: no fault among them. ASCII, for any pipe."""
    told = tuple(findings)
    ok = not any(f.is_fault for f in told)
    whole = {"ok": ok, **data, "findings": [_finding_data(f) for f in told]}
    return json.dumps(whole, indent=1, allow_nan=False)


def _finding_data(finding: Finding) -> dict[str, Any]:
    """spots: [x, y] in mm of the drawing."""
    return {**asdict(finding), "spots": [[p.real, p.imag] for p in finding.spots]}


def show_findings(findings: Iterable[Finding], whole: bool = False) -> None:
    """A line each on standard error, faults last, so that they stand above the prompt.

    Of notes and warnings of one code the first TOLD; whole: all of them.
    """
    console = _console(error=True)
    styles = {"note": "dim", "warning": "yellow", "fault": "bold red"}
    kinds: dict[tuple[str, str], list[Finding]] = {}
    for finding in sorted(findings, key=lambda f: list(styles).index(f.severity.value)):
        kinds.setdefault((finding.severity.value, finding.code), []).append(finding)
    for (severity, code), alike in kinds.items():
        told = len(alike) if whole or severity == "fault" or len(alike) == TOLD + 1 else TOLD
        lines = [_safe(f.line()) for f in alike[:told]]
        if alike[told:]:
            lines.append(f"{severity} {code} and {len(alike) - told} more (--json tells all)")
        for line in lines:
            console.print(f"[{styles[severity]}]{line}[/]")


def show_drawing(drawing: Drawing) -> None:
    """Pieces with their sizes, then each piece's corners and edges; nothing where there is none."""
    if not drawing.pieces:
        return
    console = _console()
    console.print(f"{_safe(drawing.file)}: {counted(len(drawing.pieces), 'piece')} (sizes in mm)")
    table = _table(
        "piece",
        "across",
        "along",
        "outline",
        "openings",
        "slits",
        "marks",
        right=("across", "along", "outline", "openings", "slits", "marks"),
    )
    for piece in drawing.pieces:
        across, along = _size(piece.outline)
        counts = [len(piece.openings), len(piece.slits), len(piece.marks)]
        numbers = [f"{across:.1f}", f"{along:.1f}", f"{piece.outline.length:.1f}"]
        table.add_row(_safe(piece.name), *numbers, *(str(n) for n in counts))
    console.print(table)
    for piece in drawing.pieces:
        console.print()
        source = f", from {_safe(piece.source)}" if piece.name in drawing.edges else ""
        console.print(f"{_safe(piece.name)}{source}: corners, counter-clockwise")
        console.print(_corner_table(piece))
        for edge in drawing.edges.get(piece.name, ()):
            run = f"from {_safe(edge.first)} to {_safe(edge.last)}, {edge.length:.2f}"
            console.print(f"  edge {_safe(edge.name)}: {run}")
        for opening in piece.openings:
            across, along = _size(opening.path)
            size = f"{across:.1f} x {along:.1f}, {opening.path.length:.1f} round"
            console.print(f"  opening {_safe(opening.name)}: {size}")


def _corner_table(piece: Piece) -> Table:
    table = _table(
        "corner",
        "x",
        "y",
        "edge to the next",
        "name",
        right=("corner", "x", "y", "edge to the next"),
    )
    rows = corner_data(piece)
    for row in rows:
        at, edge = f"{row['x']:.2f}", f"{row['edge']:.2f}"
        names = _safe(", ".join(row["names"]))
        table.add_row(str(row["corner"]), at, f"{row['y']:.2f}", edge, names)
    corners = {n for row in rows for n in row["names"]}
    for name, spot in piece.points.items():
        if name not in corners:
            table.add_row("", f"{spot.real:.2f}", f"{spot.imag:.2f}", "", _safe(name))
    return table


def _size(path: Outline) -> tuple[float, float]:
    low_x, low_y, high_x, high_y = path.bounds
    return high_x - low_x, high_y - low_y


def corner_data(piece: Piece) -> list[dict[str, Any]]:
    """Each corner's number, place, the length of the edge to the next one, mm, and its names."""
    outline = piece.outline
    at = outline.joint_lengths()
    joints = sorted(outline.corners)
    rows = []
    for k, joint in enumerate(joints):
        following = joints[(k + 1) % len(joints)]
        edge = (at[following] - at[joint]) % outline.length or outline.length
        corner = outline.segments[joint].start
        names = [n for n, p in piece.points.items() if abs(p - corner) < AT_CORNER]
        place = {"corner": k + 1, "x": corner.real, "y": corner.imag}
        rows.append({**place, "edge": edge, "names": names})
    return rows


def drawing_data(drawing: Drawing) -> dict[str, Any]:
    return {
        "file": drawing.file,
        "unit": drawing.unit,
        "pieces": [
            {
                "name": p.name,
                "size_mm": _size(p.outline),
                "outline_mm": p.outline.length,
                "area_mm2": p.outline.area,
                "openings": [
                    {"name": o.name, "size_mm": _size(o.path), "length_mm": o.path.length}
                    for o in p.openings
                ],
                "slits": [{"name": s.name, "length_mm": s.path.length} for s in p.slits],
                "marks": [{"name": m.name, "shape": m.shape} for m in p.marks],
                "points": {n: [at.real, at.imag] for n, at in p.points.items()},
                "corners": corner_data(p),
                "edges": [plain(e) for e in drawing.edges.get(p.name, ())],
                "grain_degrees": p.grain,
            }
            for p in drawing.pieces
        ],
    }


def show_plan(plan: Plan) -> None:
    """The sheets with their stock, density and time, and the pattern's checks."""
    console = _console()
    console.print(f"{_safe(plan.asked.job.job.name)}: {counted(len(plan.programs), 'sheet')}")
    table = _table(
        "no",
        "material",
        "machine",
        "size mm",
        "pieces",
        "filled",
        "time",
        right=("no", "size mm", "pieces", "filled", "time"),
        whole=("size mm", "time"),
    )
    for bench, program in plan.programs:
        sheet = program.sheet
        table.add_row(
            str(sheet.number),
            _safe(bench.material.id),
            _safe(bench.machine.id),
            f"{sheet.width:.0f} x {sheet.length:.0f}",
            str(len(sheet.placements)),
            f"{100 * sheet.density:.0f} %",
            duration(program.time_s),
        )
    console.print(table)
    show_layouts(plan)
    show_checks(plan.checks)


def show_checks(checks: Checks) -> None:
    """The tables of the pattern's checks that have a row."""
    console = _console()
    for words in tables_of(checks):
        table = _table(*words.columns, right=tuple(words.right), whole=tuple(words.right))
        for row in words.rows:
            table.add_row(*("\n".join(map(_safe, cell.split("\n"))) for cell in row))
        console.print()
        console.print(words.title)
        console.print(table)


def duration(seconds: float) -> str:
    """`4:05 min`, `12 s`."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min" if minutes else f"{rest} s"


def plan_data(plan: Plan) -> dict[str, Any]:
    return {
        "job": plan.asked.job.job.name,
        "currency": plan.asked.job.job.currency,
        "sheets": [
            {
                "number": p.sheet.number,
                "material": b.material.id,
                "machine": b.machine.id,
                "width_mm": p.sheet.width,
                "length_mm": p.sheet.length,
                "pieces": [x.copy.name for x in p.sheet.placements],
                "density": p.sheet.density,
                "stock": stock_name(p.sheet.stock),
                "used_length_mm": used_length(p.sheet),
                "waste_mm2": p.sheet.area * (1 - p.sheet.density),
                "price": p.sheet.price,
                "time_s": p.time_s,
                "times_s": dict(p.times),
            }
            for b, p in plan.programs
        ],
        "layout": layout_data([p.sheet for _, p in plan.programs]),
        **checks_data(plan.checks),
    }


def show_proof(verification: Verification | None) -> None:
    """One line: how far the freed edges lie from their targets at worst."""
    if verification is None:
        return
    if not verification.pieces:
        _console().print("refused: nothing could be proven")
        return
    word = "proven" if verification.passed else "refused"
    text = (
        f"{word}: worst deviation {verification.worst_deviation_mm:.4f} mm "
        f"(limit {verification.limit_mm:g});\n"
        f"{counted(len(verification.unreached), 'inside corner')} that the tool can't reach, "
        f"{verification.left_mm:.1f} mm left for the hand"
    )
    _console().print(text)


def show_explained(told: Sequence[Explanation], picture: Path | None) -> None:
    """Where each copy of a piece is off most, and the name of the picture."""
    console = _console()
    for explanation in told:
        console.print()
        for line in lines_of(explanation):
            console.print(_safe(line), soft_wrap=True)
    if picture is not None:
        console.print(f"picture: {_safe(str(picture))}", soft_wrap=True)


def explained_data(told: Sequence[Explanation], picture: Path | None) -> dict[str, Any]:
    """Places as [x, y] in mm; the scene stays in the picture."""
    return {
        "picture": None if picture is None else str(picture),
        "copies": [
            {
                "copy_name": e.copy,
                "sheet": e.sheet,
                "file": e.file,
                "worst": {**_place_data(e.worst), "towards": e.side},
                "unreached": None if e.unreached is None else _place_data(e.unreached),
                "unreached_places": e.unreached_count,
                "left_mm": e.left,
                "faults": list(e.faults),
            }
            for e in told
        ],
    }


def _place_data(place: Place) -> dict[str, Any]:
    return {
        "mm": place.depth,
        "sheet": [place.at.real, place.at.imag],
        "piece": [place.in_piece.real, place.in_piece.imag],
        "contour": place.contour,
        "segment": place.segment,
        "segments": place.segments,
        "kind": place.kind,
        "along_mm": place.along,
    }


def counted(number: int, noun: str) -> str:
    """`1 sheet`, `2 sheets`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def result_data(result: Result, out: Path) -> dict[str, Any]:
    return {
        **plan_data(result.plan),
        "folder": out.name,
        "files": [f.name for f in result.record.files],
        "exchange": result.record.exchange.name if result.record.exchange else None,
        "verification": plain(result.record.verification),
        "changes": [plain(c) for c in result.changes],
    }


def expected_beams(loaded: Loaded[Any], shelf: Shelf) -> Beams:
    """What beam each estimated `[[cut]]` of a material may expect at the faces of its stock.

    By the number of the cut, from 1.  Nothing where the optics or the focus aren't told, and
    nothing beside a published or measured kerf.
    """
    found = []
    material = loaded.profile
    for number, cut in enumerate(getattr(material, "cut", ()), 1):
        try:
            own = settled(cut, material.thickness, loaded.id)
            gear = shelf.machine(cut.machine).profile if cut.machine else cut
        except Refused:
            continue
        optics = [getattr(cut, k) or getattr(gear, k) for k in ("waist", "wavelength", "m2")]
        if own.basis_of("kerf") != "estimate" or None in optics or own.focus_depth is None:
            continue
        beam, step = Optics(*optics), own.focus_step or 0.0
        faces = at_the_faces(beam, material.thickness, own.focus_depth, own.passes, step)
        found.append((number, faces))
    return tuple(found)
