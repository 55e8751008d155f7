"""How nearly one shape is another moved and turned, or its mirror image moved and turned.

Terms.  A *shape* is closed paths, the outline first.  Outlines of equal length are laid on one
another by their middles; the turns that are tried are those at which points at equal steps along
both fall together best (a correlation, by the fast Fourier transform), and those that bring an
opening on an opening; each is refined, and the best counts.
What is found is a true distance for some motion: at least that of the best one, and for shapes that
are congruent no more than the flattening leaves.  Does not stretch.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import directed_deviation, polyline, union
from foamwright.geometry.segments import Points

#: Points at equal steps along an outline in the search for turns.
STEPS = 1024
#: Turns that are looked at closely, the best of the search.
TURNS = 8
#: Thirds by which a turn is refined: a step of the search comes to a ten-millionth of it.
THIRDS = 40


def off_congruence(
    shape: Sequence[Path], other: Sequence[Path], mirrored: bool, tolerance: float
) -> float:
    """How far the two lie apart at most, mm, when the one is laid on the other as well as it goes.

    mirrored: the one is turned over first.  tolerance: of flattening, mm.  Infinite where they
    have unlike numbers of lines.
    """
    if len(shape) != len(other):
        return float("inf")
    flip = Affine.mirror_x() if mirrored else Affine.rotation(0)
    one, two = (
        _centred([p.transformed(m).counter_clockwise().flatten(tolerance) for p in paths])
        for paths, m in ((shape, flip), (other, Affine.rotation(0)))
    )
    return min(_apart(one, two, turn) for turn in _turns(one, two, tolerance))


def _centred(rings: list[Points]) -> list[Points]:
    middle = _middle(rings[0])
    return [ring - middle for ring in rings]


def _middle(ring: Points) -> complex:
    """The centre of gravity of what a ring of points encloses."""
    a, b = ring[:-1] - ring[0], ring[1:] - ring[0]
    cross = (a.conjugate() * b).imag
    return complex(ring[0] + ((a + b) * cross).sum() / (3 * cross.sum()))


def _apart(one: list[Points], two: list[Points], turn: complex) -> float:
    """How far the shapes lie apart at most, the first turned: outlines, then openings."""
    turned = [ring * turn for ring in one]
    found = 0.0
    for a, b in ((turned[:1], two[:1]), (turned[1:], two[1:])):
        for rings, edges in ((a, b), (b, a)):
            if rings:
                lines = union(polyline(ring) for ring in edges)
                found = max(found, float(directed_deviation(np.concatenate(rings), lines).max()))
    return found


def _turns(one: list[Points], two: list[Points], tolerance: float) -> Iterator[complex]:
    """Turns of the first, unit complex numbers, that may lay it on the second."""
    z, w = (_at_steps(ring, 0.0) for ring in (one[0], two[0]))
    fit = np.abs(np.fft.ifft(np.fft.fft(z).conj() * np.fft.fft(w)))
    peaks = np.flatnonzero((fit >= np.roll(fit, 1)) & (fit >= np.roll(fit, -1)))
    for k in peaks[np.argsort(-fit[peaks], kind="stable")][:TURNS]:
        yield _refined(z, two[0], int(k))
    for hole in one[1:2]:
        for at in map(_middle, two[1:]):
            if abs(at) > tolerance and abs(_middle(hole)) > tolerance:
                turn = at / _middle(hole)
                yield turn / abs(turn)


def _at_steps(ring: Points, shift: float) -> Points:
    """STEPS points at equal steps along a ring, `shift` steps on from its start."""
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ring)))])
    wanted = (np.arange(STEPS) + shift) * (along[-1] / STEPS) % along[-1]
    made: Points = np.interp(wanted, along, ring)
    return made


def _refined(z: Points, ring: Points, shift: int) -> complex:
    """The turn at which points z fall best on those of a ring, near so many steps on."""
    low, high = shift - 1.0, shift + 1.0

    def turn_at(s: float) -> tuple[complex, float]:
        """The best turn at this shift, and the half of the squares that it leaves, less z's own."""
        w = _at_steps(ring, s)
        met = complex((z.conjugate() * w).sum())
        return met, float((np.abs(w) ** 2).sum()) / 2 - abs(met)

    for _ in range(THIRDS):
        third = (high - low) / 3
        if turn_at(low + third)[1] > turn_at(high - third)[1]:
            low += third
        else:
            high -= third
    found, _ = turn_at((low + high) / 2)
    return found / abs(found) if found else 1.0 + 0j
