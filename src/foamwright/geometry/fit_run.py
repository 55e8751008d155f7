"""One smooth run of cubics as a chain of arcs: the cheapest way that holds.

In turn: one circle for all of it; the fewest arcs that can be made to hold; biarcs.
Whatever comes out has been measured against the curve's samples.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from foamwright.geometry.fit_biarcs import fit_biarcs
from foamwright.geometry.fit_chain import WIDEST_SWEEP, Chain, Floats, Solution, distance_to_arc
from foamwright.geometry.fit_curve import Curve
from foamwright.geometry.fit_reach import (
    FRACTIONS,
    Reach,
    best_sweeps,
    even_joints,
    least_count,
    reach_of,
)
from foamwright.geometry.fit_solve import KINK, LONG, QUICK, Ends, Patience, solve
from foamwright.geometry.segments import Points

#: The share of the tolerance that the fit plans with; the rest is for what lies between samples.
PLANNED = 0.98
#: Biarcs are planned for this share of the last plan's deviation, so many times.
CLOSER, BIARC_PLANS = 0.85, 6
#: Guesses for the joints, see `even_joints`.
SHIFTS = (0.0, 0.5, 0.25, 0.75, 0.12, 0.38)
#: The share of the tolerance that a found chain may take up at the points where it is checked.
SURE = 0.992
#: Arcs allowed beyond the least where the search has to cut arcs, as a share of it, and besides.
MORE_SHARE, MORE = 0.3, 3
#: A run of more arcs than this is fitted in stretches of about as many, each within two joints.
STRETCH = 32
#: Where a chain is measured besides the curve's samples, as fractions of each arc's stretch.
CHECKS: Floats = np.linspace(0.0, 1.0, 97)


def fit_run(curve: Curve, ends: Ends, tolerance: float) -> Chain:
    """Arcs within tolerance of the curve that meet within KINK of each other and of the ends."""
    planned = PLANNED * tolerance
    chain = _one_circle(curve, ends, planned)
    if chain is not None:
        return chain
    reach = reach_of(curve, tolerance)
    least = least_count(reach)
    if least > STRETCH:
        return _in_stretches(curve, ends, tolerance, reach)
    for one in _tries(least, ends.loop):
        found = _sure(curve, ends, even_joints(reach, one.count, one.shift), tolerance, one)
        if found is not None:
            return found.chain
    return _by_biarcs(_turned_to(curve, ends), tolerance)


@dataclass(frozen=True, slots=True)
class _Try:
    """A count of arcs, a shift of their joints, how long to search, and arcs at the most."""

    count: int
    shift: float
    patience: Patience = QUICK
    most: int = 0


def _sure(curve: Curve, ends: Ends, joints: Floats, tolerance: float, one: _Try) -> Solution | None:
    """A solution that holds between its points of measure too; a near miss is sought once again."""
    planned = PLANNED * tolerance
    for _ in range(2):
        found = solve(curve, ends, joints, planned, most=one.most, patience=one.patience)
        if found is None:
            return None
        worst = deviation(curve, found)
        if worst <= SURE * tolerance:
            return found
        planned, joints = planned * planned / worst, found.u
    return None


def _by_biarcs(curve: Curve, tolerance: float) -> Chain:
    """Biarcs that hold between the curve's samples too: planned ever more closely until they do."""
    planned = PLANNED * tolerance
    found = fit_biarcs(curve, planned)
    for _ in range(BIARC_PLANS):
        if deviation(curve, found) <= SURE * tolerance:
            break
        planned *= CLOSER
        found = fit_biarcs(curve, planned)
    return found.chain


def _turned_to(curve: Curve, ends: Ends) -> Curve:
    """The curve with the directions at its ends that it must agree with."""
    if ends.loop:
        return curve
    tangents = curve.tangents.copy()
    tangents[0], tangents[-1] = ends.first, ends.last
    return replace(curve, tangents=tangents)


def _tries(least: int, loop: bool) -> list[_Try]:
    """What to try, in order: few arcs, the allowed ones with patience, then more.

    Another beginning helps a loop more than another guess helps a run with ends.
    """
    some, more = least + int(0.04 * least), max(least + 1, int(1.1 * least))
    tries = [_Try(some, shift) for shift in SHIFTS[: 2 if loop else 1]]
    tries += [_Try(more, shift) for shift in SHIFTS[:2]]
    tries += [_Try(more, shift, LONG) for shift in (SHIFTS if loop else SHIFTS[2:3])]
    tries += [_Try(more + 1, 0.0), _Try(more + 1, 0.5), _Try(more + 2, 0.0, LONG)]
    return [*tries, _Try(more, 0.0, QUICK, least + MORE + math.ceil(MORE_SHARE * least))]


def _in_stretches(curve: Curve, ends: Ends, tolerance: float, reach: Reach) -> Chain:
    """A long run cut at points of the curve, each half of it bending as its best arcs do there."""
    least = least_count(reach)
    joints = even_joints(reach, least)
    count = math.ceil(least / STRETCH)
    cuts = [round(k * least / count) for k in range(count + 1)]
    way = _directions(curve, joints)
    chains = []
    for k, (i, j) in enumerate(itertools.pairwise(cuts)):
        begin, end = (complex(way[i]), KINK / 2), (complex(way[j % least]), KINK / 2)
        if k == 0 and not ends.loop:
            begin = ends.first, ends.first_kink
        if k == count - 1 and not ends.loop:
            end = ends.last, ends.last_kink
        part = curve.part(float(joints[i]), float(joints[j]))
        chains.append(fit_run(part, Ends(*begin, *end), tolerance))
    for a, b in zip(chains, chains[1:] + chains[:1], strict=True):
        a.joints[-1] = b.joints[0] if ends.loop or b is not chains[0] else a.joints[-1]
    points = np.concatenate([chains[0].joints] + [c.joints[1:] for c in chains[1:]])
    return Chain(points, np.concatenate([c.sweeps for c in chains]))


def _directions(curve: Curve, joints: Floats) -> Points:
    """At each joint but the last, half-way between the directions of the best arcs it joins."""
    at = curve.at(joints)
    inner = curve.at(joints[:-1, None] + np.diff(joints)[:, None] * FRACTIONS)
    sweeps, _ = best_sweeps(inner, at[:-1], at[1:])
    headings = np.angle(np.diff(at))
    leave = np.exp(1j * (headings - sweeps / 2))
    arrive = np.roll(np.exp(1j * (headings + sweeps / 2)), 1)
    both = leave + arrive
    return np.asarray(both / np.abs(both), dtype=np.complex128)


def deviation(curve: Curve, found: Solution) -> float:
    """The farthest that a sample of the curve lies from its arc, in mm.

    Each arc's stretch of the curve starts and ends over the arc's own ends, so that the arc is no
    farther from the curve than the curve is from the arc (both are without gaps).
    """
    u, chain = found.u, found.chain
    fine = u[:-1, None] + np.diff(u)[:, None] * CHECKS
    ends = chain.joints[:-1, None], chain.joints[1:, None]
    worst = distance_to_arc(curve.at(fine), *ends, chain.sweeps[:, None]).max()
    at = curve.u
    if curve.loop:
        at = u[0] + (at - u[0]) % curve.span
    arc = np.clip(np.searchsorted(u, at, side="right") - 1, 0, len(chain) - 1)
    near = distance_to_arc(
        curve.points, chain.joints[arc], chain.joints[arc + 1], chain.sweeps[arc]
    )
    return float(max(worst, near.max()))


def _one_circle(curve: Curve, ends: Ends, tolerance: float) -> Chain | None:
    if ends.loop:
        return _full_circle(curve, tolerance)
    a, b = curve.points[:1], curve.points[-1:]
    if abs(b[0] - a[0]) <= 1e-9 * np.abs(curve.points - a[0]).max():
        return None
    sweeps, errors = best_sweeps(curve.points[None, :], a, b)
    sweep = float(sweeps[0])
    if not errors[0] <= tolerance or abs(sweep) >= math.tau - 0.1:
        return None
    half = complex(np.exp(0.5j * sweep))
    chord = complex(b[0] - a[0]) / abs(b[0] - a[0])
    first = abs(float(np.angle(chord / half / ends.first))) / ends.first_kink
    last = abs(float(np.angle(chord * half / ends.last))) / ends.last_kink
    turned = float(np.angle(curve.tangents[1:] * curve.tangents[:-1].conj()).sum())
    if max(first, last) > 1 or abs(turned - sweep) > 1.0:
        return None
    count = max(1, math.ceil(abs(sweep) / WIDEST_SWEEP - 1e-9))
    joints = _along_circle(complex(a[0]), complex(b[0]), sweep, count)
    chain = Chain(joints, np.full(count, sweep / count))
    near = np.concatenate(
        [
            distance_to_arc(curve.points, joints[i], joints[i + 1], chain.sweeps[i])[None]
            for i in range(count)
        ]
    ).min(axis=0)
    return chain if near.max() <= tolerance else None


def _along_circle(a: complex, b: complex, sweep: float, count: int) -> Points:
    """count + 1 points that divide an arc evenly, the last exactly b."""
    if count == 1:
        return np.array([a, b])
    part = sweep / count * np.arange(count)
    # a chord of an arc from a: its length over the whole chord, turned by half the remaining sweep
    made = a + (b - a) * np.sin(part / 2) / math.sin(sweep / 2) * np.exp(0.5j * (part - sweep))
    return np.append(made, b)


def _full_circle(curve: Curve, tolerance: float) -> Chain | None:
    """A loop as three arcs of 120 degrees, by least squares (Kasa 1976)."""
    p = curve.points[:-1] - curve.points[0]
    rows = np.column_stack([p.real, p.imag, np.ones(len(p))])
    x, y, _ = np.linalg.lstsq(rows, np.abs(p) ** 2, rcond=None)[0]
    centre = complex(x, y) / 2
    off = np.abs(p - centre)
    radius = (off.max() + off.min()) / 2
    if not (off.max() - off.min()) / 2 <= tolerance:
        return None
    turned = float(np.angle(curve.tangents[1:] * curve.tangents[:-1].conj()).sum())
    if abs(abs(turned) - math.tau) > 0.1:
        return None
    way = math.copysign(math.tau / 3, turned)
    first = -centre / abs(centre)
    spokes = radius * first * np.exp(1j * way * np.arange(4))
    joints = curve.points[0] + centre + spokes
    joints[-1] = joints[0]
    return Chain(joints, np.full(3, way))
