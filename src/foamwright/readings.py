"""Readings as a person gives them: typed amounts, or a small CSV; and what a value is made of them.

Terms.  *Place*: where a coupon is measured, and how its value follows from a reading.  A CSV has a
head with `reading`, and `place` where a coupon has several; other columns are left alone.
Does not know statistics (`uncertainty.py`) or shelves (`recording.py`).
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

from foamwright.findings import Finding, Refused, fault
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
        value = float(tidy.removesuffix("degrees").removesuffix("°").strip())
    elif unit == "mm":
        value = parse_length(_number(tidy), "mm")
    else:
        value = parse_rate(_number(tidy), 2 if unit == "mm/s2" else 1, "mm")
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is no finite number")
    return value


def _number(text: str) -> str | float:
    try:
        return float(text)
    except ValueError:
        return text


def amounts(texts: Sequence[str], unit: Unit, where: str) -> tuple[float, ...]:
    """Readings in their unit. Raises Refused (J541) with every one that is none."""
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

    Raises Refused (J541) where it can't be read or has no such columns.
    """
    rows = csv.DictReader(io.StringIO(_text(file)), delimiter=_delimiter(_text(file)))
    heads = [(h or "").strip().casefold() for h in rows.fieldnames or ()]
    if "reading" not in heads:
        said = f"has no column `reading` (it has {shown(', '.join(heads)) or 'none'})"
        raise Refused([fault("J541", file.name, said, "give it a head: place,reading")])
    found: dict[str, tuple[str, ...]] = {}
    for place, reading in _rows(rows):
        found[place] = (*found.get(place, ()), reading)
    if not found:
        raise Refused([fault("J541", file.name, "holds no reading", "fill it in")])
    return found


def _rows(rows: csv.DictReader[str]) -> Iterator[tuple[str, str]]:
    for row in rows:
        told = {(k or "").strip().casefold(): v for k, v in row.items() if isinstance(v, str)}
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
