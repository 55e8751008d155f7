"""Single-stroke letters for labels: each glyph a few straight strokes, drawn for this project.

A glyph stands in a box 8 wide and 12 high, its foot on y = 0.  Straight strokes only, with bevelled
corners for rounds: every tool draws them, and none has to be fitted.  Nought bears a stroke, one a
flag and a foot, six a leaning stem, nine an upright one, so that no glyph is another one's turn.
Small letters are written as capitals and accents are dropped.  Does not choose where a label goes.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path

#: Height of a capital in the glyphs' own units, and the greatest width.
CAP, WIDE = 12, 8
#: Space between two letters and width of a space, in the same units.
GAP, SPACE = 4.0, 6.0
#: Each glyph's strokes, parted by `|`; a point is two hexadecimal digits, x then y.  A stroke that
#: ends where it starts is closed.
_DRAWN: Mapping[str, str] = MappingProxyType(
    {
        "A": "00 4c 80|13 73",
        "B": "66 06 00 60 82 84 66 88 8a 6c 0c 06",
        "C": "8a 6c 2c 0a 02 20 60 82",
        "D": "00 0c 5c 89 83 50 00",
        "E": "8c 0c 00 80|06 66",
        "F": "8c 0c 00|06 66",
        "G": "8a 6c 2c 0a 02 20 60 82 85 45",
        "H": "00 0c|80 8c|06 86",
        "I": "2c 6c|4c 40|20 60",
        "J": "3c 8c|6c 62 40 20 02",
        "K": "00 0c|8c 04|37 80",
        "L": "0c 00 80",
        "M": "00 0c 45 8c 80",
        "N": "00 0c 80 8c",
        "O": "3c 5c 89 83 50 30 03 09 3c",
        "P": "00 0c 6c 8a 87 65 05",
        "Q": "3c 5c 89 83 50 30 03 09 3c|53 80",
        "R": "00 0c 6c 8a 87 65 05|45 80",
        "S": "8a 6c 2c 0a 08 26 66 84 82 60 20 02",
        "T": "0c 8c|4c 40",
        "U": "0c 02 20 60 82 8c",
        "V": "0c 40 8c",
        "W": "0c 20 48 60 8c",
        "X": "00 8c|0c 80",
        "Y": "0c 46 8c|46 40",
        "Z": "0c 8c 00 80",
        "0": "3c 5c 89 83 50 30 03 09 3c|23 69",
        "1": "19 4c 40|10 70",
        "2": "0a 2c 6c 8a 88 00 80",
        "3": "0c 8c 47 67 85 82 60 20 02",
        "4": "60 6c 04 84",
        "5": "8c 0c 07 67 85 82 60 20 02",
        "6": "7c 4c 06 02 20 60 82 84 66 06",
        "7": "0c 8c 30",
        "8": "26 08 0a 2c 6c 8a 88 66 26|26 04 02 20 60 82 84 66",
        "9": "87 65 25 07 0a 2c 6c 8a 80",
        "-": "26 66",
        "_": "00 80",
        ".": "30 50 52 32 30",
        ",": "52 30",
        "'": "4c 49",
        "/": "00 8c",
        "+": "06 86|42 4a",
        "(": "5c 39 33 50",
        ")": "3c 59 53 30",
        "#": "20 2c|60 6c|04 84|08 88",
    }
)


@dataclass(frozen=True, slots=True)
class Glyph:
    """A letter as it stands in a word: strokes about (0, 0) at the middle of its box, mm.

    at: how far along the word's baseline that middle lies, mm.  width: of the strokes, mm.
    """

    strokes: tuple[Path, ...]
    at: float
    width: float


def plain_letters(text: str) -> str:
    """The text as it is lettered: capitals, no accents, single spaces."""
    bare = unicodedata.normalize("NFKD", text.upper())
    return " ".join("".join(c for c in bare if not unicodedata.combining(c)).split())


def unknown_letters(text: str) -> str:
    """The letters of a text that no glyph is drawn for, each once."""
    return "".join(dict.fromkeys(c for c in plain_letters(text) if c not in _DRAWN and c != " "))


def strokes_of(letter: str) -> tuple[tuple[complex, ...], ...]:
    """A glyph's strokes in its own units. Raises KeyError."""
    return tuple(
        tuple(complex(int(p[0], 16), int(p[1], 16)) for p in stroke.split())
        for stroke in _DRAWN[letter].split("|")
    )


def known_letters() -> str:
    return "".join(_DRAWN)


def word(text: str, height: float) -> tuple[tuple[Glyph, ...], float]:
    """The glyphs of one line of letters `height` mm high, and the line's length, mm.

    Raises KeyError for a letter that no glyph is drawn for.
    """
    unit = height / CAP
    glyphs, at = [], 0.0
    for letter in plain_letters(text):
        if letter == " ":
            at += SPACE
            continue
        strokes = strokes_of(letter)
        across = [p.real for s in strokes for p in s]
        low, wide = min(across), max(across) - min(across)
        to_middle = Affine.scaling(unit) @ Affine.translation(-complex(low + wide / 2, CAP / 2))
        paths = tuple(_path(s).transformed(to_middle) for s in strokes)
        glyphs.append(Glyph(paths, (at + wide / 2) * unit, wide * unit))
        at += wide + GAP
    return tuple(glyphs), max(0.0, at - GAP) * unit


def _path(points: tuple[complex, ...]) -> Path:
    return Path.polygon(points, closed=points[0] == points[-1])
