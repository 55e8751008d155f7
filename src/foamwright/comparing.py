"""The pieces of a job on each stock that they could be cut from, alone: what each comes to.

Candidates are the job's own stock and the material's, each with as many of it as are needed.
Changes nothing in a plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from foamwright.asked import Bench, Plan
from foamwright.laying import stock_for
from foamwright.model import Copy, Sheet, Stock
from foamwright.stages.arrange import Layout, arrange


@dataclass(frozen=True, slots=True)
class StockRow:
    """One stock with all of a bench's pieces. left: how many pieces find no room on it."""

    bench: Bench
    stock: Stock
    sheets: tuple[Sheet, ...]
    left: int


def compare_stocks(plan: Plan) -> Iterator[StockRow]:
    """A row for each material on each machine and each of its stocks, in the benches' order."""
    for pair, layout in plan.layouts.items():
        bench = plan.benches[pair]
        copies = [_as_asked(p.copy) for s in layout.sheets for p in s.placements]
        for stock in _candidates(bench):
            alone = replace(stock, count=None)
            made: Layout = arrange(
                copies, [alone], bench.limits, plan.asked.request.layout, back=bench.back
            )
            placed = sum(len(s.placements) for s in made.sheets)
            yield StockRow(bench, stock, made.sheets, len(copies) - placed)


def _candidates(bench: Bench) -> Iterable[Stock]:
    seen: set[tuple[object, ...]] = set()
    for stock in (*bench.stocks, *stock_for(bench.material.profile)):
        about = (stock.kind, stock.width, stock.length, stock.name)
        if about not in seen:
            seen.add(about)
            yield stock


def _as_asked(copy: Copy) -> Copy:
    return copy.turned_over() if copy.turned else copy
