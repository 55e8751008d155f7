"""Pieces laid inside other pieces' openings, where a hand can still take them out.

Terms: a host is a piece with an opening that a disc of a hand's width goes into; a guest lies in
it.  Guests go with their host as one: they are laid first, and put on its sheet when it has its
place.  The cutting order must free a guest before its host's opening (`order` sees to it).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from foamwright.geometry.path import Path
from foamwright.geometry.region import Region, common, covers, is_empty, opening, region
from foamwright.model import Copy, Limits, Placement, Stock, Zone
from foamwright.stages.arrange.board import Board
from foamwright.stages.arrange.fill import worth_trying
from foamwright.stages.arrange.greedy import Ground, edges, first_order, lay
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.window import OUTLINE_TOLERANCE, Window, window_of

#: Degrees within which two turns are the same.
SAME_TURN = 1e-6


@dataclass(frozen=True)
class Hosting:
    """copies: those still to be laid, hosts among them.  guests: by their host's name, each placed
    in the coordinates of the host's own piece.
    """

    copies: tuple[Copy, ...]
    guests: Mapping[str, tuple[Placement, ...]]

    def on_sheet(self, placed: Sequence[Placement]) -> tuple[Placement, ...]:
        """The placements of a sheet with the guests of its hosts."""
        return tuple(
            q for p in placed for q in (p, *(_taken_along(p, g) for g in self._of(p.copy)))
        )

    def _of(self, copy: Copy) -> tuple[Placement, ...]:
        return self.guests.get(copy.name, ())


def hosting(copies: Sequence[Copy], limits: Limits, zones: Sequence[Zone] = ()) -> Hosting:
    """As many guests as the hosts' openings bear, the largest openings and guests first.

    Hosts keep those turns that suit their guests.  zones: of the stock; a piece that one of them
    is for alone is no guest, and no piece that is pinned or kept together with others is.
    """
    rest = {c.name: c for c in copies}
    guests: dict[str, tuple[Placement, ...]] = {}
    hosts = [c for c in copies if c.rotations and usable_openings(c, limits)]
    for host in sorted(hosts, key=lambda c: (-c.piece.outline.area, c.name)):
        if host.name not in rest:
            continue
        may = [c for n, c in rest.items() if n != host.name and n not in guests and _may(c, zones)]
        made, left = _filled(host, may, limits)
        if made:
            guests[host.name] = made
            rest = {n: c for n, c in rest.items() if n not in {p.copy.name for p in made}}
            rest[host.name] = left
    return Hosting(tuple(rest.values()), guests)


def usable_openings(copy: Copy, limits: Limits) -> tuple[Path, ...]:
    """The openings that a hand goes into."""
    if limits.hand is None:
        return ()
    return tuple(
        o.path.counter_clockwise()
        for o in copy.piece.openings
        if _least(o.path) >= limits.hand
        and not is_empty(_room(o.path.counter_clockwise(), limits.hand, limits.clearance))
    )


def _least(path: Path) -> float:
    """The lesser side of a path's box, mm."""
    x0, y0, x1, y1 = path.bounds
    return min(x1 - x0, y1 - y0)


def _within(inner: Path, outer: Path) -> bool:
    """Whether the box of one lies in that of the other."""
    a, b = inner.bounds, outer.bounds
    return a[0] >= b[0] and a[1] >= b[1] and a[2] <= b[2] and a[3] <= b[3]


def _room(hole: Path, hand: float, clearance: float) -> Region:
    """Where guests may lie: what the hand's disc reaches of the opening, less the clearance."""
    ground = region(hole, (), OUTLINE_TOLERANCE)
    reached = opening(ground, hand / 2, OUTLINE_TOLERANCE)
    return common(reached, _window(hole, clearance).room)


def _window(hole: Path, clearance: float) -> Window:
    """The opening's box as a window, with the opening as the stock's outline."""
    x0, y0, x1, y1 = hole.bounds
    stock = Stock("", "sheet", x1 - x0, y1 - y0, outline=hole)
    made = window_of(stock, Limits((x1 - x0, y1 - y0), "flat", (0, 0, 0, 0), clearance, clearance))
    return replace(
        made,
        left=made.left + x0,
        right=made.right + x0,
        near=made.near + y0,
        far=made.far + y0,
    )


def _may(copy: Copy, zones: Sequence[Zone]) -> bool:
    own = any(z.pieces and z.keeps_off(copy) for z in zones)
    return copy.pin is None and not copy.group and not own and bool(copy.rotations)


def _filled(host: Copy, may: Sequence[Copy], limits: Limits) -> tuple[tuple[Placement, ...], Copy]:
    """The guests in all of a host's openings, and the host with the turns that suit them."""
    made: list[Placement] = []
    first = host.rotations[0]
    for hole in usable_openings(host, limits):
        there = {p.copy.name for p in made}
        window = _window(hole, limits.clearance)
        shapes = [
            Shape(c, turns)
            for c in may
            if c.name not in there and (turns := _bearable(window, c, first))
        ]
        if not shapes or limits.hand is None:
            continue
        box = (window.left, window.near, window.right, window.far)
        room = _room(hole, limits.hand, limits.clearance)
        ground = Ground(window, limits.clearance, Board.of(box, room), edges(room))
        made += lay(worth_trying(first_order([(s,) for s in shapes]), window), ground)
    turns = tuple(r for r in host.rotations if all(_suits(p, r) for p in made))
    if not made or not turns:
        return (), host
    return tuple(made), replace(host, rotations=turns, free=False, turnable=False)


def _bearable(window: Window, copy: Copy, first: float) -> tuple[float, ...]:
    """Turns in the host's own coordinates: with the host's first turn they are allowed ones."""
    turns = tuple((r - first) % 360 for r in copy.rotations)
    return tuple(r for r in turns if window.bears(copy, r))


def _suits(guest: Placement, turn: float) -> bool:
    return guest.copy.free or any(
        abs((r - guest.rotation - turn + 180) % 360 - 180) < SAME_TURN for r in guest.copy.rotations
    )


def _taken_along(host: Placement, guest: Placement) -> Placement:
    """A guest where its host's place takes it."""
    turn = (guest.rotation + host.rotation) % 360
    if not guest.copy.free:
        turn = min(guest.copy.rotations, key=lambda r: abs((r - turn + 180) % 360 - 180))
    at = host.map(complex(guest.x, guest.y))
    return Placement(guest.copy, turn, at.real, at.imag)


def wrongly_hosted(placed: Sequence[Placement], limits: Limits) -> str | None:
    """The first piece that lies in an opening that no hand goes into, in words, or None."""
    holes = [(h, o.path) for h in placed for o in h.piece.openings]
    for host, hole in holes:
        for guest in placed:
            if guest is host or not _within(guest.piece.outline, hole):
                continue
            ground = region(hole, (), OUTLINE_TOLERANCE)
            body = region(guest.piece.outline, (), OUTLINE_TOLERANCE)
            reached = limits.hand and opening(ground, limits.hand / 2, OUTLINE_TOLERANCE)
            if covers(ground, body) and not (reached and covers(reached, body)):
                return f"{guest.copy.name} lies in an opening of {host.copy.name}"
    return None


def as_asked(copy: Copy, asked: Mapping[str, Copy]) -> Copy:
    """A host as it was asked for, with all its turns."""
    own = asked[copy.name]
    return own.turned_over() if copy.turned != own.turned else own
