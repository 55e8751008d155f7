"""The plain placer: each piece at the nearest free place along the stock, in some order.

It works on stock of any outline, with zones and pinned pieces, and needs no library.  A place is
found on a board of cells; from there the piece settles exactly (`settle`).  `lay` makes one layout
for one order; `better_orders` tries other orders while there is time and they help.

Terms: a unit is what is laid together or not at all (a piece, or a group of them); a way is a turn
of a piece, perhaps turned over.
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region, distance, grown, is_empty, region, rings
from foamwright.model import Copy, Placement
from foamwright.stages.arrange.bitmap import Bitmap, cover, cover_within
from foamwright.stages.arrange.board import Board
from foamwright.stages.arrange.outline import Shape, turned_corner
from foamwright.stages.arrange.settle import WALL_TOLERANCE, Walls, settled
from foamwright.stages.arrange.window import Window

Unit: TypeAlias = tuple[Shape, ...]
#: What the plain placer fills of a length at the least: it is given as much as that asks for.
SURELY_FILLED = 0.6
#: Cells that a piece slides at once at most.
SLIDE_CELLS = 8
#: Orders tried without gain after which the search ends.
PATIENCE = 200
#: Orders tried for each piece at most, so that a small job ends at once.
ORDERS_PER_PIECE = 60


@dataclass(frozen=True)
class Way:
    """One turn of a kind of shape: its outline with its box at the first cell, and its cover there.

    over: turned over besides; corner: of its box when it is turned; clearance: that others keep.
    """

    over: bool
    rotation: float
    corner: complex
    body: Bitmap
    outline: Path
    clearance: float

    @cached_property
    def lines(self) -> Walls:
        return Walls((self.outline.flatten(WALL_TOLERANCE),), self.outline.bounds)

    @cached_property
    def around(self) -> Walls:
        return walls_about(self.outline, self.clearance)


def walls_about(outline: Path, clearance: float) -> Walls:
    """What other pieces keep out of."""
    body = region(outline, (), WALL_TOLERANCE)
    return Walls.of(rings(grown(body, clearance + WALL_TOLERANCE, WALL_TOLERANCE)))


@dataclass
class Ground:
    """A window with what lies on it already, and the ways of pieces that were met before.

    walls: what pieces keep off; its first are the edges of the room that there is.
    """

    window: Window
    clearance: float
    board: Board
    walls: list[Walls]
    ways: dict[tuple[object, ...], tuple[Way, ...]] = field(default_factory=dict)
    zoned: dict[str, Board] = field(default_factory=dict)
    taken: list[Region] = field(default_factory=list)

    @staticmethod
    def of(window: Window, clearance: float, along: float = math.inf) -> Ground:
        """along: how much of the window's length is looked at, mm."""
        far = min(window.far, window.near + along)
        box = (window.left, window.near, window.right, far)
        plain = window.stock.outline is None and not any(not z.pieces for z in window.zones)
        room = None if plain else window.room
        return Ground(window, clearance, Board.of(box, room), edges(room))

    @property
    def reach(self) -> float:
        """How far a piece slides at once, mm: a place that was found is a few cells off."""
        return SLIDE_CELLS * max(self.board.cells.across, self.board.cells.along)

    def fresh(self) -> Ground:
        """The same with a board of its own."""
        zoned = {k: b.copy() for k, b in self.zoned.items()}
        board, walls, taken = self.board.copy(), list(self.walls), list(self.taken)
        return Ground(self.window, self.clearance, board, walls, self.ways, zoned, taken)

    def board_for(self, copy: Copy) -> Board:
        """The board with the zones that this copy is kept off."""
        off = self.window.kept_off(copy)
        if off is None:
            return self.board
        if copy.of not in self.zoned:
            made = self.board.copy()
            made.take(off)
            self.zoned[copy.of] = made
        return self.zoned[copy.of]

    def walls_for(self, copy: Copy) -> list[Walls]:
        return [*self.walls, *edges(self.window.kept_off(copy))]

    def add(self, around: Walls) -> None:
        """Nothing is laid within these walls from now on."""
        self.walls.append(around)
        taken = cover_within(around.lines, around.box, self.board.cells)
        self.board.mark(taken)
        for board in self.zoned.values():
            board.mark(taken)

    def is_clear(self, placed: Placement) -> bool:
        """Whether nothing that was taken before is nearer to it than the clearance."""
        body = region(placed.piece.outline, (), self.board.fineness)
        apart = (distance(body, other) for other in self.taken)
        return all(d >= self.clearance - self.board.fineness for d in apart)

    def take(self, placed: Placement) -> None:
        """Lays a piece that has its place already."""
        body = region(placed.piece.outline, (), self.board.fineness)
        self.taken.append(body)
        self.add(walls_about(placed.piece.outline, self.clearance))

    def ways_of(self, shape: Shape) -> tuple[Way, ...]:
        if shape.kind not in self.ways:
            self.ways[shape.kind] = tuple(self._ways(shape))
        return self.ways[shape.kind]

    def _ways(self, shape: Shape) -> Iterator[Way]:
        fine, cells = self.board.fineness, self.board.cells
        for over in (False, True) if shape.copy.turnable else (False,):
            copy = shape.copy.turned_over() if over else shape.copy
            for turn in shape.rotations:
                if not self.window.bears(copy, turn):
                    continue
                corner = turned_corner(copy, turn)
                there = Affine.translation(cells.corner - corner) @ Affine.rotation(turn)
                outline = copy.piece.outline.transformed(there)
                body = cover(region(outline, (), fine), cells)
                yield Way(over, turn, corner, body, outline, self.clearance)


def edges(material: Region | None) -> list[Walls]:
    """The edges of a region as walls; of none no walls."""
    return [] if material is None or is_empty(material) else [Walls.of(rings(material))]


def lay(units: Sequence[Unit], ground: Ground) -> tuple[Placement, ...]:
    """The units that find room, each as near along the stock as it can lie. Changes the ground."""
    made: list[Placement] = []
    starts: dict[tuple[object, ...], int] = {}
    for unit in units:
        before = ground.fresh() if len(unit) > 1 else None
        laid = []
        for shape in unit:
            placed = _lay_one(shape, ground, starts)
            if placed is None:
                break
            laid.append(placed)
        if len(laid) == len(unit):
            made.extend(laid)
        elif before is not None and laid:
            ground.board, ground.zoned, ground.walls = before.board, before.zoned, before.walls
            starts = {}
    return tuple(made)


def _lay_one(
    shape: Shape, ground: Ground, starts: dict[tuple[object, ...], int]
) -> Placement | None:
    """starts: the row below which a way is known to find no place; the board only fills."""
    board = ground.board_for(shape.copy)
    best: tuple[tuple[int, int], int, int, Way] | None = None
    for number, way in enumerate(ground.ways_of(shape)):
        key = (shape.kind, number)
        found = board.first_free(way.body, starts.get(key, 0))
        starts[key] = len(board.rows) if found is None else found[1]
        if found is None:
            continue
        x, y = found
        rank = (y + way.body.height, x)
        if best is None or rank < best[0]:
            best = (rank, x, y, way)
    if best is None:
        return None
    _, x, y, way = best
    cells = ground.board.cells
    found_at = cells.place(x, y) - cells.corner
    lines, window = way.lines.moved(found_at), ground.window
    room = (window.left, window.near, window.right, window.far)
    to = found_at + settled(lines, ground.walls_for(shape.copy), room, ground.reach)
    ground.add(way.around.moved(to))
    at = to + cells.corner - way.corner
    copy = shape.copy.turned_over() if way.over else shape.copy
    return Placement(copy, way.rotation, at.real, at.imag)


def lay_pinned(copies: Sequence[Shape], ground: Ground) -> tuple[list[Placement], list[Copy]]:
    """Those with a pin at their places, and those whose place is taken or no place for pieces."""
    made, refused = [], []
    for shape in copies:
        placed = _pinned(shape, ground)
        if placed is None:
            refused.append(shape.copy)
            continue
        made.append(placed)
        ground.take(placed)
    return made, refused


def _pinned(shape: Shape, ground: Ground) -> Placement | None:
    copy = shape.copy
    if copy.pin is None:
        return None
    for turn in shape.rotations:
        at = copy.pin - turned_corner(copy, turn)
        placed = Placement(copy, turn, at.real, at.imag)
        if ground.window.fault_of(placed) is None and ground.is_clear(placed):
            return placed
    return None


def stretch_for(shapes: Sequence[Shape], window: Window, clearance: float) -> float:
    """How much of a window's length these shapes are sure to find room on, mm: the shorter a board,
    the finer its cells.
    """
    if window.stock.outline is not None:
        return window.along
    boxes = [z.outline.bounds for z in window.zones]
    lost = sum(b[3] - b[1] + 2 * window.edge for b in boxes)
    sizes = [shape.size(shape.rotations[0]) for shape in shapes]
    area = sum((w + clearance) * (h + clearance) for w, h in sizes)
    longest = max((max(size) for size in sizes), default=0.0)
    pinned = max((s.copy.pin.imag for s in shapes if s.copy.pin is not None), default=0.0)
    return lost + pinned + 2 * longest + area / max(window.across, 1.0) / SURELY_FILLED


def first_order(units: Sequence[Unit]) -> list[Unit]:
    """The largest first, by area, then by name."""
    return sorted(units, key=lambda u: (-sum(s.area for s in u), u[0].copy.name))


Score: TypeAlias = tuple[float, float]


def score(placed: Sequence[Placement]) -> Score:
    """Greater is better: area laid, then how little of the stock's length it takes."""
    area = sum(p.copy.piece.outline.area for p in placed)
    far = max((p.piece.outline.bounds[3] for p in placed), default=0.0)
    return round(area, 3), -far


def better_orders(
    units: Sequence[Unit],
    ground: Ground,
    seconds: float,
    seed: int,
    better: Callable[[tuple[Placement, ...]], bool] = lambda _: True,
) -> tuple[Placement, ...]:
    """The best layout of several orders: the first, then what exchanges of two units make of it.

    Ends after `seconds`, or sooner where orders no longer help.  better: told of each gain; gives
    False to have no more.
    """
    end = time.monotonic() + seconds
    order = first_order(units)
    best = lay(order, ground.fresh())
    if not better(best):
        return best
    chance = random.Random(seed)
    idle, tried = 0, 0
    most = ORDERS_PER_PIECE * len(order)
    while len(order) > 1 and idle < PATIENCE and tried < most and time.monotonic() < end:
        other = list(order)
        i, j = chance.sample(range(len(other)), 2)
        if chance.random() < 0.5:
            other[i], other[j] = other[j], other[i]
        else:
            other.insert(j, other.pop(i))
        made = lay(other, ground.fresh())
        tried += 1
        idle += 1
        if score(made) >= score(best):
            gained = score(made) > score(best)
            order = other
            if gained:
                best, idle = made, 0
                if not better(best):
                    break
    return best
