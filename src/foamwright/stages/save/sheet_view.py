"""What the operator's sheet shows, gathered from a record and the programs that it tells of.

The record is the source, so that the sheet says what was written and proven and nothing else.
Does not make HTML (`sheet.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from foamwright.checklist import CheckLine, Stage
from foamwright.model import Program, Tool
from foamwright.record import FileEntry, ProfileEntry, Record, SheetEntry
from foamwright.safety import best_entries
from foamwright.stages.save.laser_rows import laser_rows
from foamwright.stages.save.offcuts import offcuts
from foamwright.stages.save.picture import Look
from foamwright.stages.save.sheet import Batch, CutFile, Setting, SheetPage, SheetView
from foamwright.units import MM
from foamwright.word_tables import WordTable

#: Cut settings that an operator sets or checks: key, name on the sheet, unit.
_SETTINGS = (
    ("kerf", "Kerf, full width", "mm"),
    ("kerf_x", "Kerf across", "mm"),
    ("kerf_y", "Kerf along", "mm"),
    ("kerf_exit", "Kerf where the beam comes out", "mm"),
    ("speed", "Speed", "mm/s"),
    ("passes", "Passes", ""),
    ("pass_depth", "Deeper by each pass", "mm"),
    ("power", "Power", ""),
    ("focus", "Focus", ""),
    ("air", "Air", ""),
    ("blade", "Blade", ""),
    ("depth", "Blade depth", "mm"),
    ("force", "Force", ""),
    ("edge_angle", "Edge to the sheet", "°"),
    ("edges", "Cutting edges", ""),
    ("blade_width", "Blade width", "mm"),
    ("blade_height", "Usable height of the edge", "mm"),
    ("far_face_max", "Bottom face, off at most", "mm"),
    ("lead_in", "Lead-in", "mm"),
    ("lead_out", "Lead-out", "mm"),
    ("lead_angle", "Leads to the contour", "°"),
    ("clearance", "Between cuts at least", "mm"),
    ("focus_depth", "Focus below the face", "mm"),
    ("focus_step", "Focus deeper by each pass", "mm"),
)
#: Settings that a scored mark has of its own.
_SCORED = ("speed", "power", "focus", "force", "depth", "blade")
#: Rows that a row for each pass stands in for.
_BY_PASS = ("Passes", "Focus below the face", "Focus deeper by each pass")
#: Blade values that may stand in the machine's profile, where the cut gives none.
_MACHINE_SETTINGS = (
    ("blade_offset", "Pivot to tip", "mm"),
    ("edge_angle", "Edge to the sheet", "°"),
    ("edges", "Cutting edges", ""),
    ("blade_width", "Blade width", "mm"),
    ("blade_height", "Usable height of the edge", "mm"),
    ("far_face_max", "Bottom face, off at most", "mm"),
)


def view_of(
    record: Record,
    programs: Sequence[Program],
    checklist: Mapping[Stage, tuple[CheckLine, ...]],
    checks: tuple[WordTable, ...] = (),
) -> SheetView:
    """The view of a record; programs: those that it tells of, in any order; checks: of the pattern
    before it was cut, which no file holds."""
    pairs = list(dict.fromkeys((s.material, s.machine) for s in record.sheets))
    warnings = tuple(f for f in record.findings if f.startswith("warning "))
    return SheetView(
        job=record.job,
        version=record.version,
        batches=tuple(_batch(record, programs, pair) for pair in pairs),
        permits=record.permits,
        checklist=checklist,
        warnings=warnings,
        notes=tuple(f for f in record.findings if f not in warnings),
        verification=record.verification,
        checks=checks,
        exchange=record.exchange.name if record.exchange else "",
    )


def _batch(record: Record, programs: Sequence[Program], pair: tuple[str, str]) -> Batch:
    sheets = [s for s in record.sheets if (s.material, s.machine) == pair]
    mine = {p.sheet.number: p for p in programs if (p.sheet.material, p.sheet.machine) == pair}
    first = mine[sheets[0].number]
    material, machine = best_entries(record, pair, first.tool.method)
    told, gear = _plain(material), _plain(machine)
    settings = _settings(material, machine, told, gear)
    by_pass = _BY_PASS if first.tool.focus_depth is not None else _BY_PASS[:1]
    if first.tool.pass_depths or (first.tool.method == "laser" and first.tool.passes > 1):
        settings = tuple(s for s in settings if s.name not in by_pass)
    settings += (*_true_face(first.tool, sheets[0].back), *_knife(first.tool))
    whole = float(told.get("thickness", sheets[0].thickness))
    settings += tuple(laser_rows(first.tool, told, gear, whole))
    return Batch(
        material=pair[0],
        material_name=str(told.get("name", pair[0])),
        machine=pair[1],
        machine_name=str(gear.get("name", pair[1])),
        method=first.tool.method,
        composition=tuple(told.get("composition", ("unknown",))),
        basis=str(told.get("composition_basis", "guess")).replace("-", " "),
        thickness=_thickness(told, sheets[0]),
        hold=tuple(h.replace("-", " ") for h in told.get("hold", ())),
        stock=_stock(first),
        back=sheets[0].back,
        settings=settings,
        sources=_sources(settings, told),
        pages=tuple(_page(record, mine[s.number], s, told) for s in sheets),
    )


def _stock(program: Program) -> str:
    """The stock to fetch, and what to cut it down to where the machine reaches less."""
    sheet, stock = program.sheet, program.sheet.stock
    kind = f"{stock.kind} {stock.name}".strip()
    told = f"{kind}, {stock.width:g} × {stock.length:g} mm"
    shorter = stock.kind != "roll" and sheet.length < stock.length
    if sheet.width < stock.width or shorter:
        first = "slit it" if stock.kind == "roll" else "cut it down"
        told += f"; {first} to {sheet.width:g} × {sheet.length:g} mm first"
        if stock.kind == "roll":
            told += ", its whole width is priced"
    return told


def _plain(entry: ProfileEntry) -> dict[str, Any]:
    return {v.key: v.value for v in entry.values}


def _thickness(told: Mapping[str, Any], sheet: SheetEntry) -> str:
    whole = float(told.get("thickness", sheet.thickness))
    backing = told.get("backing")
    return f"{whole:g} mm" + (f", of which {backing:g} mm backing to sever" if backing else "")


def _settings(
    material: ProfileEntry, machine: ProfileEntry, told: Mapping[str, Any], gear: Mapping[str, Any]
) -> tuple[Setting, ...]:
    """Rows for the operator: the cut's values, the machine's, and who compensates."""
    origins = {v.key: v.origin for v in (*material.values, *machine.values)}
    rows = [
        Setting(
            name,
            _amount(told[f"cut.{key}"], unit),
            "default" if origins[f"cut.{key}"] == "default" else _basis(told, key, "cut."),
            origins[f"cut.{key}"],
        )
        for key, name, unit in _SETTINGS
        if told.get(f"cut.{key}") is not None
    ]
    rows += [
        Setting(
            f"Marks: {name.lower()}",
            _amount(told[f"score.{key}"], unit),
            _basis(told, key, "score."),
            origins[f"score.{key}"],
        )
        for key, name, unit in _SETTINGS
        if key in _SCORED and told.get(f"score.{key}") is not None
    ]
    rows += [
        Setting(name, _amount(gear[key], unit), _basis(gear, key), origins[key])
        for key, name, unit in _MACHINE_SETTINGS
        if gear.get(key) is not None and told.get(f"cut.{key}") is None
    ]
    applies = [str(a).replace("-", " ") for a in gear.get("applies", ())]
    said = f"on for {', '.join(applies)}; else off" if applies else "off: the file has it all"
    rows.append(Setting("Machine's compensation", said, "machine", origins.get("applies", "")))
    return tuple(rows)


def _basis(told: Mapping[str, Any], key: str, prefix: str = "") -> str:
    """How a value is known."""
    bases = told.get(f"{prefix}bases") or {}
    return str(bases.get(key, told.get(f"{prefix}basis", "estimate")))


def _true_face(tool: Tool, back: bool) -> tuple[Setting, ...]:
    """Where the drafted size holds, where that makes a difference. back: laid face down."""
    if tool.kerf_exit is None:
        return ()
    up, down = (", the material's back", ", the material's front") if back else ("", "")
    where = {
        "top": f"the top face, where the beam goes in{up}",
        "middle": "halfway through the stock",
        "bottom": f"the bottom face, where the beam comes out{down}",
    }[tool.true_face]
    return (Setting("Drafted size holds at", f"{where}; kerf {tool.beam} there", "job", ""),)


def _knife(tool: Tool) -> tuple[Setting, ...]:
    """How deep each pass goes, and what a stroke of the file stands for."""
    rows = []
    if tool.pass_depths:
        *before, last = (f"{d:g}" for d in tool.pass_depths)
        depths = f"{len(tool.pass_depths)}, {', '.join(before)} and {last} mm deep"
        rows.append(Setting("Passes", depths, "job", ""))
    if tool.method == "oscillating-knife" and not tool.leaves_to_machine("overrun"):
        said = "as the edge cuts in the top face"
        if tool.section > 0 and tool.edges == "single":
            said += f"; tip in at the start, out {tool.section:.1f} mm before the end"
        elif tool.section > 0:
            said += f"; tip in and out {tool.section / 2:.1f} mm from the ends"
        rows.append(Setting("Strokes", said, "job", ""))
    return tuple(rows)


def _sources(settings: Sequence[Setting], told: Mapping[str, Any]) -> tuple[str, ...]:
    """Where the settings come from: what was published or measured, and the profiles' files."""
    files = dict.fromkeys(s.origin for s in settings if s.origin not in ("", "default"))
    source = told.get("cut.source")
    return (*((f"{told['cut.basis']}: {source}",) if source else ()), *files)


def _amount(value: Any, unit: str) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:g}{'' if unit == '°' else ' '}{unit}".strip()
    return str(value)


def _page(
    record: Record, program: Program, sheet: SheetEntry, told: Mapping[str, Any]
) -> SheetPage:
    entries = [
        f
        for f in record.files
        if (f.sheet, f.material, f.machine) == (sheet.number, sheet.material, sheet.machine)
    ]
    dxf = next((f for f in entries if f.format == "dxf"), None)
    place = [(s.material, s.machine, s.number) for s in record.sheets].index(
        (sheet.material, sheet.machine, sheet.number)
    )
    look = Look(
        label=f"sheet-{place + 1}",
        usable=sheet.usable,
        zero=complex(*dxf.origin) if dxf else 0j,
        offcuts=offcuts(program.sheet),
        nap=str(told.get("nap", "none")),
        stretch=str(told.get("stretch", "none")),
    )
    files = tuple(_file(f, program) for f in entries)
    return SheetPage(f"Sheet {sheet.number}", _stock(program), program, look, files)


def _file(entry: FileEntry, program: Program) -> CutFile:
    """Sizes in the file's own unit: what a software that takes that unit rightly must show."""
    sheet = program.sheet
    boxes = [c.path.bounds for c in program.cuts]
    if "STOCK" in entry.layers:
        boxes.append((0.0, 0.0, sheet.width, sheet.length))
    left, near, right, far = (
        f(v) for f, v in zip((min, min, max, max), zip(*boxes, strict=True), strict=True)
    )
    drawn = _size(right - left, far - near, entry.unit)
    bare = entry.format == "dxf" and entry.version == "r12"
    return CutFile(
        entry.name, entry.unit, drawn, _size(sheet.width, sheet.length, entry.unit), bare
    )


def _size(width: float, length: float, unit: str) -> str:
    one = MM.get(unit, 1.0)
    digits = 1 if one == 1.0 else 3
    return f"{width / one:.{digits}f} × {length / one:.{digits}f} {unit}"
