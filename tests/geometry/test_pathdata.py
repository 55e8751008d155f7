"""Path data: what is written is read back; anything else is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from svgpathtools import parse_path

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import number, parse_path_data, split_wide_arcs, to_path_data
from foamwright.geometry.segments import Arc, Cubic, Line

some = settings(max_examples=60, deadline=None, derandomize=True)
spots = st.tuples(st.integers(-500, 500), st.integers(-500, 500)).map(lambda v: complex(*v) / 8)


def shape(spot: list[complex], bulge: float) -> Path:
    a, b, c, d = spot
    return Path.of(
        [Line(a, b), Arc(b, c, bulge), Cubic(c, c + 3j, d - 2, d), Line(d, a)], closed=True
    )


@some
@given(
    st.lists(spots, min_size=4, max_size=4, unique=True),
    st.floats(-3, 3).filter(lambda b: abs(b) > 1e-3),
)
def test_what_is_written_reads_back(spot: list[complex], bulge: float) -> None:
    drawn = split_wide_arcs(shape(spot, bulge))
    (again,) = parse_path_data(to_path_data(drawn, None))
    assert len(again.segments) == len(drawn.segments)
    for a, b in zip(drawn.segments, again.segments, strict=True):
        assert (a.start, a.end) == (b.start, b.end)
        assert b.point(0.5) == pytest.approx(a.point(0.5), abs=1e-6)
    assert again.closed
    (rounded,) = parse_path_data(to_path_data(drawn))
    assert rounded.length == pytest.approx(drawn.length, abs=1e-3)


@some
@given(st.floats(-1.7, 1.7).filter(lambda b: abs(b) > 1e-3))
def test_a_second_library_reads_the_same_curve(bulge: float) -> None:
    drawn = shape([0j, 10 + 0j, 14 + 9j, 2 + 12j], bulge)
    other = parse_path(to_path_data(drawn, 9))
    assert other.length(error=1e-6) == pytest.approx(drawn.length, rel=1e-4)
    x0, y0, x1, y1 = drawn.bounds
    assert other.bbox() == pytest.approx((x0, x1, y0, y1), abs=1e-4)


def test_wide_arcs_are_split_and_corners_stay() -> None:
    drawn = Path.of([Arc(1 + 0j, -1j, math.tan(3 * math.pi / 8)), Line(-1j, 1 + 0j)], True)
    parts = split_wide_arcs(drawn)
    assert len(parts.segments) == 4
    assert parts.corner_points() == drawn.corner_points()
    assert max(abs(s.sweep) for s in parts.segments if isinstance(s, Arc)) <= math.radians(120.001)
    assert parts.area == pytest.approx(drawn.area)


@pytest.mark.parametrize(
    ("value", "text"),
    [(1.5, "1.5"), (-0.0, "0"), (-1e-9, "0"), (1e7, "10000000"), (2.1234567, "2.123457")],
)
def test_numbers_are_plain(value: float, text: str) -> None:
    assert number(value, 6) == text


def test_open_and_several_paths() -> None:
    found = parse_path_data("M0 0 L1 0 M5 5 L6 5 L6 6 Z")
    assert [p.closed for p in found] == [False, True]
    assert found[1].area == pytest.approx(0.5)
    assert parse_path_data("") == ()


@pytest.mark.parametrize(
    "text",
    [
        "L1 1",
        "M0 0 L1",
        "M0 0 Q1 1 2 2",
        "m0 0 l1 1",
        "M0 0 L1 x",
        "M0 0 L1e999 0",
        "M0 0 Lnan 0",
        "M0 0 1 1",
        "M0 0 A5 4 0 0 1 1 1",
        "M0 0 A5 5 0 1 1 1 1",
        "M0 0 A5 5 30 0 1 1 1",
        "M0 0 A1 1 0 0 1 9 0",
        "M0 0 A-1 -1 0 0 1 1 0",
        "M0 0 L0 0 Z",
        "M0 0 L1 0 Z L2 2",
        "M0 0",
        "M0 0 M1 1 L2 2",
    ],
)
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(GeometryError):
        parse_path_data(text)


def test_no_line_is_written_between_points_that_the_decimals_make_one() -> None:
    path = Path.polygon([0, 1, 1 + 1e-9j, 1 + 1j])
    assert to_path_data(path) == "M0 0 L1 0 L1 1 Z"
    assert to_path_data(path, None).count("L") == 3
