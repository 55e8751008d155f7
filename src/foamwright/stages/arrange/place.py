"""From copies to sheets: a kept layout, or window after window, each the stock that serves best."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from foamwright.findings import Finding, note
from foamwright.model import Copy, Limits, Placement, Sheet, Stock
from foamwright.stages.arrange.check import broken_rule, parted_groups
from foamwright.stages.arrange.filling import bears
from foamwright.stages.arrange.hosts import Hosting, as_asked, hosting, wrongly_hosted
from foamwright.stages.arrange.kept import Group, layout_key, placed_again, stock_data
from foamwright.stages.arrange.task import Progress, Task
from foamwright.stages.arrange.told import (
    cut_down,
    no_time,
    no_turn,
    slow,
    stopped,
    turned_over,
    unplaced,
    untrimmed,
)
from foamwright.stages.arrange.ways import lay_cheapest
from foamwright.stages.arrange.window import Window, window_of


@dataclass(frozen=True, slots=True)
class Asked:
    """How to search: seconds for the whole layout, and the seed; fresh: leave kept layouts be.

    first: no search, the first layout that there is.  tell: told of each better layout.
    """

    seconds: int = 5
    seed: int = 1
    fresh: bool = False
    first: bool = False
    tell: Callable[[Progress], None] | None = field(default=None, compare=False)


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
    """Copies of one material on its stock: see `choose` for which stock is taken.

    kept: this key's layout of an earlier run.  Faults: stock that may not be cut down to the reach,
    a piece that no turn or no stock suits, pins and groups that can't be kept, no time to search,
    and more pieces than the counted stock bears; then the sheets hold what could be placed.
    """
    key = layout_key(copies, stocks, limits, back)
    windows = [window_of(s, limits) for s in stocks]
    wrong = [*no_turn(copies), *untrimmed(windows)]
    if wrong:
        return Layout(key, (), tuple(wrong))
    if kept is not None and not asked.fresh:
        again = _from_kept(kept, copies, windows, limits, back)
        if again is not None:
            return Layout(key, again, tuple(_notes(windows, again)), reused=True)
    if asked.seconds <= 0 and not asked.first and len(copies) > 1:
        return Layout(key, (), (no_time(copies[0].material),))
    task = Task(limits.clearance, asked.seconds, asked.seed, asked.tell, asked.first)
    hosted = hosting(copies, limits, [z for w in windows for z in w.zones])
    made = lay_cheapest(windows, hosted.copies, task)
    own = {c.name: c for c in copies}
    sheets = tuple(
        _sheet(w, _with_guests(placed, hosted, own), back, limits) for w, placed in made.filled
    )
    told = [*made.findings, *_notes(windows, sheets)]
    told += unplaced(made.waiting, windows, bears)
    if not task.first:
        told += slow(copies, task.seconds, task.spent)
    if task.stopped:
        told.append(stopped(copies[0].material, sheets))
    return Layout(key, sheets, tuple(told))


def _with_guests(
    placed: Sequence[Placement], hosted: Hosting, own: Mapping[str, Copy]
) -> tuple[Placement, ...]:
    """A sheet with the pieces in openings; hosts as they were asked for."""
    return tuple(replace(p, copy=as_asked(p.copy, own)) for p in hosted.on_sheet(placed))


def _sheet(window: Window, placed: Sequence[Placement], back: bool, limits: Limits) -> Sheet:
    ordered = sorted(placed, key=lambda p: p.copy.name)
    return Sheet(
        number=0,
        stock=window.stock,
        machine=placed[0].copy.machine,
        width=window.width,
        length=window.used_length(placed),
        placements=tuple(ordered),
        back=back,
        zones=window.zones,
        room=limits.edge,
    )


def _notes(windows: Sequence[Window], sheets: Sequence[Sheet]) -> list[Finding]:
    """What the operator must do to the stock that is used before it is cut, and to pieces after."""
    return [
        *(
            note("L404", w.stock.material, cut_down(w))
            for w in windows
            if w.is_trimmed and any(s.stock == w.stock for s in sheets)
        ),
        *turned_over(sheets),
    ]


def _from_kept(
    kept: Sequence[Group],
    copies: Sequence[Copy],
    windows: Sequence[Window],
    limits: Limits,
    back: bool,
) -> tuple[Sheet, ...] | None:
    """The kept layout as sheets where it still keeps every rule, else None."""
    sheets = placed_again(kept, copies)
    if sheets is None or parted_groups(sheets):
        return None
    made = []
    for group, placed in zip(kept, sheets, strict=True):
        fitting = [w for w in windows if _same_stock(w.stock, group.get("stock"))]
        if not fitting or not placed or broken_rule(placed, fitting[0], limits.clearance):
            return None
        if wrongly_hosted(placed, limits):
            return None
        made.append(_sheet(fitting[0], placed, back, limits))
    return tuple(made) if all(_within_count(w, made) for w in windows) else None


def _within_count(window: Window, sheets: Sequence[Sheet]) -> bool:
    return window.count is None or sum(s.stock == window.stock for s in sheets) <= window.count


def _same_stock(stock: Stock, data: object) -> bool:
    return isinstance(data, dict) and data == stock_data(stock)
