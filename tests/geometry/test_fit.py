"""Fitting: within the tolerance both ways, no kinks, corners kept, few arcs."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import greedy
import numpy as np
import pytest
import shapely
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from foamwright.errors import GeometryError
from foamwright.geometry import batches
from foamwright.geometry.affine import Affine
from foamwright.geometry.fit import fit_arcs, fit_many, fitted_many
from foamwright.geometry.fitting.cusps import cut_at_cusps
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Cubic, Line

some = settings(
    max_examples=12, deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate)
)
coordinates = st.integers(0, 4000).map(lambda v: v / 100)
#: How finely curves are flattened to measure them, mm.
FLAT = 3e-5

points = st.builds(complex, coordinates, coordinates)
wild_cubics = st.builds(Cubic, points, points, points, points).filter(
    lambda c: abs(c.end - c.start) > 0.1
)


def ellipse(a: float, b: float) -> Path:
    return Path.circle(0, 1).transformed(Affine.scaling(a, b))


def through(spots: list[complex], closed: bool) -> Path:
    """A smooth spline through points (Catmull and Rom 1974), its curvature jumping at them."""
    n = len(spots)
    made = []
    for i in range(n if closed else n - 1):
        p0, p1, p2, p3 = (spots[(i + k) % n] for k in (-1, 0, 1, 2))
        made.append(Cubic(p1, p1 + (p2 - p0) / 6, p2 - (p3 - p1) / 6, p2))
    return Path.of(made, closed)


def blob(seed: int, size: float) -> Path:
    noise = np.random.default_rng(seed).uniform(-1, 1, (2, 8))
    turns = math.tau * (np.arange(8) + 0.3 * noise[0]) / 8
    return through([complex(v) for v in size * (1 + 0.35 * noise[1]) * np.exp(1j * turns)], True)


def spiral(rounds: float) -> Path:
    """r = 2 + 3 (turn / tau) by Hermite pieces of an eighth."""
    turns = np.linspace(0, math.tau * rounds, int(8 * rounds) + 1)
    at = (2 + 3 * turns / math.tau) * np.exp(1j * turns)
    way = (3 / math.tau + 1j * (2 + 3 * turns / math.tau)) * np.exp(1j * turns)
    reach = (turns[1] - turns[0]) / 3
    made = [
        Cubic(complex(a), complex(a + u * reach), complex(b - v * reach), complex(b))
        for (a, u), (b, v) in pairwise(zip(at, way, strict=True))
    ]
    return Path.of(made, closed=False)


def deviation(one: Path, other: Path) -> float:
    """Hausdorff distance both ways, from dense points of each to the other."""
    lines = [
        shapely.LineString(np.column_stack([p.real, p.imag]))
        for p in (one.flatten(FLAT), other.flatten(FLAT))
    ]
    return float(shapely.hausdorff_distance(*lines))


def kinks(path: Path) -> list[float]:
    """Turns in degrees at the joints that aren't corners."""
    joints = range(0 if path.closed else 1, len(path.segments))
    return [
        abs(turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)))
        for i in joints
        if i not in path.corners
    ]


def assert_a_good_fit(drawn: Path, fitted: Path, tolerance: float) -> None:
    assert deviation(drawn, fitted) <= tolerance + 2 * FLAT
    assert max(kinks(fitted), default=0.0) <= max([1.0, *(k + 1e-6 for k in kinks(drawn))])
    assert not any(isinstance(s, Cubic) for s in fitted.segments)
    assert set(drawn.corner_points()) <= set(fitted.corner_points())
    assert fitted.closed == drawn.closed
    for a, b in pairwise(fitted.segments):
        assert a.end == b.start
    if drawn.closed:
        assert fitted.end == fitted.start
    else:
        assert (fitted.start, fitted.end) == (drawn.start, drawn.end)


def allowed(drawn: Path, fitted: Path, tolerance: float) -> int:
    """The target: the greater of 1.1 x and one more per smooth run than the greedy bound."""
    runs = len(greedy.smooth_runs(drawn)) + len(fitted.corners) - len(drawn.corners)
    bound = greedy.count(drawn, tolerance)
    return max(int(1.1 * bound), bound + runs)


def test_the_greedy_bound_of_the_known_ellipse() -> None:
    # from another start of the walk it is one more
    assert greedy.count(ellipse(50, 30), 0.01) in (18, 19)
    assert greedy.count(ellipse(50, 30), 0.006) == 22


@pytest.mark.parametrize("tolerance", [0.01, 0.006])
@pytest.mark.parametrize(
    "drawn",
    [
        *(ellipse(a, b) for a, b in [(50, 30), (10, 2), (20, 4), (3, 2), (5, 4.9)]),
        blob(3, 20),
        blob(5, 20),
        blob(2, 3),
        spiral(2),
        spiral(6),
        through([0j, 4 + 3j, 9 + 2j, 10 + 7j, 5 + 9j, 1 + 12j, 3 + 17j, 9 + 16j], False),
    ],
    ids=lambda p: f"{p.length:.0f}mm" if isinstance(p, Path) else None,
)
def test_smooth_runs_take_few_arcs_without_kinks(drawn: Path, tolerance: float) -> None:
    fitted = fit_arcs(drawn, tolerance)
    assert_a_good_fit(drawn, fitted, tolerance)
    assert len(fitted.segments) <= allowed(drawn, fitted, tolerance)
    assert min(s.length() for s in fitted.segments) >= 0.05


@pytest.mark.parametrize(("a", "b"), [(100.0, 1.0), (1.0, 0.5), (40.0, 0.2)])
def test_sharp_ellipses_hold_too(a: float, b: float) -> None:
    drawn = ellipse(a, b)
    fitted = fit_arcs(drawn, 0.006)
    assert_a_good_fit(drawn, fitted, 0.006)
    # tips of about the tolerance's radius or less take up to three arcs more than the target
    assert len(fitted.segments) <= allowed(drawn, fitted, 0.006) + 3


def circle_of_cubics(radius: float, count: int) -> Path:
    reach = 4 / 3 * math.tan(math.pi / (2 * count)) * radius
    made = []
    for k in range(count):
        u, v = (cmath.rect(1.0, math.tau * (k + j) / count) for j in (0, 1))
        a, b = radius * u, radius * v
        made.append(Cubic(a, a + 1j * u * reach, b - 1j * v * reach, b))
    made[-1] = Cubic(made[-1].start, made[-1].control1, made[-1].control2, made[0].start)
    return Path.of(made, closed=True)


@pytest.mark.parametrize("count", [4, 8, 17])
@pytest.mark.parametrize("radius", [0.3, 5.0, 15.0])
def test_a_circle_becomes_three_arcs(radius: float, count: int) -> None:
    drawn = circle_of_cubics(radius, count)
    fitted = fit_arcs(drawn, 0.006)
    assert_a_good_fit(drawn, fitted, 0.006)
    assert len(fitted.segments) == 3
    assert max(kinks(fitted)) < 1e-6
    assert not fitted.reversed().corners


def test_a_circle_too_large_for_its_cubics_still_fits() -> None:
    # four cubics miss a circle by 2.7e-4 of its radius: 0.03 mm here
    drawn = circle_of_cubics(100.0, 4)
    assert_a_good_fit(drawn, fit_arcs(drawn, 0.006), 0.006)


@pytest.mark.parametrize("degrees", [20, 90, 119, 121, 200, 300])
def test_cubics_of_an_arc_become_the_fewest_arcs(degrees: float) -> None:
    arc = Arc(5 + 0j, 5 * cmath.rect(1, math.radians(degrees)), math.tan(math.radians(degrees) / 4))
    drawn = Path.of(arc.cubics(), closed=False)
    fitted = fit_arcs(drawn, 0.006)
    assert_a_good_fit(drawn, fitted, 0.006)
    assert len(fitted.segments) == math.ceil(degrees / 120)
    assert deviation(drawn, fitted) < 1e-4


def test_a_straight_cubic_becomes_one_line() -> None:
    drawn = Path.of([Cubic(0j, 3 + 4j, 4.5 + 6j, 6 + 8j)], closed=False)
    assert fit_arcs(drawn, 0.006).segments == (Line(0j, 6 + 8j),)


def test_lines_and_arcs_are_kept_and_cubics_between_them_meet_them_smoothly() -> None:
    kept = [Line(0j, 10 + 0j), Arc(16 + 4j, 8 + 12j, 0.5)]
    arc_way, arc_end = kept[1].tangent(0.0), kept[1].tangent(1.0)
    drawn = Path.of(
        [
            kept[0],
            Cubic(10 + 0j, 13 + 0j, 16 + 4j - 3 * arc_way, 16 + 4j),
            kept[1],
            Cubic(8 + 12j, 8 + 12j + 4 * arc_end, -6 + 0j, 0j),
        ],
        closed=True,
    )
    assert not drawn.corners
    fitted = fit_arcs(drawn, 0.006)
    assert_a_good_fit(drawn, fitted, 0.006)
    assert [s for s in fitted.segments if s in kept] == kept
    assert len(fitted.segments) - 2 <= allowed(drawn, fitted, 0.006)


def test_a_path_without_cubics_is_itself() -> None:
    drawn = Path.polygon([0j, 1 + 0j, 1j])
    assert fit_arcs(drawn, 0.006) is drawn


def test_a_closed_path_that_begins_within_a_run_is_turned_not_broken() -> None:
    corner = [Line(10 + 5j, 5 + 12j), Line(5 + 12j, 0 + 5j)]
    run = Cubic(5j, -4 - 3j, 14 - 3j, 10 + 5j).split(0.4)
    drawn = Path.of([run[1], *corner, run[0]], closed=True)
    fitted = fit_arcs(drawn, 0.006)
    assert_a_good_fit(drawn, fitted, 0.006)
    assert fitted.corners == {
        i for i, s in enumerate(fitted.segments) if s.start in drawn.corner_points()
    }
    assert len(fitted.segments) - 2 <= allowed(drawn, fitted, 0.006)


@pytest.mark.parametrize(
    ("cubic", "tip"),
    [
        (Cubic(0j, 10 + 10j, 0 + 10j, 10 + 0j), 5 + 7.5j),  # a cusp: B' = 0 at one half
        (Cubic(0j, 12 + 0j, -2 + 0j, 10 + 0j), None),  # straight, there, back, and there
        (Cubic(0j, 12 + 10j, -2 + 10j, 10 + 0j), None),  # a loop
        (Cubic(0j, 10.02 + 10j, -0.02 + 10j, 10 + 0j), None),  # a loop smaller than the tolerance
        (Cubic(0j, 9.9 + 10j, 0.1 + 10j, 10 + 0j), None),  # not quite a cusp
    ],
)
def test_cusps_and_loops(cubic: Cubic, tip: complex | None) -> None:
    drawn = Path.of([cubic], closed=False)
    fitted = fit_arcs(drawn, 0.01)
    assert_a_good_fit(drawn, fitted, 0.01)
    if tip is not None:
        assert fitted.corner_points() == pytest.approx((tip,), abs=1e-6)


def test_a_cubic_is_cut_where_it_turns_back() -> None:
    parts = cut_at_cusps(Cubic(0j, 12 + 0j, -2 + 0j, 10 + 0j), 0.01)
    assert len(parts) == 3
    assert sum(abs(p.end - p.start) for p in parts) == pytest.approx(
        Cubic(0j, 12 + 0j, -2 + 0j, 10 + 0j).length(), abs=1e-5
    )
    assert len(cut_at_cusps(Cubic(0j, 1 + 5j, 9 + 5j, 10 + 0j), 0.01)) == 1


@some
@given(st.lists(wild_cubics, min_size=1, max_size=3), st.sampled_from([0.02, 0.01, 0.006]))
def test_any_cubics_joined_anyhow(cubics: list[Cubic], tolerance: float) -> None:
    at, chain = 0j, []
    for c in cubics:
        shift = at - c.start
        moved = Cubic(at, c.control1 + shift, c.control2 + shift, c.end + shift)
        chain.append(moved)
        at = moved.end
    drawn = Path.of(chain, closed=False)
    assert_a_good_fit(drawn, fit_arcs(drawn, tolerance), tolerance)


@some
@given(st.lists(wild_cubics, min_size=2, max_size=4))
def test_corners_keep_the_directions_of_both_their_sides(cubics: list[Cubic]) -> None:
    spots = [c.start for c in cubics]
    chain = [
        Cubic(a, c.control1, c.control2, b)
        for c, a, b in zip(cubics, spots, spots[1:] + spots[:1], strict=True)
        if abs(a - b) > 0.1
    ]
    assume(len(chain) > 1)
    drawn = Path.of(chain, closed=False)
    (fit,) = fitted_many([drawn], 0.006)
    assert {fit.path.segments[k].start for k, _, _ in fit.corners} == set(drawn.corner_points())
    for k, before, after in fit.corners:
        came, goes = fit.path.segments[k - 1].tangent(1.0), fit.path.segments[k].tangent(0.0)
        assert abs(turn_degrees(before.tangent(1.0), came)) <= 0.52
        assert abs(turn_degrees(after.tangent(0.0), goes)) <= 0.52


@some
@given(
    st.lists(points, min_size=4, max_size=8).filter(
        lambda p: min(abs(a - b) for i, a in enumerate(p) for b in p[:i]) > 0.5
    ),
    st.sampled_from([0.01, 0.006]),
)
def test_any_spline_through_points(spots: list[complex], tolerance: float) -> None:
    drawn = through(spots, closed=True)
    assert_a_good_fit(drawn, fit_arcs(drawn, tolerance), tolerance)


@pytest.mark.parametrize("size", [0.02, 0.2, 1000.0])
def test_tiny_and_huge_drawings(size: float) -> None:
    drawn = ellipse(size, 0.6 * size)
    assert_a_good_fit(drawn, fit_arcs(drawn, 0.01), 0.01)


def test_many_small_cubics_do_not_make_many_arcs() -> None:
    whole = ellipse(50, 30).segments
    fine: list[Cubic] = []
    for c in whole:
        assert isinstance(c, Cubic)
        rest = c
        for k in range(12, 1, -1):
            first, rest = rest.split(1 / k)
            fine.append(first)
        fine.append(rest)
    fitted = fit_arcs(Path.of(fine, closed=True), 0.01)
    assert len(fitted.segments) <= 20
    assert max(kinks(fitted)) <= 1.0


def test_what_cannot_be_fitted_is_refused() -> None:
    drawn = ellipse(5, 3)
    for tolerance in (0.0, -1.0, math.nan):
        with pytest.raises(GeometryError):
            fit_arcs(drawn, tolerance)
    bad = Path((Cubic(0j, complex(math.nan, 0), 1j, 2j),), closed=False)
    with pytest.raises(GeometryError, match="finite"):
        fit_arcs(bad, 0.01)


def test_the_same_input_gives_the_same_arcs() -> None:
    assert fit_arcs(blob(3, 20), 0.006) == fit_arcs(blob(3, 20), 0.006)


def test_a_cubic_of_a_billionth_beside_a_large_one() -> None:
    large = Cubic(0j, 0j, -300 - 4400j, 600 - 6300j)
    end, hair = large.end, 1e-9
    tiny = Cubic(end, end + hair * (0.5 - 1j), end + hair * (0.1 + 0.1j), end + hair * (0.2 - 1j))
    for cubics in ([large, tiny], [tiny.reversed(), large.reversed()]):
        drawn = Path.of(cubics, closed=False)
        assert deviation(drawn, fit_arcs(drawn, 0.006)) <= 0.0061


def test_many_are_fitted_as_one_by_one_to_the_last_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batches, "BATCH", 7)
    wave = through([complex(3 * k, 2 * math.sin(k)) for k in range(9)], False)
    square = Path.polygon([0, 10, 10 + 10j, 10j])
    tip = Path.of([Cubic(0, 20 + 10j, -10 + 10j, 10)], False)
    straight = Path.of([Cubic(0, 3, 6, 9), Line(9, 9 + 5j)], False)
    paths = [ellipse(50, 30 + k) for k in range(6)] + [wave, square, tip, straight, ellipse(3, 1)]
    alone = tuple(fit_arcs(p, 0.01) for p in paths)
    assert alone[7] is square
    assert straight.segments[0] not in alone[9].segments
    for threads in (1, 2, 3):
        assert fit_many(paths, 0.01, threads) == alone
    assert fit_many([], 0.01) == ()


def test_one_bad_path_among_many_is_told() -> None:
    bad = Path((Cubic(0, complex(math.nan, 0), 2, 3),), False)
    with pytest.raises(GeometryError):
        fit_many([ellipse(5, 3), bad], 0.01, threads=2)
