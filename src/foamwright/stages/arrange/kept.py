"""A layout kept as a file and used again while pieces, stock and rules are unchanged.

A timed search isn't reproducible, so its result is an artefact: the same layout file and job give
the same bytes.  The key is a hash of all that a layout depends on.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from foamwright.geometry.path import Path
from foamwright.model import Copy, Limits, Placement, Sheet, Stock

#: Version of the layout file; another one is searched anew.
SCHEMA = 1
#: Decimals of an outline's size in the key, mm: what a layout can tell apart.
KEY_DECIMALS = 2
#: Moves the key's rounding off the numbers that people draw, so that noise doesn't flip it, mm.
KEY_SHIFT = 0.00137

Group = dict[str, Any]


def layout_key(copies: Sequence[Copy], stocks: Sequence[Stock], limits: Limits, back: bool) -> str:
    """sha256 over outlines' sizes, turns, stock, limits and which face is up.

    An outline counts by its box, length and area, so that another platform's last digits don't
    search anew; a kept layout is checked on the exact outlines before it is used.
    """
    data = {
        "copies": [[c.name, c.mirrored, c.rotations, _measures(c.piece.outline)] for c in copies],
        "stocks": [asdict(s) for s in stocks],
        "limits": asdict(limits),
        "back": back,
    }
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


def _measures(outline: Path) -> list[float]:
    size = math.sqrt(outline.area)
    return [round(v + KEY_SHIFT, KEY_DECIMALS) for v in (*outline.bounds, outline.length, size)]


def to_text(
    groups: Mapping[str, Sequence[Sheet]], before: Mapping[str, Sequence[Group]] | None = None
) -> str:
    """Layouts by key as the text of a layout file; before: other layouts to keep in it."""
    made = {key: [_sheet_data(s) for s in sheets] for key, sheets in groups.items()}
    data = {"schema": SCHEMA, "layouts": dict(sorted({**(before or {}), **made}.items()))}
    return json.dumps(data, indent=1) + "\n"


def _sheet_data(sheet: Sheet) -> Group:
    return {
        "stock": asdict(sheet.stock),
        "width": sheet.width,
        "length": sheet.length,
        "pieces": [[p.copy.name, p.rotation, p.x, p.y] for p in sheet.placements],
    }


def from_text(text: str) -> dict[str, list[Group]]:
    """Layouts by key; empty where the text is not a layout file of this version."""
    try:
        data = json.loads(text)
        if data["schema"] != SCHEMA:
            return {}
        return {str(k): list(v) for k, v in data["layouts"].items()}
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}


def placed_again(
    group: Sequence[Group], copies: Sequence[Copy]
) -> tuple[tuple[Placement, ...], ...] | None:
    """The kept placings with this run's copies, or None where they don't match one for one."""
    by_name = {c.name: c for c in copies}
    try:
        sheets = tuple(
            tuple(
                Placement(by_name[n], float(turn), float(x), float(y))
                for n, turn, x, y in sheet["pieces"]
            )
            for sheet in group
        )
    except (KeyError, TypeError, ValueError):
        return None
    if not all(math.isfinite(v) for sheet in sheets for p in sheet for v in (p.x, p.y)):
        return None
    names = [p.copy.name for sheet in sheets for p in sheet]
    turns_allowed = all(p.rotation in p.copy.rotations for s in sheets for p in s)
    return sheets if sorted(names) == sorted(by_name) and turns_allowed else None
