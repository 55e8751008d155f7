"""What the command tells of layouts: progress while they are searched, and what they come to.

Progress goes to standard error where that is a terminal, one line that is written over.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any

from foamwright.asked import Plan
from foamwright.comparing import StockRow
from foamwright.errors import GeometryError
from foamwright.geometry.pathdata import parse_path_data
from foamwright.model import Sheet, Stock
from foamwright.names import readable
from foamwright.offcuts import Entry
from foamwright.stages.arrange import Progress
from foamwright.tables import new_table, safe, terminal
from foamwright.telling import ANEW, looked_at, tell

#: mm2 in a square metre.
SQUARE_METRE = 1e6


@contextmanager
def layout_told() -> Iterator[Callable[[Progress], None] | None]:
    """What tells of each better layout; None where nobody looks on."""
    if not looked_at():
        yield None
        return
    try:
        yield _tell
    finally:
        sys.stderr.write(ANEW)
        sys.stderr.flush()


def _tell(progress: Progress) -> None:
    tell(progress_line(progress))


def progress_line(progress: Progress) -> str:
    return (
        f"layout of {readable(progress.material)}, sheet {progress.sheet}: "
        f"{progress.pieces} pieces, {progress.density:.1%} filled, {progress.seconds:.1f} s "
        "(Ctrl-C takes it)"
    )


def show_layouts(plan: Plan) -> None:
    """Stock, length, filling, waste and price of each sheet, and of the job."""
    price = price_word(plan)
    figures = ("used mm", "filled", "waste m2", price)
    table = new_table("no", "stock", *figures, right=("no", *figures), whole=figures)
    sheets = [program.sheet for _, program in plan.programs]
    for sheet in sheets:
        table.add_row(str(sheet.number), safe(stock_name(sheet.stock)), *_figures([sheet]))
    if len(sheets) > 1:
        table.add_row("", "together", *_figures(sheets))
    terminal().print()
    terminal().print(table)


def price_word(plan: Plan) -> str:
    """`price`, with the job's currency where it names one: figures stand as they were typed."""
    currency = plan.asked.job.job.currency
    return "price" if currency is None else f"price, {safe(currency)}"


def show_compared(rows: Sequence[StockRow], price: str = "price") -> None:
    """The same pieces on each stock that they could be cut from, each alone."""
    columns = ("material", "machine", "stock", "sheets", "used mm", "filled", price)
    right = columns[3:]
    table = new_table(*columns, right=right, whole=right)
    for row in rows:
        name = (
            safe(row.bench.material.id),
            safe(row.bench.machine.id),
            safe(stock_name(row.stock)),
        )
        if row.left:
            table.add_row(*name, f"{row.left} left", "", "", "")
            continue
        used, filled, _, price = _figures(row.sheets)
        table.add_row(*name, str(len(row.sheets)), used, filled, price)
    terminal().print()
    terminal().print("the same pieces on each stock alone")
    terminal().print(table)


def compared_data(rows: Sequence[StockRow]) -> list[dict[str, Any]]:
    return [
        {
            "material": row.bench.material.id,
            "machine": row.bench.machine.id,
            "stock": stock_name(row.stock),
            "sheets": len(row.sheets),
            "pieces_left": row.left,
            **(layout_data(row.sheets) if row.sheets else {}),
        }
        for row in rows
    ]


def show_offcuts(there: Sequence[Entry]) -> None:
    """The offcuts of the shelf; a line where there is none."""
    if not there:
        terminal().print("no offcut is on the shelf")
        return
    table = new_table("offcut", "material", "size mm", "left over by", "booked by")
    for entry in there:
        try:
            box = parse_path_data(entry.outline)[0].bounds
            size = f"{box[2] - box[0]:.0f} x {box[3] - box[1]:.0f}"
        except (GeometryError, IndexError):
            size = "?"
        held = f"{entry.begun_by} (broken off)" if entry.begun_by else entry.booked_by
        words = (entry.id, entry.material, size, entry.came_from, held)
        table.add_row(*map(safe, words))
    terminal().print(table)


def stock_name(stock: Stock) -> str:
    """`roll 1500 x 3000`, `offcut b7`."""
    return f"{stock.kind} {stock.name or f'{stock.width:g} x {stock.length:g}'}"


@dataclass(frozen=True, slots=True)
class LayoutSum:
    """Sheets together. density: 0..1 of the material used; price: None where any has none."""

    density: float
    waste_mm2: float
    used_length_mm: float
    price: float | None

    @staticmethod
    def of(sheets: Sequence[Sheet]) -> LayoutSum:
        area = sum(s.area for s in sheets)
        filled = sum(s.density * s.area for s in sheets)
        priced = [s.price for s in sheets if s.price is not None]
        return LayoutSum(
            filled / area,
            area - filled,
            sum(used_length(s) for s in sheets),
            sum(priced) if len(priced) == len(sheets) else None,
        )


def _figures(sheets: Sequence[Sheet]) -> tuple[str, str, str, str]:
    told = LayoutSum.of(sheets)
    return (
        f"{told.used_length_mm:.0f}",
        f"{100 * told.density:.1f} %",
        f"{told.waste_mm2 / SQUARE_METRE:.3f}",
        "" if told.price is None else f"{told.price:.2f}",
    )


def layout_data(sheets: Sequence[Sheet]) -> dict[str, float | None]:
    """The sheets together, as plain values."""
    return asdict(LayoutSum.of(sheets))


def used_length(sheet: Sheet) -> float:
    """How far along it pieces reach, mm."""
    return max(p.piece.outline.bounds[3] for p in sheet.placements)
