"""Faults of parallels: kinks and slivers that neither a curve nor its true parallel has.

Terms.  A *kink* is a turn of more than KINK at a joint that is no corner, a *sliver* a segment so
short that it makes a cutter stutter.  A kink is the *drawing's own* where the source has one beside
it, the same way and no narrower by more than what isn't a kink, at a joint with a line or an arc:
these stay as drawn, so their parallels turn there too.
Looks only, many paths at once; does not mend.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from foamwright.geometry.chains import Chains, Flags, Floats
from foamwright.geometry.fit import KINK
from foamwright.geometry.offset_raw import SLIVER
from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Cubic, Line, Points

#: A radius within this of the reach is a round join's, mm.
WITHIN = 1e-6
#: A tip that turns by more is moved by its sides' tolerance six times as far, radians.
SHARP = math.radians(160)
#: What rounding may add to a kink, radians.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Faults:
    """Of each segment: how it turns at its start, 0 at a corner, radians; if it is a sliver."""

    turns: Floats
    slivers: Flags

    @property
    def kinks(self) -> Flags:
        """Whether each segment begins with a kink."""
        return self.turns > KINK + ROUNDING

    @property
    def widest(self) -> float:
        """The widest turn at a joint that is no corner, radians."""
        return float(self.turns.max(initial=0.0))

    def __bool__(self) -> bool:
        return bool(self.kinks.any() or self.slivers.any())

    def of(self, first: int, last: int) -> Faults:
        """Of the segments from `first` up to `last`, and the joint at their end."""
        n = len(self.turns)
        joints, within = np.arange(first, last + 1) % n, np.arange(first, last) % n
        return Faults(self.turns[joints], self.slivers[within])

    def fewer(self, than: Faults) -> bool:
        """Fewer of one kind, no more of the other, and no wider kink."""
        return self._counts != than._counts and self.no_more(than)

    def no_more(self, than: Faults) -> bool:
        """No more of either kind, and no wider kink."""
        ours, theirs = self._counts, than._counts
        no_worse = ours[0] <= theirs[0] and ours[1] <= theirs[1]
        return no_worse and self.widest <= max(than.widest, KINK) + ROUNDING

    @property
    def _counts(self) -> tuple[int, int]:
        return int(self.kinks.sum()), int(self.slivers.sum())


def faults(made: Chains, reach: float) -> Faults:
    """Kinks at joints that are no corners, and slivers beside such joints but for round joins.

    reach: mm, the radius of round joins.
    """
    if not len(made.start):
        return Faults(np.zeros(0), np.zeros(0, dtype=np.bool_))
    chord, half = made.end - made.start, 2 * np.arctan(made.bulge)
    size, bent = np.abs(chord), half != 0
    sine = np.where(bent, np.sin(np.abs(half)), 1.0)
    length = np.where(bent, size * np.abs(half) / sine, size)
    joins = bent & (np.abs(size / (2 * sine) - reach) < WITHIN)
    came = chord * np.exp(1j * half)
    count, index = np.diff(made.first), np.arange(len(chord))
    low, many = np.repeat(made.first[:-1], count), np.repeat(count, count)
    before, after = low + (index - 1 - low) % many, low + (index + 1 - low) % many
    turn = np.abs(np.angle(chord * np.exp(-1j * half) * came[before].conjugate()))
    smooth = ~made.corner
    slivers = (length < SLIVER) & (smooth | smooth[after]) & ~joins
    turn[made.corner] = 0.0
    return Faults(turn, slivers)


def sharp_tips(made: Path) -> list[complex]:
    """Where arcs meet at tips so sharp that their tolerance moves them much farther."""
    tips = []
    for i in made.corners:
        before, after = made.segments[i - 1], made.segments[i]
        turn = abs(cmath.phase(after.tangent(0.0) / before.tangent(1.0)))
        if turn > SHARP and not (isinstance(before, Line) and isinstance(after, Line)):
            tips.append(after.start)
    return tips


def own_faults(made: Path, source: Path, distance: float, tolerance: float) -> Faults:
    """The faults of one parallel without the drawing's own kinks."""
    found = faults(Chains.of([made]), abs(distance))
    starts = np.array([s.start for s in source.segments])
    turns = found.turns.copy()
    for j in np.flatnonzero(found.kinks).tolist():
        if _is_drawn(j, made, source, starts, distance, tolerance):
            turns[j] = 0.0
    return Faults(turns, found.slivers)


def joined_faults(found: Sequence[Faults]) -> Faults:
    """Those of several paths together."""
    return Faults(
        np.concatenate([f.turns for f in found]), np.concatenate([f.slivers for f in found])
    )


def at_fault(
    made: Sequence[Path], sources: Sequence[Path], distance: float, tolerance: float
) -> list[bool]:
    """Which parallels have slivers, or kinks that are not the drawing's own.

    made: closed paths of lines and arcs, each `distance` mm to the right of its source.
    """
    if not made:
        return []
    chains = Chains.of(made)
    wrong = faults(chains, abs(distance))
    slivers = np.logical_or.reduceat(wrong.slivers, chains.first[:-1]).tolist()
    kinks = np.flatnonzero(wrong.kinks)
    upto = np.searchsorted(kinks, chains.first)
    own = [
        kinks[a:b] - first
        for first, a, b in zip(chains.first[:-1], upto[:-1], upto[1:], strict=True)
    ]
    return [
        bool(sliver)
        or (len(joints) > 0 and not _all_drawn(joints.tolist(), path, source, distance, tolerance))
        for joints, sliver, path, source in zip(own, slivers, made, sources, strict=True)
    ]


def _all_drawn(
    joints: Sequence[int], made: Path, source: Path, distance: float, tolerance: float
) -> bool:
    """Whether the kinks at these joints of a parallel are all the drawing's own."""
    starts = np.array([s.start for s in source.segments])
    return all(_is_drawn(j, made, source, starts, distance, tolerance) for j in joints)


def _is_drawn(
    joint: int, made: Path, source: Path, starts: Points, distance: float, tolerance: float
) -> bool:
    came, goes = made.segments[joint - 1].tangent(1.0), made.segments[joint].tangent(0.0)
    between = came + goes
    foot = made.segments[joint].start + 1j * distance * between / abs(between)
    i = int(np.abs(starts - foot).argmin())
    # directions are the drawing's to within half of what is a corner
    off = tolerance + abs(distance) * math.radians(CORNER_ANGLE / 2)
    before, after = source.segments[i - 1], source.segments[i]
    if i in source.corners or abs(starts[i] - foot) > off:
        return False
    if isinstance(before, Cubic) and isinstance(after, Cubic):
        return False
    drawn = cmath.phase(after.tangent(0.0) / before.tangent(1.0))
    return (
        drawn * cmath.phase(goes / came) > 0 and abs(cmath.phase(goes / came)) <= abs(drawn) + KINK
    )
