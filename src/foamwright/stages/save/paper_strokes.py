"""Lines and signs of a paper pattern: black only, told apart by dashes, widths and shapes.

Widths and dashes are millimetres of paper.  Does not know pages or pieces.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

from foamwright.geometry.path import Path
from foamwright.stages.save.paper_words import LINE, Arrow
from foamwright.stages.save.pen import Pen

#: Widths of the cut line and of all other lines, and of the finest.
THICK, THIN, FINE = 0.4, 0.25, 0.12
#: Dashes of stitch lines, folds and trim lines.
STITCH, FOLD, TRIM = (4.0, 2.0), (8.0, 1.5, 1.5, 1.5), (1.0, 1.0)
#: The check bars: length in mm, what is written at it, how many parts it shows.
BARS = ((100.0, "100 mm", 10), (101.6, "4 in", 4))
#: Radius of a match mark's ring.
RING = 3.0
#: Length of a barb.
BARB = 2.6


def draw_bar(pen: Pen, at: complex, length: float, words: str, parts: int) -> None:
    """A bar to measure, from `at` to the right, with ticks above it."""
    pen.line([at, at + length], THIN)
    for k in range(parts + 1):
        x = at + length * k / parts
        pen.line([x, x + (3.0j if k in (0, parts) else 1.5j)], THIN)
    pen.words(f"{words}: measure this bar", at + complex(length / 2, -2.7), 2.1, align="middle")


def draw_arrow(pen: Pen, arrow: Arrow, nap: bool, turn: float, alone: bool) -> None:
    """A grain line: a head at both ends, or one at the nap's. turn: of its words, degrees.

    alone: whether no cross line for the stretch follows.
    """
    pen.line([arrow.tail, arrow.head], THIN)
    _head(pen, arrow.head, arrow.along)
    if not nap:
        _head(pen, arrow.tail, -arrow.along)
    words = "grain and nap" if nap else "grain"
    beside = 1j * arrow.along * LINE * 0.4
    middle = arrow.tail + (arrow.head - arrow.tail) * (0.5 if alone else 0.66)
    upside_down = not -91.0 < turn <= 91.0
    if upside_down:
        turn, beside = turn + 180.0, -beside - 1j * arrow.along * LINE * 0.35
    pen.words(words, middle + beside, LINE * 0.85, align="middle", turn=turn)


def draw_stretch(pen: Pen, arrow: Arrow, gives: Sequence[float]) -> None:
    """Which ways the material gives, degrees: a line with two heads for each, at the grain line."""
    for degrees in gives:
        along = cmath.rect(1.0, math.radians(degrees))
        middle = arrow.tail + (arrow.head - arrow.tail) * 0.3
        if abs((along / arrow.along).imag) < 0.1:  # beside it, not on it
            middle += 2.5j * arrow.along
        tail, head = middle - 6 * along, middle + 6 * along
        pen.line([tail, head], THIN)
        _head(pen, head, along)
        _head(pen, tail, -along)
        turn = (degrees + 90.0) % 180.0 - 90.0
        end = head if (along * cmath.rect(1.0, -math.radians(turn))).real > 0 else tail
        pen.words("stretch", end + 1.2 * cmath.rect(1.0, math.radians(turn)), 2.1, turn=turn)


def draw_match(pen: Pen, at: complex, letters: str) -> None:
    """A ring with a cross; two pages that join show the same."""
    pen.stroke(Path.circle(at, RING), THIN)
    pen.line([at - RING * 1.4, at + RING * 1.4], FINE)
    pen.line([at - RING * 1.4j, at + RING * 1.4j], FINE)
    pen.words(letters, at + complex(RING * 0.25, RING * 0.25), 1.9)


def _head(pen: Pen, tip: complex, along: complex) -> None:
    sides = (tip - BARB * along * (1 + 0.4j), tip, tip - BARB * along * (1 - 0.4j))
    pen.line(list(sides), THIN)
