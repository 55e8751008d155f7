"""The grain, nap and stretch arrows of a piece as it lies on its sheet, drawn and in words.

Shown where the material's way or the piece's own arrows matter: a piece that may lie anyhow has
none.  For the operator's sheet only; nothing is cut from them.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass

from foamwright.geometry.region import Region, common, distance, point, polyline, rings
from foamwright.model import Placement

#: An arrow's share of the room that it lies in, and its shortest and longest on the page, mm.
SHARE, SHORTEST, LONGEST = 0.7, 5.0, 26.0
#: Degrees that count as straight along or across the roll, in words.
STRAIGHT = 1.0


@dataclass(frozen=True, slots=True)
class PieceArrow:
    """name: grain or stretch.  tail, head: on the sheet, mm.  both: a head at either end."""

    name: str
    tail: complex
    head: complex
    both: bool


@dataclass(frozen=True, slots=True)
class _Ways:
    """Directions on the sheet in degrees; None: of no account."""

    grain: float | None
    nap: float | None
    stretch: float | None


def _ways(placed: Placement, nap: str, stretch: str) -> _Ways:
    piece = placed.piece
    turned = 90.0 + placed.rotation if piece.grain is None else piece.grain
    directed = nap != "none" or stretch != "none"
    grain = turned if directed or piece.grain is not None else None
    nap_way = (turned if piece.nap is None else piece.nap) if nap != "none" else None
    return _Ways(grain, nap_way, piece.stretch)


def piece_arrows(
    placed: Placement, nap: str, stretch: str, inside: Region, at: complex, page: float
) -> Iterator[PieceArrow]:
    """The arrows through a place inside a laid piece, as long as it has room; page: sheet mm to one
    mm on the page.  nap, stretch: the material's.

    The grain's has one head where there is a nap, at its end.
    """
    ways = _ways(placed, nap, stretch)
    lines = [("grain", ways.grain if ways.nap is None else ways.nap, ways.nap is None)]
    if ways.grain is not None and ways.nap is not None and _apart(ways.grain, ways.nap) > STRAIGHT:
        lines.append(("grain", ways.grain, True))
    lines.append(("stretch", ways.stretch, True))
    for name, degrees, both in lines:
        ends = None if degrees is None else _room(inside, at, degrees)
        if ends is None:
            continue
        middle, way = (ends[0] + ends[1]) / 2, ends[1] - ends[0]
        length = min(SHARE * abs(way), LONGEST * page)
        if length >= SHORTEST * page:
            half = length / 2 * way / abs(way)
            yield PieceArrow(name, middle - half, middle + half, both)


def arrow_words(placed: Placement, nap: str, stretch: str) -> str:
    """`grain and nap up, gives across`: how the piece's arrows lie; empty where it has none."""
    ways = _ways(placed, nap, stretch)
    told = []
    if ways.grain is not None and ways.nap is not None and _apart(ways.grain, ways.nap) <= STRAIGHT:
        told.append(f"grain and nap {_headed(ways.nap)}")
    else:
        told += [f"grain {_along(ways.grain)}"] if ways.grain is not None else []
        told += [f"nap {_headed(ways.nap)}"] if ways.nap is not None else []
    if ways.stretch is not None:
        told.append(f"gives {_along(ways.stretch)}")
    return ", ".join(told)


def _apart(a: float, b: float) -> float:
    """Between two lines without heads, degrees."""
    off = (a - b) % 180
    return min(off, 180 - off)


def _headed(degrees: float) -> str:
    for word, way in (("up", 90.0), ("down", 270.0), ("right", 0.0), ("left", 180.0)):
        if abs((degrees - way + 180) % 360 - 180) <= STRAIGHT:
            return word
    return f"at {degrees % 360:.4g}°"


def _along(degrees: float) -> str:
    if _apart(degrees, 90.0) <= STRAIGHT:
        return "along"
    return "across" if _apart(degrees, 0.0) <= STRAIGHT else f"at {degrees % 180:.4g}°"


def _room(inside: Region, at: complex, degrees: float) -> tuple[complex, complex] | None:
    """The stretch of a line through a place that lies inside the piece, the way it points."""
    way = cmath.rect(1.0, math.radians(degrees))
    reach = 2 * max(abs(at - complex(p)) for ring in rings(inside) for p in ring)
    line = polyline([at - reach * way, at + reach * way])
    parts = [p for p in rings(common(inside, line)) if len(p) > 1]
    here = min(parts, key=lambda p: distance(polyline(p), point(at)), default=None)
    if here is None:
        return None
    ends = sorted((complex(here[0]), complex(here[-1])), key=lambda p: (p / way).real)
    return ends[0], ends[1]
