"""Shortening a way through directed stops by exchanging its legs.

Terms.  A *stop* is entered at one point and left at another, and is never run backwards; the *leg*
i -> j leads from where i is left to where j is entered, so i -> j and j -> i differ.  Two moves
change a way: *turn* puts a stretch into the opposite sequence (2-opt; the legs inside it change
too, since the stops keep their direction), *swap* exchanges two neighbouring stretches (a 3-opt
move that turns nothing; with one stretch short, it is Or's move of 1976).  A move is looked for
only where it makes a leg to a near neighbour (Bentley 1992: neighbour lists, a queue of the stops
whose legs changed).  When no move helps, a seeded random swap, the *kick*, is tried and taken back
unless the repaired way is no longer than before (iterated local search; Lourenço, Martin, Stützle
2003).  Kicks are bounded by the number of stops and by the moves weighed: no clock, so the same
stops give the same way.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry.segments import Points

#: Near stops that a new leg may lead to or come from.
NEIGHBOURS = 8
#: Stops in the shorter stretch of a swap, at most.
STRETCH = 3
#: Stops in each stretch that a kick swaps, at most: a kick stays local, so its repair is short.
KICK_STRETCH = 30
#: Kicks for each stop, and in all at most.
KICKS_EACH = 5
KICKS_MOST = 1000
#: Moves that are weighed, after which no more kicks are tried: stops left far from where they are
#: entered make many moves worth weighing, and kicks then gain a hundredth at most.
WEIGHED_MOST = 500_000
#: The kicks' random seed.
SEED = 1
#: mm: gains below this are rounding.
GAIN = 1e-9
#: Rows of distances that are worked out at once.
ROWS = 256

#: turn(i, j) has no k; swap(i, j, k) exchanges the stretches [i, j) and [j, k).
Move: TypeAlias = tuple[int, int, int | None]


def shorter_way(
    starts: Sequence[complex],
    ends: Sequence[complex],
    here: complex,
    finish: complex | None = None,
    kicked: bool = True,
) -> list[int]:
    """A sequence of all stops, no longer than the one given: from here, and on to finish.

    starts, ends: where each stop is entered and left, mm.  finish None: the way ends at its last
    stop, whichever that is.  kicked: go on with kicks once no move helps.
    """
    n = len(starts)
    if n < 2:
        return list(range(n))
    way = _Way(starts, ends, here, finish)
    way.repair(way.way)
    draw = random.Random(SEED)
    for _ in range(min(KICKS_EACH * n, KICKS_MOST) if kicked else 0):
        if way.weighed > WEIGHED_MOST:
            break
        way.log.clear()
        longer = way.kick(draw)
        if longer > GAIN:
            way.undo()
    return way.way[1:-1]


class _Way:
    """A way under change: stop n is here at its head, stop n + 1 the finish at its tail."""

    def __init__(
        self, starts: Sequence[complex], ends: Sequence[complex], here: complex, end: complex | None
    ) -> None:
        n = len(starts)
        self.starts = [*starts, here, here if end is None else end]
        self.ends = [*ends, here, here if end is None else end]
        self.free = n + 1 if end is None else -1
        self.way = [n, *range(n), n + 1]
        self.place = [*range(1, n + 1), 0, n + 1]
        self.to, self.come = _neighbours(np.array(self.starts), np.array(self.ends))
        #: What each leg costs more when its two stops change places, by place.
        self.skew = [0.0] * (n + 1)
        self._remeasure(0, n + 1)
        self.log: list[Move] = []
        self.weighed = 0

    def leg(self, i: int, j: int) -> float:
        return 0.0 if j == self.free else abs(self.starts[j] - self.ends[i])

    def repair(self, stops: Iterable[int]) -> float:
        """Moves that shorten the way, from these stops on, until none does; mm gained."""
        queue = deque(stops)
        queued = set(queue)
        total = 0.0
        while queue:
            stop = queue.popleft()
            queued.discard(stop)
            found = self._shortening(stop)
            if found is None:
                continue
            gain, move = found
            total += gain
            for s in (stop, *self.apply(move)):
                if s not in queued:
                    queued.add(s)
                    queue.append(s)
        return total

    def kick(self, draw: random.Random) -> float:
        """A random swap and its repair; mm by which the way is longer."""
        n = len(self.way) - 2
        first = 1 + int(draw.random() * (n - 1))
        second = first + 1 + int(draw.random() * min(KICK_STRETCH, n - first))
        third = second + 1 + int(draw.random() * min(KICK_STRETCH, n - second + 1))
        move = (first, second, min(third, n + 1))
        return -self.gain(move) - self.repair(self.apply(move))

    def undo(self) -> None:
        """Takes the logged moves back."""
        for i, j, k in reversed(self.log):
            self.apply((i, j, k) if k is None else (i, i + k - j, k))
        self.log.clear()

    def _shortening(self, stop: int) -> tuple[float, Move] | None:
        """The first move found that shortens the way, with its gain, by a leg from or to this stop.

        The new leg must be shorter than the one that the stop has now: a swap that helps has such
        a leg, and so has a turn but for what changes inside its stretch.
        """
        way, p = self.way, self.place[stop]
        if p < len(way) - 1:
            now = self.leg(stop, way[p + 1])
            for c in self.to[stop]:
                if self.leg(stop, c) < now and (found := self._first(stop, c)):
                    return found
        if p > 0:
            now = self.leg(way[p - 1], stop)
            for c in self.come[stop]:
                if self.leg(c, stop) < now and (found := self._first(c, stop)):
                    return found
        return None

    def _first(self, a: int, b: int) -> tuple[float, Move] | None:
        for move in self._moves(a, b):
            self.weighed += 1
            gain = self.gain(move)
            if gain > GAIN:
                return gain, move
        return None

    def _moves(self, a: int, b: int) -> Iterator[Move]:
        """The moves that make the leg a -> b."""
        p, q, last = self.place[a], self.place[b], len(self.way) - 2
        if p < q:
            if q <= last:
                yield p + 1, q, None
                yield from ((p + 1, q, k) for k in range(q + 1, min(q + STRETCH, last + 1) + 1))
            if p >= 1:
                yield p, q - 1, None
                yield from ((i, p + 1, q) for i in range(max(1, p + 1 - STRETCH), p + 1))
        else:
            near = {*range(q + 1, q + STRETCH + 1), *range(p + 1 - STRETCH, p + 1)}
            yield from ((q, j, p + 1) for j in sorted(near) if q < j <= p)

    def gain(self, move: Move) -> float:
        """mm by which a move shortens the way."""
        w, leg = self.way, self.leg
        i, j, k = move
        if k is None:
            before, first, last, after = w[i - 1], w[i], w[j], w[j + 1]
            new = leg(before, last) + leg(first, after) + sum(self.skew[i:j])
            return leg(before, first) + leg(last, after) - new
        new = leg(w[i - 1], w[j]) + leg(w[k - 1], w[i]) + leg(w[j - 1], w[k])
        return leg(w[i - 1], w[i]) + leg(w[j - 1], w[j]) + leg(w[k - 1], w[k]) - new

    def apply(self, move: Move) -> tuple[int, ...]:
        """Does a move and logs it; the stops whose legs changed."""
        self.log.append(move)
        w = self.way
        i, j, k = move
        if k is None:
            w[i : j + 1] = w[i : j + 1][::-1]
            self.skew[i:j] = [-x for x in reversed(self.skew[i:j])]
            second, end = j + 1, j + 1
        else:
            w[i:k] = w[j:k] + w[i:j]
            self.skew[i:k] = self.skew[j:k] + self.skew[i:j]
            second, end = i + k - j, k
        place = self.place
        for p in range(i, end):
            place[w[p]] = p
        joints = (i, second, end)
        for p in joints:
            self._remeasure(p - 1, p)
        return tuple(s for p in joints for s in (w[p - 1], w[p]))

    def _remeasure(self, low: int, high: int) -> None:
        for p in range(low, high):
            a, b = self.way[p], self.way[p + 1]
            self.skew[p] = self.leg(b, a) - self.leg(a, b)


def _neighbours(starts: Points, ends: Points) -> tuple[list[list[int]], list[list[int]]]:
    """For each stop those that are nearest to go to and to come from, nearest first.

    The last two stops are here, which nothing leads to, and the finish, which nothing leaves.
    """
    n = len(starts) - 2
    every, to_any, from_any = np.arange(n + 2), starts.copy(), ends.copy()
    to_any[n] = from_any[n + 1] = np.inf
    to = _nearest(ends, to_any, every)
    come = _nearest(starts, from_any, every)
    to[n + 1] = come[n] = []
    return to, come


def _nearest(of: Points, among: Points, own: npt.NDArray[np.intp]) -> list[list[int]]:
    """For each place of some the nearest among others, nearest first, of equals the first given.

    own: which of those is its own stop's, and is left out.
    """
    count = min(NEIGHBOURS, len(of) - 2)
    kept: list[list[int]] = []
    for low in range(0, len(of), ROWS):
        rows = own[low : low + ROWS]
        away = np.abs(among[None, :] - of[rows, None])
        away[np.arange(len(rows)), rows] = np.inf
        farthest = np.partition(away, count - 1, axis=1)[:, count - 1]
        for row, limit in zip(away, farthest, strict=True):
            near = np.flatnonzero(row <= limit)
            kept.append(near[np.argsort(row[near], kind="stable")][:count].tolist())
    return kept
