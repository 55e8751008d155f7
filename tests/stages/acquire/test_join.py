"""Joining: shuffled, reversed and jittered runs come back as the loops that they were cut from."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.stages.acquire.join import join_loose, near_pairs
from foamwright.stages.acquire.shapes import Shape

TOLERANCE = 0.05


def run(*segments: Segment, **names: object) -> Shape:
    return replace(Shape(Path.of(segments, False)), **names)  # type: ignore[arg-type]


def line(a: complex, b: complex, **names: object) -> Shape:
    return run(Line(a, b), **names)


def join(*shapes: Shape, tolerance: float = TOLERANCE) -> tuple[list[Path], list[Finding]]:
    made, findings = join_loose(shapes, tolerance, 3.0, "drawing.dxf")
    return [s.path for s in made], list(findings)


def codes(findings: list[Finding]) -> list[str]:
    return [f.code for f in findings]


def square(x: float = 0, y: float = 0, size: float = 10) -> list[Shape]:
    p = [complex(x, y) + size * c for c in (0, 1, 1 + 1j, 1j)]
    return [line(a, b) for a, b in zip(p, p[1:] + p[:1], strict=True)]


def is_seamless(path: Path) -> bool:
    """Every segment starts on the very number where the last one ends."""
    pairs = list(zip(path.segments, path.segments[1:], strict=False))
    if path.closed:
        pairs.append((path.segments[-1], path.segments[0]))
    return all(a.end == b.start for a, b in pairs)


def jittered(s: Segment, by: complex, end_by: complex) -> Segment:
    if isinstance(s, Arc):
        return Arc(s.start + by, s.end + end_by, s.bulge)
    if isinstance(s, Cubic):
        return Cubic(s.start + by, s.control1, s.control2, s.end + end_by)
    return Line(s.start + by, s.end + end_by)


@st.composite
def outlines(draw: st.DrawFn) -> Path:
    """Star-shaped closed paths of lines, arcs and cubics, joints at least 5 mm apart."""
    count = draw(st.integers(3, 14))
    radii = draw(st.lists(st.floats(30, 80), min_size=count, max_size=count))
    spots = [
        r * complex(math.cos(a), math.sin(a)) for r, a in zip(radii, _turns(count), strict=True)
    ]
    kinds = draw(st.lists(st.sampled_from("lac"), min_size=count, max_size=count))
    made: list[Segment] = []
    for a, b, kind in zip(spots, spots[1:] + spots[:1], kinds, strict=True):
        if kind == "l":
            made.append(Line(a, b))
        elif kind == "a":
            made.append(Arc(a, b, draw(st.floats(-0.4, 0.4).filter(lambda v: abs(v) > 0.01))))
        else:
            across = (b - a) * 0.15j
            made.append(Cubic(a, a + (b - a) / 3 + across, b - (b - a) / 3 - across, b))
    return Path.of(made, True)


def _turns(count: int) -> list[float]:
    return [2 * math.pi * k / count for k in range(count)]


@settings(max_examples=80, deadline=None, derandomize=True)
@given(outlines(), st.randoms(use_true_random=False), st.sampled_from([0.0, 1e-8, 0.4]))
def test_a_loop_comes_back_from_its_parts(path: Path, chance: random.Random, jitter: float) -> None:
    """jitter: greatest move of an end, as a share of the tolerance; at 0.4 ends stay in reach."""

    def move() -> complex:
        return TOLERANCE * jitter * chance.random() * 1j ** (4 * chance.random())

    parts = [jittered(s, move(), move()) for s in path.segments]
    parts = [s.reversed() if chance.random() < 0.5 else s for s in parts]
    chance.shuffle(parts)
    (loop,), _ = join(*(run(s) for s in parts))
    assert loop.closed
    assert is_seamless(loop)
    assert len(loop.segments) == len(path.segments)
    assert abs(loop.area) == pytest.approx(abs(path.area), abs=2 * TOLERANCE * path.length + 1e-9)
    assert loop.length == pytest.approx(path.length, abs=4 * TOLERANCE * len(parts))
    if jitter == 0:
        assert loop.length == pytest.approx(path.length, rel=1e-12)
        assert {s.start for s in loop.segments} == {s.start for s in path.segments}
        assert len(loop.corners) == len(path.corners)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.randoms(use_true_random=False), st.integers(2, 9))
def test_many_loops_and_strays_stay_apart(chance: random.Random, count: int) -> None:
    parts = [s for k in range(count) for s in square(20 * k, 3 * k)]
    strays = [line(complex(20 * k + 2, 30), complex(20 * k + 8, 35)) for k in range(count)]
    both = parts + strays
    chance.shuffle(both)
    paths, findings = join(*both)
    assert sum(p.closed for p in paths) == count
    assert sum(not p.closed for p in paths) == count
    assert all(p.length == pytest.approx(40) for p in paths if p.closed)
    assert findings == []


def test_the_moved_distance_is_told() -> None:
    parts = square()
    parts[1] = line(10 + 0.03j, 10 + 9.96j)
    (loop,), (told,) = join(*parts)
    assert loop.closed
    assert is_seamless(loop)
    assert told.code == "R109"
    assert "2 gaps" in told.what
    assert "0.04 mm at (10.000, 9.980)" in told.what


def test_a_gap_wider_than_the_tolerance_stays() -> None:
    parts = square()
    parts[1] = line(10 + 0.06j, 10 + 10j)
    (path,), findings = join(*parts)
    assert not path.closed
    assert findings == []
    assert {path.start, path.end} == {10 + 0j, 10 + 0.06j}


def test_names_direction_and_place_are_those_of_the_earliest_run() -> None:
    a, b, c, d = square()
    turned = [replace(s, path=s.path.reversed()) for s in (b, c)]
    parts = [replace(a, id="first", where="line 1"), *turned, d]
    (made,), _ = join_loose(parts, TOLERANCE, 3.0, "x.dxf")
    assert (made.id, made.where) == ("first", "line 1")
    assert made.path.start == 0
    assert made.path.segments[0].end == 10
    assert made.path.area == pytest.approx(100)
    assert made.path.corners == {0, 1, 2, 3}


def test_a_smooth_joint_is_no_corner() -> None:
    half = Arc(10 + 0j, -10 + 0j, 1.0)
    other = Arc(-10 + 0j, 10 + 0j, 1.0)
    (loop,), _ = join(run(half), run(other))
    assert loop.closed
    assert loop.corners == frozenset()


def test_marks_and_slits_are_left_alone() -> None:
    parts = [replace(s, role=role) for s, role in zip(square(), ["mark"] * 4, strict=True)]
    paths, _ = join(*parts)
    assert [p.closed for p in paths] == [False] * 4
    slits = [line(0j, 5 + 0j, role="slit"), line(5 + 0j, 9 + 3j, role="slit")]
    assert len(join(*slits)[0]) == 2


def test_layers_are_not_mixed() -> None:
    parts = [replace(s, groups=(g,)) for s, g in zip(square(), "abab", strict=True)]
    assert not any(p.closed for p in join(*parts)[0])


def test_stated_cuts_are_joined() -> None:
    (loop,), _ = join(*(replace(s, role="cut") for s in square()))
    assert loop.closed


def test_a_line_drawn_twice_is_kept_once() -> None:
    a, b, c, d = square()
    again = replace(b, path=b.path.reversed().transformed(Affine.translation(2e-5j)))
    (loop,), (told,) = join(a, b, c, again, d)
    assert loop.closed
    assert len(loop.segments) == 4
    assert told.code == "R401"
    assert "1 lines" in told.what


def test_an_outline_drawn_as_lines_and_again_as_one_is_kept_once() -> None:
    whole = Shape(Path.polygon([10 + 10j, 10j, 0j, 10 + 0j]))
    (loop,), (told,) = join(*square(), whole)
    assert loop.closed
    assert told.code == "R401"


def test_an_edge_that_two_squares_share_is_told() -> None:
    """Two squares side by side, drawn line by line: which way each runs can't be known."""
    paths, findings = join(*square(), *square(10, 0))
    assert codes(findings) == ["R401", "R404"]
    assert findings[1].severity == "warning"
    assert "1 lines" in findings[1].what
    assert "(10.000, 0.000)" in findings[1].what
    assert sorted(p.closed for p in paths) == [False, True]


def test_two_polylines_that_share_an_edge_are_two_outlines() -> None:
    left, right = Path.polygon([0, 10, 10 + 10j, 10j]), Path.polygon([10, 20, 20 + 10j, 10 + 10j])
    paths, findings = join(Shape(left), Shape(right))
    assert (paths, findings) == ([left, right], [])


@pytest.mark.parametrize("role", ["mark", None])
def test_lines_that_only_look_alike_are_both_kept(role: str | None) -> None:
    up = run(Line(0j, 5 + 5j), Line(5 + 5j, 10 + 0j), role=role)
    down = run(Line(0j, 5 - 5j), Line(5 - 5j, 10 + 0j), role=role)
    paths, findings = join(up, down)
    assert sum(p.length for p in paths) == pytest.approx(4 * math.hypot(5, 5))
    assert findings == []


def test_circles_of_one_centre_are_kept() -> None:
    paths, findings = join(Shape(Path.circle(1j, 5)), Shape(Path.circle(1j, 5.01)))
    assert len(paths) == 2
    assert findings == []


def test_specks_are_dropped_and_counted() -> None:
    parts = [*square(), line(50 + 50j, 50.01 + 50j)]
    (loop,), (told,) = join(*parts)
    assert loop.closed
    assert told.code == "R402"


def test_a_fine_chain_of_tiny_segments_is_no_speck() -> None:
    turn = [10 * complex(math.cos(a), math.sin(a)) for a in _turns(4000)]
    parts = [line(a, b) for a, b in zip(turn, turn[1:] + turn[:1], strict=True)]
    random.Random(1).shuffle(parts)
    (loop,), findings = join(*parts)
    assert loop.closed
    assert len(loop.segments) == 4000
    assert findings == []


def test_two_squares_that_touch_at_a_corner_are_two_squares() -> None:
    parts = square() + square(10, 10)
    random.Random(3).shuffle(parts)
    paths, findings = join(*parts)
    assert [p.closed for p in paths] == [True, True]
    assert [abs(p.area) for p in paths] == pytest.approx([100, 100])
    assert findings == []


def test_an_outline_closes_past_lines_that_hang_on_it() -> None:
    """Two inner lines drawn from corners of the outline, on the same layer."""
    inner = [line(0j, 3 + 4j), line(10 + 10j, 6 + 5j)]
    paths, findings = join(*square(), *inner)
    closed = [p for p in paths if p.closed]
    assert [abs(p.area) for p in closed] == pytest.approx([100])
    assert sorted(p.length for p in paths if not p.closed) == pytest.approx([5, math.hypot(4, 5)])
    assert findings == []


def test_a_straight_way_on_is_taken_where_a_cross_line_ends() -> None:
    """A chord from edge to edge: at both its ends the outline runs straight on."""
    corners = [0j, 5 + 0j, 10 + 0j, 10 + 10j, 5 + 10j, 10j]
    edges = [line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    paths, findings = join(*edges, line(5 + 0j, 5 + 10j))
    assert [abs(p.area) for p in paths if p.closed] == pytest.approx([100])
    assert [p.length for p in paths if not p.closed] == pytest.approx([10])
    assert findings == []


def test_a_knot_without_a_clear_way_is_left_and_told() -> None:
    """A square with a diagonal: from corner to corner three ways, none smooth."""
    paths, findings = join(*square(), line(0j, 10 + 10j))
    assert not any(p.closed for p in paths)
    assert codes(findings) == ["R403", "R403"]
    assert "3 loose ends meet at (0.000, 0.000)" in findings[0].what
    assert sum(p.length for p in paths) == pytest.approx(40 + math.hypot(10, 10))


def test_ends_that_agree_exactly_go_before_ends_that_are_near() -> None:
    near = line(10 + 0.02j, 30 + 5j)
    paths, _ = join(near, *square())
    assert [p.closed for p in paths] == [False, True]
    assert paths[0].start == 10 + 0.02j


def test_an_almost_closed_run_closes() -> None:
    spots = [0j, 10 + 0j, 10 + 10j, 10j, 0.03j]
    path = Path.polygon(spots, closed=False)
    (loop,), (told,) = join(Shape(path))
    assert loop.closed
    assert told.code == "R109"
    assert is_seamless(loop)


def test_a_nearly_full_arc_closes_without_collapsing() -> None:
    gap = 0.02 / 10
    path = Path.of(
        [Arc(10 + 0j, 10 * complex(math.cos(gap), -math.sin(gap)), 1 / math.tan(gap / 4))], False
    )
    assert path.length == pytest.approx(20 * math.pi, abs=0.03)
    (loop,), _ = join(Shape(path))
    assert loop.closed
    assert loop.area == pytest.approx(100 * math.pi, rel=2e-3)


def test_a_stub_within_the_move_makes_no_hook() -> None:
    """The last edge runs 0.01 mm past the corner that it should meet."""
    parts = [line(0j, 10 + 0j), line(10 + 0.04j, 10 + 10j), line(10 + 10j, 10j)]
    parts += [run(Line(10j, 0j), Line(0j, -0.03j))]
    (loop,), _ = join(*parts)
    assert loop.closed
    assert min(s.length() for s in loop.segments) > 5
    assert len(loop.corners) == 4


def test_a_star_of_many_ends_is_told_once() -> None:
    rays = [line(0j, 50 * complex(math.cos(a), math.sin(a))) for a in _turns(2000)]
    paths, findings = join(*rays)
    assert len(paths) == 2000
    assert codes(findings) == ["R403"]


def test_no_tolerance_joins_only_what_meets_exactly() -> None:
    (loop,), _ = join(*square(), tolerance=0.0)
    assert loop.closed
    parts = square()
    parts[1] = line(10 + 1e-9j, 10 + 10j)
    assert not any(p.closed for p in join(*parts, tolerance=0.0)[0])


def test_nothing_gives_nothing() -> None:
    assert join() == ([], [])


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.lists(st.builds(complex, st.floats(-1, 1), st.floats(-1, 1)), max_size=40, unique=True),
    st.floats(0.01, 0.5),
)
def test_near_pairs_are_all_pairs_in_reach(places: list[complex], reach: float) -> None:
    truth = {
        (a, b) for b in range(len(places)) for a in range(b) if abs(places[a] - places[b]) <= reach
    }
    assert set(near_pairs(places, reach)) == truth
