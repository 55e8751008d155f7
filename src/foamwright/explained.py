"""Nouns for telling where a proof's worst place is: found by `verify`, drawn by `save`, printed.

Places are in sheet millimetres, y up, but where `piece` is said: there the piece lies unturned (a
mirror image as such), the near left corner of its box at (0, 0).
Does not look for anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Points

#: Which way a freed edge lies off: into the piece (too little is left) or out into the scrap.
Side: TypeAlias = Literal["piece", "scrap", "neither"]


@dataclass(frozen=True, slots=True)
class Place:
    """A measure in mm, where it was found, and the stretch of the target that it is nearest to.

    contour: `outline`, or `opening 2` in the record's order.  segment: counted from 1 along the
    contour, of `segments`; kind: line or arc; along: mm from the contour's start.
    """

    depth: float
    at: complex
    in_piece: complex
    contour: str
    segment: int
    segments: int
    kind: str
    along: float


@dataclass(frozen=True, slots=True)
class ToolAt:
    """The tool as it passes nearest to the worst place.

    at: the middle of what it removes, or its tip.  pivot: of a trailing blade, else None.
    bottom: where an inclined blade severs the bottom face just then, else None.
    """

    at: complex
    beam: Oval
    pivot: complex | None = None
    bottom: complex | None = None


@dataclass(frozen=True, slots=True)
class Scene:
    """What a picture of the place needs.

    target: what must be left, with its slits and marks.  written: the file's runs near it.
    trails: the tip's ways where they are not the runs.  kept: boundary rings of the stock that
    holds the piece.
    """

    target: tuple[Path, ...]
    written: tuple[Path, ...]
    trails: tuple[Points, ...]
    kept: tuple[Points, ...]
    tool: ToolAt | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """One copy's worst place in its worst file.

    unreached: the deepest place that the tool's size leaves over.  unreached_count: how many.
    left: mm left for the hand, by bridges or at the bottom face.  faults: what was refused of it.
    """

    copy: str
    sheet: int
    file: str
    method: str
    limit: float
    worst: Place
    side: Side
    unreached: Place | None
    unreached_count: int
    left: float
    scene: Scene
    faults: tuple[str, ...] = ()


def lines_of(told: Explanation) -> list[str]:
    """The explanation in words, a line each."""
    worst = told.worst
    way = {"piece": " into the piece", "scrap": " out into the scrap", "neither": ""}[told.side]
    lines = [
        f"{told.copy} on sheet {told.sheet}, {told.file}",
        f"worst: {worst.depth:.4f} mm{way} (limit {told.limit:g} mm)",
        *_where(worst),
    ]
    if told.unreached is not None:
        many = f"deepest of {told.unreached_count} places" if told.unreached_count > 1 else "place"
        lines += [f"{many} that the tool can't reach: {told.unreached.depth:.3f} mm"]
        lines += _where(told.unreached)
    if told.left:
        where = "by holding bridges" if told.method == "laser" else "at the bottom face"
        lines.append(f"left for the hand {where}: {told.left:.1f} mm")
    return [*lines, *told.faults]


def _where(place: Place) -> Iterator[str]:
    yield f"  at {_pair(place.at)} mm on the sheet, {_pair(place.in_piece)} mm in the piece"
    yield (
        f"  {place.contour}, segment {place.segment} of {place.segments} ({place.kind}), "
        f"{place.along:.2f} mm from its start"
    )


def _pair(at: complex) -> str:
    return f"({at.real:.3f}, {at.imag:.3f})"
