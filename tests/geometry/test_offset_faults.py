"""Which parallels are at fault: kinks and slivers of ours, not those that the drawing has."""

from __future__ import annotations

import cmath
import math

import pytest

from foamwright.geometry.offset import offset
from foamwright.geometry.offset_faults import at_fault, sharp_tips
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

TOL = 0.006


def bow(degrees: float) -> Path:
    """A half circle of 20 mm as cubics, and lines that meet it with kinks of so many degrees."""
    handle = 20 * 4 / 3 * (math.sqrt(2) - 1)
    right, top, left = 20 + 0j, 20j, -20 + 0j
    leg = 30 * cmath.exp(1j * math.radians(-90 + degrees))
    foot = right + leg, left - leg.conjugate()
    return Path.of(
        [
            Cubic(right, right + 1j * handle, top + handle, top),
            Cubic(top, top - handle, left + 1j * handle, left),
            Line(left, foot[1]),
            Line(foot[1], foot[0]),
            Line(foot[0], right),
        ],
        True,
    )


def widest(path: Path) -> float:
    """Degrees."""
    smooth = [i for i in range(len(path.segments)) if i not in path.corners]
    ways = [(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)) for i in smooth]
    return max(abs(math.degrees(cmath.phase(b / a))) for a, b in ways)


@pytest.mark.parametrize("distance", [-3.0, 3.0])
@pytest.mark.parametrize("degrees", [-2.0, 2.0])
def test_a_kink_that_the_drawing_has_is_no_fault(degrees, distance):
    path = bow(degrees)
    assert widest(path) == pytest.approx(2.0, abs=1e-6)
    (made,) = offset(path, distance, TOL)
    assert at_fault([made], [path], distance, TOL) == [False]
    # beside a drawing without it the same kink is ours
    assert at_fault([made], [bow(0.0)], distance, TOL) == [widest(made) > 0.95]


def test_a_kink_beside_a_drawn_one_is_ours_where_it_is_wider_or_the_other_way():
    path = bow(2.0)
    (made,) = offset(path, -3.0, TOL)
    joints = [i for i in range(len(made.segments)) if i not in made.corners]
    joint = max(joints, key=lambda i: abs(turn(made, i)))
    assert at_fault([made], [path], -3.0, TOL) == [False]
    for more in (math.copysign(1.5, turn(made, joint)), -2.5 * turn(made, joint)):
        wrong = leaning(made, joint, more)
        assert turn(wrong, joint) == pytest.approx(turn(made, joint) + more, abs=1e-6)
        assert at_fault([wrong], [path], -3.0, TOL) == [True]


def turn(path: Path, joint: int) -> float:
    """Degrees."""
    ways = path.segments[joint - 1].tangent(1.0), path.segments[joint].tangent(0.0)
    return math.degrees(cmath.phase(ways[1] / ways[0]))


def leaning(path: Path, joint: int, degrees: float) -> Path:
    """With the arc at a joint bent there by so many degrees."""
    made = list(path.segments)
    for k, way in ((joint - 1, -1), (joint, -1)):
        arc = made[k]
        if isinstance(arc, Arc):
            made[k] = Arc(
                arc.start, arc.end, math.tan((arc.sweep + way * math.radians(2 * degrees)) / 4)
            )
            return Path(tuple(made), True, path.corners)
    raise AssertionError("no arc there")


def test_some_of_these_parallels_do_turn_there():
    turns = [widest(offset(bow(t), d, TOL)[0]) for t in (-2.0, 2.0) for d in (-3.0, 3.0)]
    assert max(turns) > 1.0


def split(path: Path, degrees: float, share: float) -> Path:
    """The first arc as two, with a kink between."""
    made: list[Segment] = list(path.segments)
    k = next(i for i, s in enumerate(made) if isinstance(s, Arc))
    arc = made[k]
    assert isinstance(arc, Arc)
    at = arc.point(share)
    lean = math.radians(degrees / 2)
    halves = [(arc.start, at, share), (at, arc.end, 1 - share)]
    sweeps = [arc.sweep * part - lean for _, _, part in halves]
    new = [Arc(a, b, math.tan(w / 4)) for (a, b, _), w in zip(halves, sweeps, strict=True)]
    corners = frozenset(i if i <= k else i + 1 for i in path.corners)
    return Path((*made[:k], *new, *made[k + 1 :]), True, corners)


@pytest.mark.parametrize(("degrees", "share"), [(2.0, 0.5), (-2.0, 0.4), (0.0, 0.001)])
def test_kinks_and_slivers_of_ours_are_told_apart_from_sound_parallels(degrees, share):
    path = bow(0.0)
    (sound,) = offset(path, -3.0, TOL)
    wrong = split(sound, degrees, share)
    assert at_fault([sound, wrong, sound], [path] * 3, -3.0, TOL) == [False, True, False]


def test_nothing_is_at_fault_of_nothing():
    assert at_fault([], [], 1.0, TOL) == []


@pytest.mark.parametrize(("degrees", "sharp"), [(15.0, True), (25.0, False)])
def test_tips_are_sharp_where_arcs_meet_at_a_few_degrees(degrees, sharp):
    # a wedge with its point on the left and one bowed side
    way = 50 * cmath.exp(1j * math.radians(degrees))
    lines = Path.polygon([0j, 50 + 0j, way])
    assert not sharp_tips(lines)
    bulge = math.tan(math.radians(2.0) / 4)
    lean = cmath.exp(1j * math.radians(1.0))  # its chord leans so that the angle stays
    bowed = Path.of([Arc(0j, 50 * lean, bulge), Line(50 * lean, way), Line(way, 0j)], True)
    assert sharp_tips(bowed) == [0j] * sharp
