"""Holding bridges: gaps in a cut outline that keep a piece in its sheet until a hand severs them.

Terms.  A *gap* is a stretch of the beam's way that is left out: as long as the bridge is wide and
one kerf more, so that the stock between the beam's two ends is as wide as asked where it is
narrowest.  The *neck* is the line across the cut in the gap's middle.
Gaps are spread evenly and lie where the way is straightest: never over a corner, nor beside a slit,
nor where the neck would meet another piece.
Does not cut: `laser` makes runs of what lies between gaps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry import region
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc
from foamwright.model import Bridge, Bridging, Tool
from foamwright.stages.compensate.ground import Ground
from foamwright.stages.compensate.leads import Kept

Numbers: TypeAlias = npt.NDArray[np.float64]

#: mm beside a gap that must be as straight as it (common practice, no source).
MARGIN = 2.0
#: Degrees of turn over SHORT mm that make a corner or a curve too tight to bridge.
SHARP, SHORT = 20.0, 0.5
#: Degrees of turn by which two places are told apart: less is as good as straight.
ALIKE = 2.0
#: mm beyond the cut that a neck reaches into the scrap.
ROOT = 2.0
#: Least length of a run between two gaps, mm.
RUN = 2.0
#: mm between two places that are looked at, how many at most, and shifts of all bridges tried.
STEP, MOST, SHIFTS = 1.0, 2000, 8


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a closed way that is left out: from start to end along it, mm."""

    start: float
    end: float
    bridge: Bridge
    neck: Kept


def gaps(
    way: Path,
    target: Path,
    bridging: Bridging,
    tool: Tool,
    *,
    slits: Sequence[Path],
    ground: Ground,
) -> list[Gap]:
    """The gaps in a beam's closed way about a target, along it; fewer than asked where there is no
    place for more (`wanted` tells how many were).

    slits: of the same piece, which a bridge must not lie beside.
    """
    aside = _Aside(ground, region.union([region.curve(s) for s in slits]))
    looked = _Way(way, target, bridging.width, tool, aside)
    number = min(wanted(way, bridging), int(way.length / (2 * (looked.longest + RUN))))
    best = min((looked.spread(number, k) for k in range(SHIFTS)), key=lambda s: s.badness)
    return [looked.gap(looked.at[i]) for i in best.chosen]


def wanted(way: Path, bridging: Bridging) -> int:
    """How many bridges are asked for on this way."""
    if bridging.spacing is None:
        return bridging.count or 0
    return math.ceil(way.length / bridging.spacing)


def runs(way: Path, gaps: Sequence[Gap]) -> list[tuple[Path, Gap]]:
    """The open stretches of a closed way between gaps, each with the gap at its end."""
    made = []
    for k, gap in enumerate(gaps):
        after = gaps[(k + 1) % len(gaps)]
        start, end = gap.end, after.start
        if end <= start:
            end += way.length
        made.append((way.between(start, end), after))
    return made


@dataclass(frozen=True, slots=True)
class _Spread:
    """A try: indices of the places chosen, along the way, and how bad it is."""

    chosen: tuple[int, ...]
    badness: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Aside:
    """What a bridge must keep away from: other pieces, and its own piece's slits."""

    ground: Ground
    slits: region.Region

    def is_free(self, here: complex, out: complex, keep: float) -> bool:
        """Whether a neck from here outwards meets scrap alone, and no slit within keep mm."""
        neck = region.polyline([here, out])
        return region.distance(region.point(here), self.slits) > keep and self.ground.is_clear(neck)


class _Way:
    """A way with the places on it that may bear a gap, looked at once."""

    def __init__(self, way: Path, target: Path, width: float, tool: Tool, aside: _Aside) -> None:
        self.way, self.target, self.width, self.aside = way, target, width, aside
        self.beam: Oval = tool.beam
        self.wide = tool.widest_kerf / 2
        self.growth = self.wide / self.beam.radius if self.beam.radius else 1.0
        self.longest = width + 2 * self.wide
        count = min(MOST, max(16, math.ceil(way.length / STEP)))
        self.at: Numbers = np.linspace(0.0, way.length, count, endpoint=False)
        self.turn = self._turn_about()
        self._free: dict[int, bool] = {}

    @cached_property
    def _turned(self) -> tuple[Numbers, Numbers]:
        """Stations along the way and the degrees that it has turned, either way, up to each."""
        stations, turned = [0.0], [0.0]
        for i, s in enumerate(self.way.segments):
            before = self.way.segments[i - 1].tangent(1.0)
            stations.append(stations[-1])
            turned.append(turned[-1] + abs(turn_degrees(before, s.tangent(0.0))))
            stations.append(stations[-1] + s.length())
            bend = abs(math.degrees(s.sweep)) if isinstance(s, Arc) else 0.0
            turned.append(turned[-1] + bend)
        return np.array(stations), np.array(turned)

    def _turned_at(self, s: Numbers) -> Numbers:
        stations, turned = self._turned
        rounds = np.floor(s / self.way.length)
        here = np.interp(s - rounds * self.way.length, stations, turned)
        found: Numbers = here + rounds * turned[-1]
        return found

    def _turn_about(self) -> Numbers:
        """Degrees of turn about each place; endless where a corner is among them."""
        half = self.longest / 2 + MARGIN
        turn = self._turned_at(self.at + half) - self._turned_at(self.at - half)
        offsets = np.linspace(-half, half - SHORT, max(2, math.ceil(4 * half / SHORT)))
        for o in offsets:
            short = self._turned_at(self.at + o + SHORT) - self._turned_at(self.at + o)
            turn = np.where(short > SHARP, np.inf, turn)
        return turn

    def spread(self, number: int, shift: int) -> _Spread:
        """One place near the middle of each of `number` even stretches, the straightest."""
        if number < 1:
            return _Spread((), (0.0,))
        stretch = self.way.length / number
        chosen, missing, bend, aside = [], 0, 0.0, 0.0
        for k in range(number):
            middle = stretch * (k + 0.5 + shift / SHIFTS)
            off = (self.at - middle + self.way.length / 2) % self.way.length - self.way.length / 2
            here = np.flatnonzero((np.abs(off) <= stretch / 4) & np.isfinite(self.turn))
            ranked = sorted(here, key=lambda i: (self.turn[i] // ALIKE, abs(off[i]), i))
            found = next((int(i) for i in ranked if self._is_free(int(i))), None)
            if found is None:
                missing += 1
                continue
            chosen.append(found)
            bend += self.turn[found] // ALIKE
            aside += abs(off[found])
        return _Spread(tuple(sorted(chosen)), (missing, bend, aside))

    def _is_free(self, i: int) -> bool:
        """Whether the neck there meets scrap alone, and no slit lies beside it."""
        if i not in self._free:
            here = self.way.point_at(self.at[i])
            keep = self.longest / 2 + MARGIN
            out = here - 1j * self.way.tangent_at(self.at[i]) * (self.wide + ROOT)
            self._free[i] = self.aside.is_free(here, out, keep)
        return self._free[i]

    def gap(self, middle: float) -> Gap:
        """The gap about a place, wide enough between the beam's ends on every face."""
        tangent = self.way.tangent_at(middle)
        reach = math.hypot(self.beam.rx * tangent.real, self.beam.ry * tangent.imag) * self.growth
        chord = self.width + 2 * reach
        half = chord / 2
        for _ in range(3):
            half *= chord / abs(self._at(middle + half) - self._at(middle - half))
        start = self._on_target(self._at(middle - half))
        end = self._on_target(self._at(middle + half))
        length = (end - start) % self.target.length
        foot = (start + length / 2) % self.target.length
        at = self.target.point_at(foot)
        out = at - 1j * self.target.tangent_at(foot) * (2 * self.wide + ROOT)
        neck = Kept(region.polyline([at, out]), self.width / 2)
        first = (middle - half) % self.way.length
        return Gap(first, first + 2 * half, Bridge(at, length, self.width), neck)

    def _at(self, s: float) -> complex:
        return self.way.point_at(s % self.way.length)

    def _on_target(self, centre: complex) -> float:
        """Where along the target the beam touches it when its middle is at a place, mm."""
        m = self.beam.stretch
        along, _ = nearest_length(self._stretched, m(centre))
        touched = m.inverse()(self._stretched.point_at(along))
        return along if self.beam.is_disc else nearest_length(self.target, touched)[0]

    @cached_property
    def _stretched(self) -> Path:
        return self.target.transformed(self.beam.stretch)
