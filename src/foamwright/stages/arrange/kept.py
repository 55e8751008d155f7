"""A layout kept as a file and used again while pieces, stock and rules are unchanged.

A timed search isn't reproducible, so its result is an artefact: the same layout file and job give
the same bytes.  The key is a hash of all that a layout depends on.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import to_path_data
from foamwright.model import Copy, Limits, Placement, Sheet, Stock, Zone
from foamwright.stages.arrange.hosts import usable_openings

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
    data: Group = {
        "copies": [_copy_data(c) for c in copies],
        "stocks": [stock_data(s) for s in stocks],
        "limits": _limits_data(limits),
        "back": back,
    }
    hosts = [c.name for c in copies if usable_openings(c, limits)]
    if hosts:
        data["hosts"] = hosts
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


def _copy_data(copy: Copy) -> list[Any]:
    """What is not as usual comes last, so that it doesn't touch other layouts' keys."""
    pin = None if copy.pin is None else [copy.pin.real, copy.pin.imag]
    rules = {"free": copy.free, "pin": pin, "group": copy.group, "turnable": copy.turnable}
    rare = {k: v for k, v in rules.items() if v}
    usual = [copy.name, copy.mirrored, copy.rotations, _measures(copy.piece.outline)]
    return [*usual, rare] if rare else usual


def stock_data(stock: Stock) -> Group:
    """A stock as plain values: those that every stock has, and others where they are not as usual.

    Its price is no part of it: it may change and the layout stay.
    """
    keys = ("material", "kind", "width", "length", "count")
    data: Group = {k: getattr(stock, k) for k in keys}
    if stock.name:
        data["name"] = stock.name
    if stock.outline is not None:
        data["outline"] = to_path_data(stock.outline)
    if stock.zones:
        data["zones"] = [_zone_data(z) for z in stock.zones]
    return data


def _zone_data(zone: Zone) -> list[Any]:
    return [to_path_data(zone.outline), *zone.pieces]


def _limits_data(limits: Limits) -> Group:
    keys = ("reach", "feed", "margins", "clearance", "edge")
    data: Group = {k: getattr(limits, k) for k in keys}
    if limits.zones:
        data["zones"] = [_zone_data(z) for z in limits.zones]
    return data


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
        "stock": stock_data(sheet.stock),
        "width": sheet.width,
        "length": sheet.length,
        "pieces": [_placed_data(p) for p in sheet.placements],
    }


def _placed_data(placed: Placement) -> list[Any]:
    over = ["turned"] if placed.copy.turned else []
    return [placed.copy.name, placed.rotation, placed.x, placed.y, *over]


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
                Placement(_laid(by_name[n], over), float(turn), float(x), float(y))
                for n, turn, x, y, *over in sheet["pieces"]
            )
            for sheet in group
        )
    except (KeyError, TypeError, ValueError):
        return None
    if not all(math.isfinite(v) for sheet in sheets for p in sheet for v in (p.x, p.y)):
        return None
    names = [p.copy.name for sheet in sheets for p in sheet]
    return sheets if sorted(names) == sorted(by_name) else None


def _laid(copy: Copy, over: Sequence[Any]) -> Copy:
    """The copy as it was laid. Raises ValueError where it may not be turned over."""
    if not over:
        return copy
    if over != ["turned"] or not copy.turnable:
        raise ValueError(f"{copy.name} is not to be turned over")
    return copy.turned_over()
