"""Lengths as people write them: `12.7 mm`, `1/2 in`, `4 1/2 in`, `5½"`, `2 cm`.

A bare number takes the unit given.
1 in = 25.4 mm exactly (international inch); an SVG px is 1/96 in (CSS).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType

#: Millimetres in one of each unit.
MM: Mapping[str, float] = MappingProxyType(
    {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "in": 25.4,
        "ft": 304.8,
        "pt": 25.4 / 72,
        "pc": 25.4 / 6,
        "px": 25.4 / 96,
        "um": 0.001,
    }
)
_ALIASES = {'"': "in", "″": "in", "inch": "in", "inches": "in", "'": "ft", "millimetre": "mm"}
_FRACTIONS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅓": "1/3",
    "⅔": "2/3",
}
_LENGTH = re.compile(
    r"""(?P<sign>[-+]?)\s*
    (?:(?P<decimal>(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(?![\d/])
       (?:[\s-]+(?P<n1>\d+)/(?P<d1>\d+))?
      |(?P<n2>\d+)/(?P<d2>\d+))
    \s*(?P<unit>[a-zA-Z"″']*)""",
    re.VERBOSE,
)
_RATE = re.compile(r"(?P<length>.+?)\s*/\s*(?P<time>s|min)(?P<power>2|²|)")
_RATE_EXAMPLES = {1: "60 mm/s", 2: "2000 mm/s2"}


def unit_size(name: str) -> float:
    """Millimetres in a unit. Raises ValueError with the known ones where it isn't known."""
    key = _ALIASES.get(name, name)
    if key not in MM:
        raise ValueError(f"unknown unit {name!r}, known are {', '.join(MM)}")
    return MM[key]


def parse_length(text: str | float | int, bare: str | None = None) -> float:
    """A length in mm. `bare` is the unit of a number without one.

    Raises ValueError with the reason: no number, an unknown unit, no unit where one is needed.
    """
    if isinstance(text, bool):
        raise ValueError("a length is a number with a unit, not true or false")
    if isinstance(text, int | float):
        return _in_unit(float(text), "", bare)
    tidy = text.strip()
    for glyph, plain in _FRACTIONS.items():
        tidy = tidy.replace(glyph, f" {plain}")
    found = _LENGTH.fullmatch(tidy.strip())
    if found is None:
        raise ValueError(f"{text!r} is not a length such as 12.7 mm or 4 1/2 in")
    value = float(found["decimal"] or 0)
    top, bottom = found["n1"] or found["n2"], found["d1"] or found["d2"]
    if top:
        if int(bottom) == 0:
            raise ValueError(f"{text!r} divides by nought")
        value += float(top) / float(bottom)
    return _in_unit(-value if found["sign"] == "-" else value, found["unit"], bare)


def parse_rate(text: str | float | int, order: int, bare: str | None = None) -> float:
    """A speed (order 1, mm/s) or an acceleration (order 2, mm/s2): `60 mm/s`, `2 in/s`, `3 m/min`.

    `bare` is the unit of length of a number without one, by the second.
    Raises ValueError with the reason.
    """
    seconds = 1.0
    length: str | float | int = text
    if isinstance(text, str):
        found = _RATE.fullmatch(text.strip())
        if found is None:
            raise ValueError(f"{text!r} is not a rate such as {_RATE_EXAMPLES[order]}")
        power = {"": 1, "2": 2, "²": 2}[found["power"]]
        if power != order:
            raise ValueError(f"{text!r} is not a rate such as {_RATE_EXAMPLES[order]}")
        length, seconds = found["length"], 60.0 if found["time"] == "min" else 1.0
    return parse_length(length, bare) / seconds**order


def _in_unit(value: float, unit: str, bare: str | None) -> float:
    name = unit or bare
    if not name:
        raise ValueError(f"{value:g} has no unit: write it with mm, cm or in")
    size = value * unit_size(name)
    if not math.isfinite(size):
        raise ValueError("a length must be a finite number")
    return size
