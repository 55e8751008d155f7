"""Readings as a person gives them: typed amounts, or a small CSV; and what a value is made of them.

Terms.  *Place*: where a coupon is measured, and how its value follows from a reading.  A CSV has a
head with `reading`, and `place` where a coupon has several; other columns are left alone.
Does not know statistics (`uncertainty.py`) or shelves (`recording.py`).
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

from foamwright.fields import LONGEST
from foamwright.findings import Finding, Refused, fault, refuse_on_fault
from foamwright.strict_toml import shown
from foamwright.units import parse_length, parse_rate

Unit: TypeAlias = Literal["mm", "mm/s", "mm/s2", "degrees"]
#: How a value follows from a reading, as `Place` has it.
Rule: TypeAlias = Literal["itself", "shortfall", "slope", "lean"]
#: Keys that are no length.
UNITS: Mapping[str, Unit] = {
    "speed": "mm/s",
    "cut_speed_max": "mm/s",
    "travel_speed": "mm/s",
    "acceleration": "mm/s2",
    "edge_angle": "degrees",
    "lean": "degrees",
}
#: Keys whose value is words, set at the machine and not read off a gauge.
WORDS = ("force", "power", "focus", "air", "blade")
#: Most bytes of a file of readings.
LARGEST = 1_000_000
#: Most readings of one place: far more than a hand takes, and the test for outliers is quick.
MOST = 500
#: A bare number as people type it: float() takes 1_0 and other scripts' digits too.
_NUMBER = re.compile(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?|[-+]?(nan|inf)", re.I)


def unit_of(key: str) -> Unit:
    return UNITS.get(key, "mm")


@dataclass(frozen=True, slots=True)
class Place:
    """A place to measure. key: the value that it gives; how: what to do with the gauge.

    rule `itself`: the reading is the value.  `shortfall`: (nominal - reading) / cuts, as a row of
    `cuts` pieces lacks a kerf each.  `slope`: the angle whose tangent is nominal / reading, as an
    edge severs the bottom face that far behind the top; degrees.  `lean`: the angle whose tangent
    is reading / nominal.
    """

    name: str
    key: str
    how: str
    rule: Rule = "itself"
    nominal: float = 0.0
    cuts: int = 1

    @property
    def unit(self) -> Unit:
        """The unit of a reading, which a bare number is in."""
        return "mm" if self.rule != "itself" else unit_of(self.key)

    def value(self, reading: float) -> float:
        if self.rule == "shortfall":
            return (self.nominal - reading) / self.cuts
        if self.rule == "slope":
            return math.degrees(math.atan2(self.nominal, reading))
        if self.rule == "lean":
            return math.degrees(math.atan2(reading, self.nominal))
        return reading

    def steepness(self, reading: float) -> float:
        """How much the value changes with the reading there, in its unit by the reading's."""
        if self.rule == "shortfall":
            return 1 / self.cuts
        if self.rule in ("slope", "lean"):
            return math.degrees(self.nominal / (self.nominal**2 + reading**2))
        return 1.0


def amount(text: str, unit: Unit) -> float:
    """A reading in its unit; a bare number is in it. Raises ValueError with the reason."""
    tidy = text.strip()
    if unit == "degrees":
        bare = _number(tidy.removesuffix("degrees").removesuffix("°").strip())
        if isinstance(bare, str):
            raise ValueError(f"{text!r} is no angle such as 80 degrees")
        value = bare
    elif unit == "mm":
        value = parse_length(_number(tidy), "mm")
    else:
        value = parse_rate(_number(tidy), 2 if unit == "mm/s2" else 1, "mm")
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is no finite number")
    if abs(value) > LONGEST:
        raise ValueError(f"{text!r} is larger than anything measured here")
    return value


def _number(text: str) -> str | float:
    return float(text) if _NUMBER.fullmatch(text) else text


def amounts(texts: Sequence[str], unit: Unit, where: str) -> tuple[float, ...]:
    """Readings in their unit. Raises Refused (J541): every one that is none, or too many."""
    if len(texts) > MOST:
        what = f"{len(texts)} readings are more than the {MOST} that are taken at once"
        raise Refused([fault("J541", where, what, "give fewer")])
    values: list[float] = []
    faults: list[Finding] = []
    for number, text in enumerate(texts, 1):
        try:
            values.append(amount(text, unit))
        except ValueError as e:
            what = f"reading {number} is none: {shown(e)}"
            faults.append(fault("J541", where, what, f"give it in {unit}"))
    if faults:
        raise Refused(faults)
    return tuple(values)


def read_csv(file: Path) -> dict[str, tuple[str, ...]]:
    """The readings of each place, as text; a file without a `place` column has the place "".

    Raises Refused (J541) where it can't be read, has no such columns, or has a row of more cells
    than its head, as a decimal comma between commas makes.
    """
    text = _text(file)
    try:
        head, *rows = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text))
    except ValueError:
        head, rows = [], []
    except csv.Error as e:
        raise Refused([fault("J541", file.name, f"is no CSV: {e}", "save it anew")]) from None
    heads = [h.strip().casefold() for h in head]
    if heads.count("reading") != 1 or heads.count("place") > 1:
        many = "twice the column" if {"reading", "place"} & set(heads) else "no column"
        said = f"has {many} `reading` or `place` (it has {shown(', '.join(heads)) or 'none'})"
        raise Refused([fault("J541", file.name, said, "give it a head: place,reading")])
    refuse_on_fault(_too_wide(file.name, len(heads), rows))
    found: dict[str, list[str]] = {}
    for place, reading in _rows(heads, rows):
        found.setdefault(place, []).append(reading)
    if not found:
        raise Refused([fault("J541", file.name, "holds no reading", "fill it in")])
    return {place: tuple(readings) for place, readings in found.items()}


def _too_wide(name: str, width: int, rows: Sequence[Sequence[str]]) -> Iterator[Finding]:
    """Rows with more filled cells than the head; the first few, since one comma makes all so."""
    wide = [i for i, row in enumerate(rows, 2) if any(c.strip() for c in row[width:])]
    for row in wide[:5]:
        what = f"has more cells than the head's {width}"
        mend = "write 0.21 for 0,21, or part the cells with ;"
        yield fault("J541", f"{name} row {row}", what, mend)


def _rows(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[tuple[str, str]]:
    for row in rows:
        told = dict(zip(heads, row, strict=False))
        reading = told.get("reading", "").strip()
        if reading:
            yield told.get("place", "").strip(), reading


def _delimiter(text: str) -> str:
    head = text.partition("\n")[0]
    return max(",;\t", key=head.count)


def _text(file: Path) -> str:
    try:
        with file.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
        text = raw.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as e:
        reason = e.strerror if isinstance(e, OSError) else "not UTF-8 text"
        what = f"can't be read ({reason})"
        raise Refused([fault("J541", file.name, what, "name a CSV of readings")]) from None
    if len(raw) > LARGEST:
        raise Refused([fault("J541", file.name, "is no small CSV", "name a CSV of readings")])
    return text
