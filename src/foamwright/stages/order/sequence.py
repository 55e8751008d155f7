"""The way round a set of contours: their sequence, and where each is entered.

Terms.  A *unit* is one contour's cuts.  A *choice* is one of the ways to run it: each of its cuts
by one of its entries, and where there are several strokes, starting with any of them; they keep
their cyclic order.  The way starts where the head stands and may end anywhere, unless a finish is
asked for.

Sequence and choices are improved in turn, until neither helps: for a given sequence `entered` finds
the best choices there are, by dynamic programming (each choice of a unit is reached best from one
choice of the unit before; Bellman 1957), and for given choices `exchange` shortens the sequence.
A last search with kicks follows.  Of a few units every sequence is tried instead.  Bounded by
rounds, not by the clock.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from foamwright.geometry.segments import Points
from foamwright.model import Cut, Entry
from foamwright.stages.order.exchange import GAIN, shorter_way

#: Choices of one unit at most; beyond it each cut keeps its own first entry.
CHOICES = 64
#: Rounds of choosing and exchanging at most; two or three are usual.
ROUNDS = 8
#: Units of which every sequence is tried: 24 of them take a millisecond or two.
FEW = 4
#: A choice's runs, each cut with the entry that it is run by.
Runs: TypeAlias = tuple[tuple[Cut, Entry], ...]


@dataclass(frozen=True)
class Unit:
    """The cuts of one contour, in order."""

    cuts: tuple[Cut, ...]

    @property
    def copy(self) -> str:
        return self.cuts[0].copy

    @cached_property
    def choices(self) -> tuple[Runs, ...]:
        return tuple(itertools.islice(_choices(self.cuts), CHOICES))

    @cached_property
    def starts(self) -> Points:
        """Where each choice is entered."""
        return np.array([runs[0][1].start for runs in self.choices], dtype=np.complex128)

    @cached_property
    def ends(self) -> Points:
        """Where each choice is left."""
        return np.array([runs[-1][1].end for runs in self.choices], dtype=np.complex128)

    @cached_property
    def between(self) -> Points:
        """mm of travel from stroke to stroke of each choice, as real numbers."""
        return np.array(
            [
                math.fsum(abs(b.start - a.end) for (_, a), (_, b) in pairwise(c))
                for c in self.choices
            ]
        )


def _choices(cuts: tuple[Cut, ...]) -> Iterator[Runs]:
    """First as given; then with other entries, and with each stroke as the first."""
    entries = [c.entries or (Entry(c.path),) for c in cuts]
    if len(cuts) > 1 and len(cuts) * math.prod(len(e) for e in entries) > CHOICES:
        entries = [e[:1] for e in entries]
    for k in range(len(cuts)):
        turned = cuts[k:] + cuts[:k]
        for chosen in itertools.product(*entries[k:], *entries[:k]):
            yield tuple(zip(turned, chosen, strict=True))


@dataclass(frozen=True)
class Visit:
    """A unit and which of its choices is run."""

    unit: Unit
    choice: int = 0

    @property
    def start(self) -> complex:
        return complex(self.unit.starts[self.choice])

    @property
    def end(self) -> complex:
        return complex(self.unit.ends[self.choice])

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """As they are run, with nothing left to choose."""
        runs = self.unit.choices[self.choice]
        return tuple(c if e.way is c.path and not c.entries else _run(c, e) for c, e in runs)


def _run(cut: Cut, entry: Entry) -> Cut:
    return replace(cut, path=entry.path, entries=())


def way_round(units: Sequence[Unit], here: complex) -> list[Visit]:
    """Units and choices with little travel from `here` on, the least for a few; of equals what was
    given first.
    """
    if len(units) <= FEW:
        return _least_of_all(units, here)
    way = _in_turn(entered(nearest_next(units, here), here), here)
    kicked = entered([v.unit for v in shortened(way, here)], here)
    return _in_turn(kicked, here)


def _least_of_all(units: Sequence[Unit], here: complex) -> list[Visit]:
    best = entered(units, here)
    for some in itertools.permutations(units):
        way = entered(some, here)
        if travel(way, here) < travel(best, here) - GAIN:
            best = way
    return best


def _in_turn(way: list[Visit], here: complex) -> list[Visit]:
    """Exchanging and choosing until it helps no more."""
    for _ in range(ROUNDS):
        tried = entered([v.unit for v in shortened(way, here, kicked=False)], here)
        if travel(tried, here) > travel(way, here) - GAIN:
            break
        way = tried
    return way


def nearest_next(units: Sequence[Unit], here: complex) -> list[Unit]:
    """Each time the unit that can be entered nearest; it counts as left where it is entered."""
    if not units:
        return []
    starts = np.concatenate([u.starts for u in units])
    sizes = np.array([len(u.starts) for u in units])
    owner = np.repeat(np.arange(len(units)), sizes)
    first = np.cumsum(sizes) - sizes
    away = starts.copy()
    made = []
    for _ in units:
        k = int(np.argmin(np.abs(away - here)))
        unit = units[owner[k]]
        low = first[owner[k]]
        here = complex(unit.ends[k - low])
        away[low : low + len(unit.starts)] = np.inf
        made.append(unit)
    return made


def entered(units: Sequence[Unit], here: complex, finish: complex | None = None) -> list[Visit]:
    """The choices with the least travel for units in this sequence."""
    spent, ends = np.zeros(1), np.array([here])
    came = []
    for u in units:
        total = spent[:, None] + np.abs(u.starts[None, :] - ends[:, None])
        best = np.argmin(total, axis=0)
        came.append(best)
        spent = total[best, np.arange(len(best))] + u.between
        ends = u.ends
    if finish is not None:
        spent = spent + np.abs(finish - ends)
    k = int(np.argmin(spent))
    made = []
    for u, best in zip(reversed(units), reversed(came), strict=True):
        made.append(Visit(u, k))
        k = int(best[k])
    return made[::-1]


def shortened(
    way: Sequence[Visit], here: complex, finish: complex | None = None, kicked: bool = True
) -> list[Visit]:
    """The visits in a sequence whose travel from `here` is no longer than as given.

    finish: where the head goes after the last unit; None: it stays there.
    """
    found = shorter_way([v.start for v in way], [v.end for v in way], here, finish, kicked)
    return [way[i] for i in found]


def travel(way: Sequence[Visit], here: complex) -> float:
    """mm that the head moves with the tool up."""
    total = 0.0
    for v in way:
        total += abs(v.start - here) + float(v.unit.between[v.choice])
        here = v.end
    return total
