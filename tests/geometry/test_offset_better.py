"""Which parts of a new parallel are taken, measured by `dense.py`."""

from __future__ import annotations

import math

from tests.geometry.test_offset_redrawn import TOL, A, B, ellipse, kinks, off

from foamwright.geometry.affine import Affine
from foamwright.geometry.offset import offset
from foamwright.geometry.offset_better import Soundness, better
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Segment


def test_what_strays_or_goes_round_twice_is_not_taken():
    path = ellipse(A, B)
    (made,) = offset(path, -12.0, TOL)
    sound = Soundness(made, path, -12.0, TOL)
    own = made.segments
    assert sound.holds(own, own)
    for moved in (3 * TOL, 3j * TOL, -3 * TOL):
        aside = made.transformed(Affine.translation(moved))
        assert off(path, aside, -12.0) > 2 * TOL
        assert not sound.holds(aside.segments, own)
    assert not sound.holds(own[:-1], own)  # a stretch is left out
    assert not sound.holds([*own, *own], own)


def test_of_two_paths_the_parts_with_fewer_kinks_are_taken():
    # the one has kinks on its left half, the other on its right half
    path = ellipse(A, B)
    (smooth,) = offset(path, -12.0, TOL / 50)  # short arcs, so that kinks move them little
    n = len(smooth.segments)
    left, right = (swung(smooth, side) for side in (range(n // 2), range(n // 2, n)))
    assert max(kinks(left)) > 1.0
    assert max(kinks(right)) > 1.0
    found = better(left, right, path, -12.0, TOL)
    assert found is not None
    # but beside where the kinks of both meet
    assert sum(s in smooth.segments for s in found.segments) >= n - 2
    assert better(smooth, left, path, -12.0, TOL) is None


def swung(path: Path, which: range) -> Path:
    """With each of these arcs as two halves that meet with a kink of 1.2 degrees."""
    made: list[Segment] = []
    for i, s in enumerate(path.segments):
        if i in which and isinstance(s, Arc):
            middle = s.point(0.5)
            sweep = s.sweep / 2 - math.radians(1.2)
            made += [
                Arc(a, b, math.tan(sweep / 4)) for a, b in ((s.start, middle), (middle, s.end))
            ]
        else:
            made.append(s)
    return Path(tuple(made), True, frozenset())
