"""SVG path data of our own kind: absolute M, L, A, C and Z, circular arcs of at most 120 degrees.

Writing rounds to the decimals asked for; reading is strict: anything else than what is written here
raises GeometryError.  Coordinates are taken as they are (no flip): whoever owns a file turns y.
The sweep flag is 1 where the arc's angle grows, in the coordinates of the text.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from foamwright.errors import GeometryError
from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment, line_or_arc

#: The widest arc that is written as one: the centre of a wider one moves with the rounding.
WIDEST_ARC = math.radians(120.0)
_TOKEN = re.compile(r"[MLACZ]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_FILLER = re.compile(r"[\s,]*")


def split_wide_arcs(path: Path) -> Path:
    """The same path with no arc wider than WIDEST_ARC."""
    made: list[Segment] = []
    corners = []
    for i, s in enumerate(path.segments):
        if i in path.corners:
            corners.append(len(made))
        made.extend(_narrow(s) if isinstance(s, Arc) else [s])
    return Path(tuple(made), path.closed, frozenset(corners))


def _narrow(arc: Arc) -> list[Arc]:
    count = max(1, math.ceil(abs(arc.sweep) / WIDEST_ARC - 1e-9))
    parts: list[Arc] = []
    rest = arc
    for k in range(count, 1, -1):
        first, rest = rest.split(1 / k)
        parts.append(first)
    return [*parts, rest]


def number(value: float, decimals: int | None) -> str:
    """Rounded to decimals without trailing noughts, never in exponent form; None: exact."""
    if decimals is None:
        return repr(value + 0.0)
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def to_path_data(path: Path, decimals: int | None = 6) -> str:
    """The path as text; decimals None writes every digit of the doubles."""

    def at(p: complex) -> str:
        return f"{number(p.real, decimals)} {number(p.imag, decimals)}"

    whole = split_wide_arcs(path)
    here = at(whole.start)
    out = [f"M{here}"]
    last = len(whole.segments) - 1
    for i, s in enumerate(whole.segments):
        closes = whole.closed and i == last
        end = at(whole.start if closes else s.end)  # the last digit may differ: no speck before Z
        if isinstance(s, Arc):
            r = number(s.radius, decimals)
            out.append(f"A{r} {r} 0 0 {int(s.bulge > 0)} {end}")
        elif isinstance(s, Cubic):
            out.append(f"C{at(s.control1)} {at(s.control2)} {end}")
        elif not closes and end != here:  # no line between points that the decimals make one
            out.append(f"L{end}")
        here = end
    if whole.closed:
        out.append("Z")
    return " ".join(out)


def parse_path_data(text: str, corner_angle: float = CORNER_ANGLE) -> tuple[Path, ...]:
    """The paths of a text that `to_path_data` could have written.

    Raises GeometryError on any other command, on missing numbers and on numbers that aren't finite.
    """
    return tuple(
        Path.of(segments, closed, corner_angle) for segments, closed in _subpaths(_tokens(text))
    )


def _tokens(text: str) -> list[str]:
    at, found = 0, []
    while at < len(text):
        filler = _FILLER.match(text, at)
        at = filler.end() if filler else at
        if at >= len(text):
            break
        token = _TOKEN.match(text, at)
        if token is None:
            raise GeometryError(f"path data has {text[at : at + 12]!r} where a number should be")
        found.append(token.group())
        at = token.end()
    return found


def _subpaths(tokens: list[str]) -> Iterator[tuple[list[Segment], bool]]:
    at = 0

    def take(count: int) -> list[float]:
        nonlocal at
        words = tokens[at : at + count]
        if len(words) < count or any(w in "MLACZ" for w in words):
            raise GeometryError("path data ends before its numbers do")
        at += count
        values = [float(w) for w in words]
        if not all(math.isfinite(v) for v in values):
            raise GeometryError("path data has a number that isn't finite")
        return values

    segments: list[Segment] = []
    here = start = 0j
    opened = False
    while at < len(tokens):
        command = tokens[at]
        at += 1
        if command == "M":
            if segments:
                yield segments, False
            elif opened:
                raise GeometryError("path data has an M that draws nothing")
            x, y = take(2)
            here = start = complex(x, y)
            segments, opened = [], True
            continue
        if not opened:
            raise GeometryError("path data must start with M")
        if command == "Z":
            if here != start:
                segments.append(Line(here, start))
            yield segments, True
            segments, opened = [], False
            continue
        made = _segment(command, here, take)
        segments.append(made)
        here = made.end
    if segments:
        yield segments, False
    elif opened:
        raise GeometryError("path data has an M that draws nothing")


def _segment(command: str, here: complex, take: object) -> Segment:
    assert callable(take)
    if command == "L":
        x, y = take(2)
        return Line(here, complex(x, y))
    if command == "C":
        v = take(6)
        return Cubic(here, complex(v[0], v[1]), complex(v[2], v[3]), complex(v[4], v[5]))
    if command == "A":
        rx, ry, turn, large, sweep, x, y = take(7)
        if rx != ry or turn != 0 or large != 0 or sweep not in (0, 1) or rx <= 0:
            raise GeometryError("path data has an arc that is not circular or is wider than 180")
        return line_or_arc(here, complex(x, y), _bulge(here, complex(x, y), rx, sweep == 1))
    raise GeometryError(f"path data has {command!r} where a command should be")


def _bulge(start: complex, end: complex, radius: float, grows: bool) -> float:
    half = abs(end - start) / 2
    if half > radius * (1 + 1e-6):
        raise GeometryError("path data has an arc whose radius doesn't reach its ends")
    quarter = math.asin(min(1.0, half / radius)) / 2
    return math.tan(quarter) if grows else -math.tan(quarter)
