"""Values of SVG attributes: lengths, viewports, viewBox and its fit, transforms, lists of numbers.

Lengths are in the user units of their place (1 px).  A value that can't be taken raises ValueError
with the reason; the caller knows the place.  Numbers beyond `pathgrammar.LARGEST` are refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from svgelements import Matrix

from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.stages.acquire.pathgrammar import LARGEST, NUMBER

#: Pixels in one of each unit of a length (CSS Values 3: 96 px to the inch).
PIXELS = {"": 1.0, "px": 1.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4, "q": 96 / 101.6}
PIXELS |= {"pt": 96 / 72, "pc": 16.0}
#: Units that state a true size.
PHYSICAL = ("in", "cm", "mm", "q", "pt", "pc")

_LENGTH = re.compile(rf"\s*({NUMBER})\s*([a-zA-Z]*|%)\s*")
_SPLIT = re.compile(r"\s*,\s*|\s+")
_ATTRIBUTE_FUNCTION = re.compile(r"\s*([a-zA-Z]+)\s*\(([^()]*)\)(?:\s*,(?=\s*[a-zA-Z]))?")
_CSS_FUNCTION = re.compile(r"\s*([a-zA-Z]+)\(([^()]*)\)")
_NUMBERS = re.compile(rf"\s*{NUMBER}(?>\s*,?\s*{NUMBER})*\s*")
_ARGUMENT = re.compile(rf"({NUMBER})([a-zA-Z]*)")
#: The functions of a transform and how many numbers each may have.
_COUNTS = {"matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3)}
_COUNTS |= {"skewX": (1,), "skewY": (1,)}
_CSS_ONLY = ("translateX", "translateY", "scaleX", "scaleY")
_COUNTS |= dict.fromkeys(_CSS_ONLY, (1,))
#: Degrees in one of each unit of an angle (CSS).
_DEGREES = {"deg": 1.0, "rad": 180 / math.pi, "turn": 360.0, "grad": 0.9}

Axis = Literal["x", "y", "other"]


@dataclass(frozen=True, slots=True)
class Viewport:
    """The size, in user units, that percentages refer to; None where the drawing doesn't say."""

    width: float | None
    height: float | None

    def base(self, axis: Axis) -> float:
        w, h = self.width, self.height
        size = {"x": w, "y": h, "other": None if w is None or h is None else math.hypot(w, h)}[axis]
        if size is None:
            raise ValueError("is a percentage of a drawing that states no size")
        return size / math.sqrt(2) if axis == "other" else size


@dataclass(frozen=True, slots=True)
class ViewBox:
    x: float
    y: float
    width: float
    height: float


def number(text: str) -> float:
    value = float(text)
    if not abs(value) <= LARGEST:
        raise ValueError(f"{text} is too large to be meant")
    return value


def split_length(text: str) -> tuple[float, str]:
    """Number and unit (lower case, `%`, or empty). Raises ValueError."""
    found = _LENGTH.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is not a length")
    return number(found[1]), found[2].lower()


def length(text: str, axis: Axis, viewport: Viewport) -> float:
    """A length in user units."""
    value, unit = split_length(text)
    if unit == "%":
        return value / 100 * viewport.base(axis)
    if unit not in PIXELS:
        raise ValueError(f"{text!r} has the unit {unit!r}, which doesn't give a fixed size")
    return value * PIXELS[unit]


def numbers(text: str) -> tuple[list[float], str]:
    """The numbers of a list such as `points`, up to the first error, and the error."""
    found: list[float] = []
    for word in _SPLIT.split(text.strip()) if text.strip() else []:
        parts = re.findall(NUMBER, word)
        if "".join(parts) != word or not word:
            return found, f"{word or ','!r} is not a number"
        for part in parts:
            if abs(float(part)) > LARGEST:
                return found, f"{part} is too large to be meant"
            found.append(float(part))
    return found, ""


def view_box(text: str) -> ViewBox:
    """Raises ValueError where it isn't four numbers or has no size."""
    values, error = numbers(text)
    if error or len(values) != 4:
        raise ValueError(f"viewBox {text!r} is not four numbers")
    if values[2] <= 0 or values[3] <= 0:
        raise ValueError(f"viewBox {text!r} has no size")
    return ViewBox(*values)


def fit(box: ViewBox, width: float, height: float, aspect: str) -> Affine:
    """The map from a viewBox to a viewport of this size (SVG 1.1 section 7.8)."""
    words = [w for w in aspect.split() if w != "defer"] or ["xMidYMid"]
    align = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", words[0])
    sx, sy = width / box.width, height / box.height
    move = Affine.translation(complex(-box.x, -box.y))
    if words[0] == "none":
        return Affine.scaling(sx, sy) @ move
    if align is None or words[1:] not in ([], ["meet"], ["slice"]):
        raise ValueError(f"preserveAspectRatio {aspect!r} is not known")
    scale = max(sx, sy) if words[1:] == ["slice"] else min(sx, sy)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    room = complex(
        (width - scale * box.width) * share[align[1]],
        (height - scale * box.height) * share[align[2]],
    )
    return Affine.translation(room) @ Affine.scaling(scale) @ move


def transform(text: str) -> Affine:
    """The map of a transform attribute (SVG 1.1 section 7.6). Raises ValueError on any fault."""
    return _composed(text, _ATTRIBUTE_FUNCTION, _attribute_function)


def css_transform(text: str) -> Affine:
    """The map of the CSS property, where numbers bear units. Raises ValueError on any fault."""
    return _composed(text, _CSS_FUNCTION, _css_function)


def checked(m: Affine) -> Affine:
    """The map itself. Raises ValueError where its numbers have run away."""
    if not all(abs(v) <= LARGEST for v in (m.a, m.b, m.c, m.d, m.e, m.f)):
        raise ValueError("transform has numbers too large to be meant")
    return m


def _composed(
    text: str, pattern: re.Pattern[str], plain: Callable[[str, str], tuple[str, list[float]]]
) -> Affine:
    """The functions in plain numbers go to the library, which composes them rightly."""
    if text.strip() in ("", "none"):
        return IDENTITY
    at, parts = 0, []
    while text[at:].strip():
        found = pattern.match(text, at)
        if found is None:
            raise ValueError(f"transform can't be read from {text[at : at + 20].strip()!r}")
        name, values = plain(found[1], found[2])
        if len(values) not in _COUNTS[name]:
            raise ValueError(f"transform {found[0].strip()!r} has the wrong count of numbers")
        parts.append(f"{name}({', '.join(map(repr, values))})")
        at = found.end()
    m = Matrix(" ".join(parts))
    return checked(Affine(*(float(v) for v in (m.a, m.b, m.c, m.d, m.e, m.f))))


def _attribute_function(name: str, inside: str) -> tuple[str, list[float]]:
    if name not in _COUNTS or name in _CSS_ONLY:
        raise ValueError(f"transform has {name!r}, which is not known")
    if not _NUMBERS.fullmatch(inside):
        raise ValueError(f"transform {name}({inside}) holds what is not a number")
    return name, [number(v) for v in re.findall(NUMBER, inside)]


def _css_function(name: str, inside: str) -> tuple[str, list[float]]:
    known = {n.lower(): n for n in _COUNTS}
    plain = known.get(name.lower())
    if plain is None:
        raise ValueError(f"transform has {name!r}, which is not known")
    sizes: Mapping[str, float] = {"": 1.0}
    if plain in ("rotate", "skewX", "skewY"):
        sizes = _DEGREES
    elif plain.startswith("translate"):
        sizes = {k: v for k, v in PIXELS.items() if k}
    return plain, [_css_number(word.strip(), sizes) for word in inside.split(",")]


def _css_number(word: str, sizes: Mapping[str, float]) -> float:
    found = _ARGUMENT.fullmatch(word)
    if found is None:
        raise ValueError(f"transform holds {word!r}, which is not a number")
    value, unit = number(found[1]), found[2].lower()
    if value and unit not in sizes:
        raise ValueError(f"transform holds {word!r}, whose unit is not known there")
    return value * sizes.get(unit, 1.0)
