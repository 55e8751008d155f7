"""What is written on a paper pattern's pieces, and where it finds room.

Terms.  *Label*: a piece's name with its lines.  *Arrow*: its grain line, with a head where the nap
runs that way.  Both keep off edges and openings; a label that finds no room in its piece stands
below it.  Does not draw.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from foamwright.geometry.region import Region, bounds, box, common, grown, is_empty, minus
from foamwright.geometry.segments import Box
from foamwright.stages.save.pen import width_of
from foamwright.stages.save.picture import Edges, edges_of, spans, widest_place

#: Heights of letters, mm: a piece's name, what stands below it, words along a seam.
NAME, LINE, SEAM = 4.6, 2.9, 2.2
#: From one line to the next, as a multiple of its letters.
LEAD = 1.35
#: What words and arrows keep from every edge, mm.
CLEAR = 2.5
#: The longest and the shortest grain line, mm, and how many places across a piece are tried.
LONGEST, SHORTEST, TRIED = 160.0, 12.0, 40
#: Flattening of what words keep clear of, mm.
ROUGH = 0.2


@dataclass(frozen=True, slots=True)
class Label:
    """Lines with the sizes of their letters; at: their upper left corner, None: it has no place."""

    lines: tuple[tuple[str, float], ...]
    width: float
    height: float
    at: complex | None = None

    @property
    def box(self) -> Box:
        at = self.at or 0j
        return at.real, at.imag - self.height, at.real + self.width, at.imag


@dataclass(frozen=True, slots=True)
class Arrow:
    """The grain line, from its tail to its head: the way in which the nap lies."""

    tail: complex
    head: complex

    @property
    def along(self) -> complex:
        return (self.head - self.tail) / abs(self.head - self.tail)


def seam_words(name: str, other: str, room: float) -> tuple[str, float]:
    """A seam's words and their width, as much as finds room on an edge of this length (mm)."""
    for words in (f"{name}: to {other}", name):
        width = width_of(words, SEAM)
        if width <= room:
            return words, width
    return "", 0.0


def label_of(name: str, lines: Sequence[str], free: Region) -> Label:
    """The label at the widest free room of a piece; without a place where it fits nowhere."""
    told = ((name, NAME), *((line, LINE) for line in lines))
    width = max(width_of(text, size, size == NAME) for text, size in told)
    height = sum(size * LEAD for _, size in told)
    label = Label(told, width, height)
    return replace(label, at=_place(label, free))


def _place(label: Label, inside: Region) -> complex | None:
    """The label's upper left corner at the widest room inside, if it is wide enough."""
    clear = grown(inside, -CLEAR, ROUGH)
    if is_empty(clear):
        return None
    middle, room = widest_place(clear, label.height)
    if room < label.width:
        return None
    return middle + complex(-label.width, label.height) / 2


def on_one_page(label: Label, free: Region, windows: Sequence[Box]) -> Label:
    """The label on one of the tiles' windows where it fits whole, else where it was."""
    for window in windows:
        part = common(free, box(window))
        at = None if is_empty(part) else _place(label, part)
        if at is not None:
            return replace(label, at=at)
    return label


def grain_line(inside: Region, free: Region, grain: float, label: Label) -> Arrow:
    """The grain line in the free room if it has any, else across marks, else across edges."""
    for room in (free, inside):
        found = grain_arrow(room, grain, label)
        if found is not None:
            return found
    x0, y0, x1, y1 = bounds(inside)
    half = cmath.rect(SHORTEST / 2, math.radians(grain))
    middle = complex(x0 + x1, y0 + y1) / 2
    return Arrow(middle - half, middle + half)


def grain_arrow(room: Region, grain: float, label: Label) -> Arrow | None:
    """A long line along the grain, near the room's middle, that keeps off edges and the label."""
    clear = minus(grown(room, -CLEAR, ROUGH), grown(box(label.box), LINE, ROUGH))
    if is_empty(clear):
        return None
    way = cmath.rect(1.0, math.radians(grain))
    edges = tuple((start / way, end / way) for start, end in edges_of(clear))
    runs = list(_runs(edges))
    middle = complex(*(sum(pair) / 2 for pair in _ranges(edges)))
    found = max(runs, key=lambda run: _merit(run, middle), default=None)
    if found is None or found[2] - found[1] < SHORTEST:
        return None
    y, a, b = found
    half = min(b - a, LONGEST) / 2
    centre = complex(min(max(middle.real, a + half), b - half), y)
    return Arrow((centre - half) * way, (centre + half) * way)


def _runs(edges: Edges) -> Iterator[tuple[float, float, float]]:
    """Height, start and end of every run from edge to edge, at TRIED heights."""
    _, (low, high) = _ranges(edges)
    for k in range(1, TRIED):
        y = low + (high - low) * k / TRIED
        for a, b in spans(edges, y):
            yield y, a, b


def _merit(run: tuple[float, float, float], middle: complex) -> tuple[int, float]:
    """Length in steps of SHORTEST, then nearness to the middle."""
    y, a, b = run
    return int(min(b - a, LONGEST) / SHORTEST), -abs(y - middle.imag)


def _ranges(edges: Edges) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest x, least and greatest y."""
    points = np.concatenate([start for start, _ in edges])
    x, y = points.real, points.imag
    return (float(x.min()), float(x.max())), (float(y.min()), float(y.max()))
