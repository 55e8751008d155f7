"""From copies to sheets: which stock bears what, the search, its check, and sheet after sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.affine import Affine
from foamwright.model import Copy, Limits, Placement, Sheet, Stock
from foamwright.stages.arrange.check import broken_rule
from foamwright.stages.arrange.kept import Group, layout_key, placed_again
from foamwright.stages.arrange.outline import (
    SEARCH_TOLERANCE,
    Shape,
    changed,
    strip_corner,
    turned_size,
)
from foamwright.stages.arrange.rows import place_in_rows
from foamwright.stages.arrange.search import find
from foamwright.stages.arrange.window import FIT_EPS, Window, window_of

#: An exact fit fails in the search without this much slack, as a part of the strip's height.
FIT_SLACK = 1e-4


@dataclass(frozen=True, slots=True)
class Asked:
    """How to search: whole seconds for each search, and the seed; fresh: leave kept layouts be."""

    seconds: int = 5
    seed: int = 1
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """The sheets of one material on one machine. key: what the layout depends on, hashed."""

    key: str
    sheets: tuple[Sheet, ...]
    findings: tuple[Finding, ...]
    reused: bool = False


def arrange(
    copies: Sequence[Copy],
    stocks: Sequence[Stock],
    limits: Limits,
    asked: Asked,
    *,
    kept: Sequence[Group] | None = None,
    back: bool = False,
) -> Layout:
    """Copies of one material on its stock: the first that bears a piece and has room takes it.

    kept: this key's layout of an earlier run.  Faults: a piece that fits no stock, and more pieces
    than the counted stock bears; then the sheets hold what could be placed.
    """
    key = layout_key(copies, stocks, limits, back)
    windows = [window_of(s, limits) for s in stocks]
    if kept is not None and not asked.fresh:
        again = _from_kept(kept, copies, windows, limits, back)
        if again is not None:
            used = [w for w in windows if any(s.stock == w.stock for s in again)]
            notes = tuple(n for w in used for n in _trim_note(w))
            return Layout(key, again, notes, reused=True)
    findings: list[Finding] = []
    sheets: list[Sheet] = []
    waiting = list(copies)
    for window in windows:
        shapes = [s for c in waiting if (s := _shape_on(window, c)) is not None]
        filled = _fill(window, shapes, limits.clearance, asked, findings)
        sheets.extend(_sheet(window, placed, back, limits) for placed in filled)
        findings.extend(_trim_note(window) if filled else ())
        placed_now = {p.copy.name for placed in filled for p in placed}
        waiting = [c for c in waiting if c.name not in placed_now]
    findings.extend(_unplaced(waiting, windows))
    return Layout(key, tuple(sheets), tuple(findings))


def _shape_on(window: Window, copy: Copy) -> Shape | None:
    """The copy with the turns in which the window bears it, if there is one."""
    turns = tuple(r for r in copy.rotations if window.bears(copy, r))
    return Shape.of(copy, turns) if turns else None


def _unplaced(copies: Sequence[Copy], windows: Sequence[Window]) -> list[Finding]:
    """Why each of these copies has no place."""
    found = []
    waiting = []
    for copy in copies:
        if any(_shape_on(w, copy) for w in windows):
            waiting.append(copy)
        else:
            found.append(_fits_nowhere(copy, windows))
    if waiting:
        bearing = [w for w in windows if any(_shape_on(w, c) for c in waiting)]
        found.append(_no_more_stock(bearing, waiting))
    return found


def _fill(
    window: Window,
    shapes: Sequence[Shape],
    clearance: float,
    asked: Asked,
    findings: list[Finding],
) -> list[tuple[Placement, ...]]:
    """Windowfuls of placements, as many as the shapes need and the stock's count allows."""
    filled: list[tuple[Placement, ...]] = []
    rest = list(shapes)
    while rest and (window.count is None or len(filled) < window.count):
        placed = _one_window(window, rest, clearance, asked, findings)
        names = {p.copy.name for p in placed}
        filled.append(placed)
        rest = [s for s in rest if s.copy.name not in names]
    return filled


def _one_window(
    window: Window,
    shapes: Sequence[Shape],
    clearance: float,
    asked: Asked,
    findings: list[Finding],
) -> tuple[Placement, ...]:
    """As many of the shapes as the search lays within the window's length; never none."""
    rows = place_in_rows(shapes, window, clearance)
    if len(shapes) == 1:
        return rows
    found = _searched(window, shapes, clearance, asked)
    within = tuple(p for p in found or () if p.piece.outline.bounds[3] <= window.far + FIT_EPS)
    reason = "the search gave no layout" if not within else broken_rule(within, window, clearance)
    if reason is not None:
        findings.append(warning("L402", shapes[0].copy.material, f"{reason}; boxes laid in rows"))
        return rows
    if len(within) < len(shapes) and _area(rows) > _area(within):
        return rows
    return within


def _area(placed: Sequence[Placement]) -> float:
    return sum(p.copy.piece.outline.area for p in placed)


def _searched(
    window: Window, shapes: Sequence[Shape], clearance: float, asked: Asked
) -> tuple[Placement, ...] | None:
    slack = FIT_SLACK * window.across
    gap = clearance + 2 * SEARCH_TOLERANCE + 2 * slack
    height = window.across + 2 * gap + slack
    found = find(shapes, height, gap, asked.seconds, asked.seed)
    if found is None:
        return None
    made = []
    for i, turn, x, y in found:
        corner = Affine.rotation(-turn).vector(strip_corner(shapes[i].points))
        spot = changed(complex(x, y) - gap * (1 + 1j) - corner)
        v = spot + complex(window.left, window.near)
        made.append(_within(Placement(shapes[i].copy, turn, v.real, v.imag), window))
    return tuple(made)


def _within(placed: Placement, window: Window) -> Placement:
    """Moved by the search's slack where it pokes out across the window or at the near end."""
    low_x, low_y, high_x, _ = placed.piece.outline.bounds
    dx = max(0.0, window.left - low_x) - max(0.0, high_x - window.right)
    dy = max(0.0, window.near - low_y)
    if dx == 0.0 and dy == 0.0:
        return placed
    return Placement(placed.copy, placed.rotation, placed.x + dx, placed.y + dy)


def _sheet(window: Window, placed: Sequence[Placement], back: bool, limits: Limits) -> Sheet:
    length = window.length
    if window.fed:
        used = max(p.piece.outline.bounds[3] for p in placed)
        length = min(length, math.ceil(used + limits.edge + limits.margins[3]))
    ordered = sorted(placed, key=lambda p: p.copy.name)
    return Sheet(
        0, window.stock, placed[0].copy.machine, window.width, length, tuple(ordered), back
    )


def _from_kept(
    kept: Sequence[Group],
    copies: Sequence[Copy],
    windows: Sequence[Window],
    limits: Limits,
    back: bool,
) -> tuple[Sheet, ...] | None:
    """The kept layout as sheets where it still keeps every rule, else None."""
    sheets = placed_again(kept, copies)
    if sheets is None:
        return None
    made = []
    for group, placed in zip(kept, sheets, strict=True):
        fitting = [w for w in windows if _same_stock(w.stock, group.get("stock"))]
        if not fitting or not placed or broken_rule(placed, fitting[0], limits.clearance):
            return None
        made.append(_sheet(fitting[0], placed, back, limits))
    return tuple(made) if all(_within_count(w, made) for w in windows) else None


def _within_count(window: Window, sheets: Sequence[Sheet]) -> bool:
    return window.count is None or sum(s.stock == window.stock for s in sheets) <= window.count


def _same_stock(stock: Stock, data: object) -> bool:
    return isinstance(data, dict) and all(
        data.get(k) == getattr(stock, k) for k in ("material", "kind", "width", "length", "count")
    )


def _trim_note(window: Window) -> list[Finding]:
    if not window.is_trimmed:
        return []
    stock = window.stock
    return [
        note(
            "L404",
            stock.material,
            f"the machine reaches {window.width:g} x {window.length:g} mm: cut the "
            f"{stock.width:g} x {stock.length:g} mm {stock.kind} down to it first",
        )
    ]


def _fits_nowhere(copy: Copy, windows: Sequence[Window]) -> Finding:
    sizes = [turned_size(copy, r) for r in copy.rotations]
    across, along = min(sizes, key=lambda s: (max(s), s))
    room = ", ".join(f"{max(0.0, w.across):.1f} x {max(0.0, w.along):.1f}" for w in windows)
    return fault(
        "L401",
        copy.name,
        f"{across:.1f} x {along:.1f} mm fits no stock of {copy.material} "
        f"(usable: {room or 'none'} mm)",
        "give a larger [[stock]], another machine or a smaller scale",
        piece=copy.name,
    )


def _no_more_stock(windows: Sequence[Window], rest: Sequence[Copy]) -> Finding:
    names = ", ".join(c.name for c in rest[:5]) + (" ..." if len(rest) > 5 else "")
    stocks = [w.stock for w in windows]
    counted = " and ".join(f"the {s.count} of {s.width:g} x {s.length:g} mm" for s in stocks)
    return fault(
        "L403",
        stocks[0].material,
        f"{len(rest)} {'piece finds' if len(rest) == 1 else 'pieces find'} no room on "
        f"{counted}: {names}",
        "raise the stock's count or cut fewer",
    )
