"""Where a copy's proof is worst: place, way, the stretch of the target, and what to draw of it.

Measures anew with the proof's own statements (`compare`), on the files as they are read.
Does not judge and does not draw.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from foamwright.explained import Explanation, Place, Scene, Side, ToolAt
from foamwright.geometry.affine import Affine
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region, contains, directed_deviation, near, rings
from foamwright.geometry.segments import Arc, Line, Points
from foamwright.model import Tool
from foamwright.record import FileEntry, PieceEntry, Record, SheetEntry
from foamwright.stages.verify.compare import (
    REACH,
    Spot,
    compare_freed,
    freed_part,
    unreached,
)
from foamwright.stages.verify.read_dxf import read_dxf
from foamwright.stages.verify.read_svg import read_svg
from foamwright.stages.verify.reading import Run, UnreadableError
from foamwright.stages.verify.sheet_proof import with_operations
from foamwright.stages.verify.simulate import (
    SEVERING,
    BadToolError,
    Trace,
    read_tool,
    removed,
    simulate,
)
from foamwright.stages.verify.targets import BadTargetError, Target, read_target

__all__ = ["copies_of", "explain"]

#: mm about a copy in which the tool's runs are drawn.
DRAWN = 5.0
#: A place this near to an edge lies on it, mm.
ON_EDGE = 1e-6


def copies_of(record: Record, name: str) -> tuple[str, ...]:
    """The copies that a piece's or a copy's name stands for."""
    return tuple(p.copy_name for p in record.pieces if name in (p.name, p.copy_name))


@dataclass(frozen=True, slots=True)
class _Found:
    """A file's worst place of a copy: the traces as one start heading gives them."""

    spot: Spot
    entry: FileEntry
    tool: Tool
    cuts: Sequence[Trace]
    variant: int


def explain(
    record: Record, texts: Mapping[str, bytes], copy: str, limit: float
) -> Explanation | None:
    """The copy's worst place, or None where the record or the files let nothing be measured.

    texts: the files' bytes by name.  limit: mm.
    """
    entry = next(p for p in record.pieces if p.copy_name == copy)
    try:
        target = read_target(entry, limit / 20)
    except BadTargetError:
        return None
    sheet = next((s for s in record.sheets if s.number == entry.sheet), None)
    if sheet is None:
        return None
    found = [
        f
        for e in record.files
        if e.sheet == entry.sheet and e.name in texts
        for f in _in_file(e, sheet, texts[e.name], target, limit)
    ]
    if not found:
        return None
    return _told(max(found, key=lambda f: f.spot.depth), entry, target, limit)


def _in_file(
    entry: FileEntry, sheet: SheetEntry, data: bytes, target: Target, limit: float
) -> list[_Found]:
    try:
        tool = read_tool(entry.tool)
        reading = read_dxf(data, entry) if entry.format == "dxf" else read_svg(data, entry, sheet)
    except (UnreadableError, BadToolError):
        return []
    cuts = _near_by(reading.runs, entry, tool, target, limit)
    beam = removed(tool)
    found = []
    for variant in range(max((len(c.edges) for c in cuts), default=1)):
        spot, _ = compare_freed(target, [c.line(variant) for c in cuts], beam, limit)
        found.append(_Found(spot, entry, tool, cuts, variant))
    return found


def _near_by(
    runs: Sequence[Run], entry: FileEntry, tool: Tool, target: Target, limit: float
) -> list[Trace]:
    """The severing traces that can matter to the target."""
    cutting = [r for r in runs if not r.people]
    traces = simulate(with_operations(cutting, entry.contours), tool, limit / 20)
    severing = [t for t in traces if t.operation in SEVERING]
    reach = removed(tool).radius + REACH + 2 * tool.blade_offset
    index = near([t.line(0) for t in severing])
    return [severing[i] for i in index.within(target.area, reach)] if severing else []


def _told(found: _Found, entry: PieceEntry, target: Target, limit: float) -> Explanation:
    beam = removed(found.tool)
    lines = [c.line(found.variant) for c in found.cuts]
    part = freed_part(target, lines, beam, limit)
    spots = unreached(target, beam, limit)
    back = _to_piece(entry)
    worst = _place(target, found.spot, back)
    return Explanation(
        copy=entry.copy_name,
        sheet=entry.sheet,
        file=found.entry.name,
        method=found.tool.method,
        limit=limit,
        worst=worst,
        side=_side(found.spot, part, target.closed(beam)),
        unreached=_place(target, spots[0], back) if spots else None,
        unreached_count=len(spots),
        left=sum(c.left for c in found.entry.contours if c.copy_name == entry.copy_name),
        scene=Scene(
            target=(target.outline, *target.openings, *target.slits, *target.marks),
            written=tuple(c.path for c in found.cuts),
            trails=tuple(c.edge(found.variant) for c in found.cuts if _trails(found.tool)),
            kept=() if part is None else rings(part),
            tool=_tool_at(found, found.spot.at, beam),
        ),
    )


def _trails(tool: Tool) -> bool:
    return bool(tool.blade_offset) and not tool.leaves_to_machine("blade-offset")


def _to_piece(entry: PieceEntry) -> Affine:
    """From the sheet to the piece as it was before it was turned and put there."""
    placed = Affine.translation(complex(entry.x, entry.y)) @ Affine.rotation(entry.rotation)
    return placed.inverse()


def _place(target: Target, spot: Spot, back: Affine) -> Place:
    contours = {"outline": target.outline}
    contours |= {f"opening {k}": p for k, p in enumerate(target.openings, 1)}
    nearest = {name: nearest_length(path, spot.at) for name, path in contours.items()}
    name = min(nearest, key=lambda n: nearest[n][1])
    path, along = contours[name], nearest[name][0]
    number, _ = path.locate(along)
    return Place(
        depth=spot.depth,
        at=spot.at,
        in_piece=back(spot.at),
        contour=name,
        segment=number + 1,
        segments=len(path.segments),
        kind={Line: "line", Arc: "arc"}.get(type(path.segments[number]), "curve"),
        along=along,
    )


def _side(spot: Spot, part: Region | None, wanted: Region) -> Side:
    """A place on the wanted edge is judged by the stock that is left, any other by the target."""
    if spot.depth == 0:
        return "neither"
    if part is None:
        return "piece"
    if directed_deviation(np.array([spot.at]), wanted)[0] > ON_EDGE:
        return "piece" if contains(wanted, spot.at) else "scrap"
    return "scrap" if contains(part, spot.at) else "piece"


def _tool_at(found: _Found, at: complex, beam: Oval) -> ToolAt | None:
    """The tool where its middle or tip passes nearest to a place."""
    feet = [(*_foot(c.edge(found.variant), at), c) for c in found.cuts]
    if not feet:
        return None
    tip, heading, cut = min(feet, key=lambda f: abs(f[0] - at))
    pivot = bottom = None
    if _trails(found.tool):
        pivot = tip + found.tool.blade_offset * heading
    elif found.tool.overrun and not found.tool.leaves_to_machine("overrun"):
        bottom = _behind(cut.path, at, found.tool.overrun)
    return ToolAt(tip, beam, pivot, bottom)


def _foot(points: Points, at: complex) -> tuple[complex, complex]:
    """The place on a polyline nearest to a point, and the way it runs there (unit vector)."""
    starts, steps = points[:-1], np.diff(points)
    real = np.abs(steps) > 0
    starts, steps = starts[real], steps[real]
    t = np.clip(((at - starts) * steps.conj()).real / np.abs(steps) ** 2, 0.0, 1.0)
    feet = starts + t * steps
    k = int(np.argmin(np.abs(feet - at)))
    return complex(feet[k]), complex(steps[k] / abs(steps[k]))


def _behind(path: Path, at: complex, by: float) -> complex:
    """The place on a stroke so many mm behind where it passes a point."""
    along, _ = nearest_length(path, at)
    return path.point_at(max(0.0, along - by))
