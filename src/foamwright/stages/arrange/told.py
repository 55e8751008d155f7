"""What a layout tells: why a piece has no place, and what to do to the stock."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from foamwright.findings import Finding, fault, note
from foamwright.model import Copy, Sheet, Stock
from foamwright.stages.arrange.outline import turned_size
from foamwright.stages.arrange.window import Window

#: Names told of many.
TOLD = 5
#: Pieces from which a layout that takes longer than it was given is told, and by how much longer:
#: a part of the time, and seconds.  Fewer do so on a busy machine only.
MANY, LONGER_PART, LONGER_S = 100, 0.1, 1.0


def cut_down(window: Window) -> str:
    stock = window.stock
    size = f"{stock.width:g} x {stock.length:g} mm {stock.kind}"
    if stock.kind == "roll":
        return f"the machine reaches {window.width:g} mm across: slit the {size} to it first"
    return f"the machine reaches {window.width:g} x {window.length:g} mm: cut the {size} down first"


def no_turn(copies: Sequence[Copy]) -> Iterator[Finding]:
    """Pieces whose own turns and their material's have none in common."""
    for name in dict.fromkeys(c.of for c in copies if not c.rotations):
        material = next(c.material for c in copies if c.of == name)
        what = f"none of its turns is one that {material} allows: nap, stretch or grain forbid it"
        yield fault("L405", f"piece {name}", what, "mend its turns or its angle", piece=name)


def untrimmed(windows: Sequence[Window]) -> Iterator[Finding]:
    """Stock that is larger than the reach and may not be cut down to it."""
    for window in windows:
        if window.is_trimmed and not window.stock.trim:
            stock = window.stock
            what = f"{stock.width:g} x {stock.length:g} mm is more than the machine reaches, "
            what += f"{window.width:g} x {window.length:g} mm, and trim = false forbids to cut it"
            yield fault("L404", stock.material, what, "give stock that fits, or allow trim")


def no_time(material: str) -> Finding:
    what = "no time is given to search a layout in"
    return fault("L409", material, what, "give --layout-time 1 or more")


def slow(copies: Sequence[Copy], seconds: float, spent: float) -> Iterator[Finding]:
    """A layout of many pieces that took longer than it was given; how long is not told, so that it
    reads the same everywhere.
    """
    if len(copies) < MANY or spent <= seconds * (1 + LONGER_PART) + LONGER_S:
        return
    what = f"laying {len(copies)} pieces took longer than the {seconds:g} s that were given: the "
    what += "first layout of so many is waited for"
    yield note("L417", copies[0].material, what)


def gave_way(window: Window, number: int, broken: str) -> Finding:
    what = f"the best layout of sheet {number} broke a rule, so the next best was taken: {broken}"
    return note("L416", window.stock.material, what)


def stopped(material: str, sheets: Sequence[Sheet]) -> Finding:
    area = sum(s.area for s in sheets)
    filled = sum(s.density * s.area for s in sheets) / area if area else 0.0
    what = f"the search was stopped by hand; its best layout so far stands, {filled:.1%} filled"
    return note("L408", material, what)


def turned_over(sheets: Sequence[Sheet]) -> Iterator[Finding]:
    """Copies that are cut as their mirror images."""
    over = [p.copy for s in sheets for p in s.placements if p.copy.turned]
    if over:
        names = ", ".join(sorted(c.name for c in over))
        what = "its mirror image is cut" if len(over) == 1 else "their mirror images are cut"
        yield note("L410", over[0].material, f"{names}: {what}, to be turned over by hand")


def no_room_at_pins(copies: Sequence[Copy]) -> Iterator[Finding]:
    for copy in copies:
        at = copy.pin or 0j
        what = f"pinned at {at.real:g}, {at.imag:g} mm it lies off the usable stock, on a zone "
        what += "that it is kept off, or too near to another pinned piece"
        yield fault("L406", copy.name, what, "mend its at", piece=copy.name)


def unplaced(
    copies: Sequence[Copy],
    windows: Sequence[Window],
    bears: Callable[[Window, Copy], bool],
) -> list[Finding]:
    """Why each of these copies has no place."""
    found = []
    waiting = []
    for copy in copies:
        if copy.pin is not None:
            continue  # told of its pin already
        if any(bears(w, copy) for w in windows):
            waiting.append(copy)
        else:
            found.append(_fits_nowhere(copy, windows))
    parted = [c for c in waiting if c.group and not _is_short(c, windows)]
    for group in dict.fromkeys(c.group for c in parted):
        found.append(_no_sheet_for(group, [c for c in parted if c.group == group]))
    rest = [c for c in waiting if c not in parted]
    if rest:
        bearing = [w for w in windows if any(bears(w, c) for c in rest)]
        found.append(_no_more_stock(bearing, rest))
    return found


def _is_short(copy: Copy, windows: Sequence[Window]) -> bool:
    """Whether it is the count of the stock that lacks."""
    return all(w.count is not None for w in windows)


def _fits_nowhere(copy: Copy, windows: Sequence[Window]) -> Finding:
    sizes = [turned_size(copy, r) for r in copy.rotations]
    across, along = min(sizes, key=lambda s: (max(s), s))
    room = ", ".join(_room(w, copy) for w in windows)
    return fault(
        "L401",
        copy.name,
        f"{across:.1f} x {along:.1f} mm fits no stock of {copy.material} "
        f"(usable: {room or 'none'})",
        f"{_larger(copy, windows)}, a line to part it along ([[piece.split]]) or a smaller scale",
        piece=copy.name,
    )


def _larger(copy: Copy, windows: Sequence[Window]) -> str:
    """What has more room: a larger stock has none where the machine's reach is the bound."""
    sizes = [turned_size(copy, r) for r in copy.rotations]
    stocks = [w.stock for w in windows if w.is_trimmed]
    if any(a <= s.width and b <= s.length for a, b in sizes for s in stocks):
        return "the machine's reach is what it lacks: give another machine"
    return "give a larger [[stock]], another machine"


def _room(window: Window, copy: Copy) -> str:
    size = f"{max(0.0, window.across):.1f} x {max(0.0, window.along):.1f} mm"
    return size if window.is_open((copy,)) else f"{size} within its outline and zones"


def _no_sheet_for(group: str, copies: Sequence[Copy]) -> Finding:
    names = _names(copies)
    what = f"no stock of {copies[0].material} bears its {len(copies)} pieces together: {names}"
    return fault("L407", f"together {group}", what, "give larger stock, or let them part")


def _no_more_stock(windows: Sequence[Window], rest: Sequence[Copy]) -> Finding:
    many = len(rest)
    stocks = [w.stock for w in windows]
    counted = " and ".join(f"{_many(s)} {s.width:g} x {s.length:g} mm" for s in stocks)
    return fault(
        "L403",
        stocks[0].material,
        f"{many} {'piece finds' if many == 1 else 'pieces find'} no room on "
        f"{counted}: {_names(rest)}",
        "raise the stock's count or cut fewer",
    )


def _many(stock: Stock) -> str:
    return "stock of" if stock.count is None else f"the {stock.count} of"


def _names(copies: Sequence[Copy]) -> str:
    return ", ".join(c.name for c in copies[:TOLD]) + (" ..." if copies[TOLD:] else "")
