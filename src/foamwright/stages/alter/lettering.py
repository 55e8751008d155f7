"""Room for letters on a piece: along a line, as in an allowance, or in a block on the face.

Letters are only ever turned and moved, so they read the right way round whatever the piece is.
Does not know what is written, nor why.
"""

from __future__ import annotations

import cmath
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    Region,
    bounds,
    contains,
    covers,
    curve,
    inside_point,
    is_empty,
    polygon,
    union,
)
from foamwright.geometry.segments import Points
from foamwright.stages.alter.letters import CAP, GAP, Glyph, word

#: Flattening of a line that letters run along, mm; a letter's turn is taken over its whole width.
FLAT = 0.02
#: Places tried along a line, and in a block's grid each way, at most: bounds the search.
PLACES, GRID = 400, 40
#: Space between two lines of a block as a part of their height.
LEADING = 0.7
#: A number stands on a bar: its gap below the foot and the whole height, in a glyph's units.
BAR, BARRED = 3.0, 15.0


@dataclass(frozen=True, slots=True)
class Word:
    """One line of letters. length: along it; height: of all its strokes, mm."""

    glyphs: tuple[Glyph, ...]
    length: float
    height: float

    @staticmethod
    def of(text: str, height: float) -> Word:
        """Raises KeyError for a letter that has no strokes."""
        glyphs, length = word(text, height)
        return Word(glyphs, length, height)

    @staticmethod
    def on_bar(text: str, height: float) -> Word:
        """On a bar, so that 6 and 9 or 66 and 99 are told apart however the piece lies."""
        cap = height * CAP / BARRED
        unit = cap / CAP
        glyphs, length = word(text, cap)
        up = Affine.translation(1j * BAR * unit / 2)
        raised = [Glyph(tuple(s.transformed(up) for s in g.strokes), g.at, g.width) for g in glyphs]
        foot = -1j * height / 2
        bar = Path.polygon([foot - length / 2, foot + length / 2], closed=False)
        return Word((*raised, Glyph((bar,), length / 2, length)), length, height)

    def straight(self, middle: complex = 0j, angle: float = 0.0) -> tuple[Path, ...]:
        """The strokes about a middle, the line at an angle in degrees."""
        m = Affine.translation(middle) @ Affine.rotation(angle)
        return tuple(
            stroke.transformed(m @ Affine.translation(complex(g.at - self.length / 2, 0)))
            for g in self.glyphs
            for stroke in g.strokes
        )


def strokes_region(strokes: Sequence[Path]) -> Region:
    return union([curve(s, FLAT) for s in strokes])


# along a line


@dataclass(frozen=True)
class Track:
    """A line that letters run along, as points close together."""

    points: Points
    closed: bool

    @staticmethod
    def of(line: Path) -> Track:
        return Track(line.flatten(FLAT), line.closed)

    @cached_property
    def _along(self) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.concatenate([[0.0], np.cumsum(np.abs(np.diff(self.points)))])

    @property
    def length(self) -> float:
        return float(self._along[-1])

    def point(self, s: float) -> complex:
        s = s % self.length if self.closed else min(max(s, 0.0), self.length)
        return complex(np.interp(s, self._along, self.points))

    def heading(self, s: float, over: float) -> complex:
        """Unit vector along the line, from half of `over` mm before a place to half beyond it."""
        way = self.point(s + over / 2) - self.point(s - over / 2)
        return way / abs(way) if way else 1 + 0j


def along(track: Track, at: float, made: Word, inward: float) -> tuple[Path, ...] | None:
    """The strokes with the word's middle at `at` mm along a line, `inward` mm to its left.

    Each letter stands square to the line.  None where the word passes the line's end, or where the
    line bends so that letters would run together.
    """
    start = at - made.length / 2
    unit = made.height / CAP
    if made.length > track.length - GAP * unit * track.closed:
        return None
    if not track.closed and not 0 <= start <= track.length - made.length:
        return None
    strokes: list[Path] = []
    letters: list[tuple[complex, float]] = []
    for g in made.glyphs:
        heading = track.heading(start + g.at, g.width + GAP * unit)
        spot = track.point(start + g.at) + 1j * heading * inward
        m = Affine.translation(spot) @ Affine(
            heading.real, heading.imag, -heading.imag, heading.real, 0.0, 0.0
        )
        strokes += [s.transformed(m) for s in g.strokes]
        if g.width < made.length:
            letters.append((spot, g.width))
    apart = (abs(b - a) - (v + w) / 2 for (a, v), (b, w) in pairwise(letters))
    return None if any(gap < GAP * unit / 2 for gap in apart) else tuple(strokes)


def bend(track: Track, at: float, length: float) -> float:
    """How much a line turns over a stretch about a place, radians in all, both ways."""
    steps = 8
    ways = [
        track.heading(at + (k / steps - 0.5) * length, length / steps) for k in range(steps + 1)
    ]
    return sum(abs(cmath.phase(b / a)) for a, b in pairwise(ways))


def stations(track: Track, made: Word) -> tuple[float, ...]:
    """Places along a line for a word's middle: the straightest first, nearest to its middle."""
    ends = 0.0 if track.closed else made.length / 2
    room = track.length - 2 * ends
    if room < 0:
        return ()
    count = min(PLACES, max(1, int(room / max(made.height, 1.0))))
    places = [ends + room * (k + 0.5) / count for k in range(count)]
    middle = track.length / 2
    return tuple(
        sorted(places, key=lambda s: (round(bend(track, s, made.length), 3), abs(s - middle)))
    )


def from_middle(track: Track, made: Word) -> tuple[float, ...]:
    """Places along a line for a word's middle, the nearest to the line's own middle first."""
    return tuple(sorted(stations(track, made), key=lambda s: (abs(s - track.length / 2), s)))


# in a block


def block(words: Sequence[Word], free: Region, lean: float = 0.0) -> tuple[Path, ...] | None:
    """The lines one under the other where their box lies in the free part of a face, near its
    middle; at an angle of `lean` degrees if that may be, else square to it; None without room.
    """
    if is_empty(free):
        return None
    wide = max(w.length for w in words)
    high = sum(w.height for w in words) + LEADING * words[0].height * (len(words) - 1)
    for angle in (lean, lean + 90.0):
        turn = cmath.rect(1.0, np.radians(angle))
        corners = [turn * complex(x * wide / 2, y * high / 2) for x, y in _CORNERS]
        for spot in _spots(free, words[0].height):
            if covers(free, polygon([spot + c for c in corners])):
                return tuple(_stacked(words, spot, angle, turn, high))
    return None


_CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1))


def _spots(free: Region, step: float) -> Iterator[complex]:
    low_x, low_y, high_x, high_y = bounds(free)
    middle = complex(low_x + high_x, low_y + high_y) / 2
    middle = middle if contains(free, middle) else inside_point(free)
    across = max(step, (high_x - low_x) / GRID)
    up = max(step, (high_y - low_y) / GRID)
    offsets = [
        complex(i * across, j * up) for i in range(-GRID, GRID + 1) for j in range(-GRID, GRID + 1)
    ]
    for offset in sorted(offsets, key=lambda v: (round(abs(v), 6), v.real, v.imag)):
        if contains(free, middle + offset):
            yield middle + offset


def _stacked(
    words: Sequence[Word], spot: complex, angle: float, turn: complex, high: float
) -> Iterator[Path]:
    down = high / 2
    for made in words:
        down -= made.height / 2
        yield from made.straight(spot + turn * 1j * down, angle)
        down -= made.height / 2 + LEADING * words[0].height
