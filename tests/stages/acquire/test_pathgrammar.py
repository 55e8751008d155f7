"""Path data against the grammar and against two other readers."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
import svgelements
import svgpathtools
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.stages.acquire.curves import mapped
from foamwright.stages.acquire.pathgrammar import decimals, parse


def segments(d: str) -> list[Segment]:
    found = parse(d)
    assert found.error == ""
    return [s for sub in found.subpaths for s in mapped(sub.segments, IDENTITY)]


def ends(d: str) -> list[complex]:
    return [s.end for s in segments(d)]


@pytest.mark.parametrize(
    ("d", "expected"),
    [
        ("M10-20L5.5.5-.5e1.5", [5.5 + 0.5j, -5 + 0.5j]),
        ("M0 0 1 1 2 0", [1 + 1j, 2 + 0j]),
        ("m1 1 1 1 1-1", [2 + 2j, 3 + 1j]),
        ("M0,0H1 2V3-4", [1 + 0j, 2 + 0j, 2 + 3j, 2 - 4j]),
        ("M0 0\n\tL\r1 ,\f2", [1 + 2j]),
        ("M1 1 h1 v1 z l5 0", [2 + 1j, 2 + 2j, 6 + 1j]),
        ("M1 1 h1 z m1 1 h1", [2 + 1j, 3 + 2j]),
        ("M0 0 +1 +2", [1 + 2j]),
        ("M0 0L1.,2.", [1 + 2j]),
        ("M0 0C1 1 2 1 3 0S5-1 6 0", [3 + 0j, 6 + 0j]),
        ("", []),
        ("  \n", []),
    ],
)
def test_grammar(d: str, expected: list[complex]) -> None:
    assert ends(d) == pytest.approx(expected)


def test_compact_arc_flags() -> None:
    d = "M0 0a1 1 0 01.5.5 1 1 0 1010 3"
    assert ends(d)[0] == 0.5 + 0.5j
    assert ends(d)[-1] == 10.5 + 3.5j


@pytest.mark.parametrize(
    ("d", "drawn", "character"),
    [
        ("M105", 0, 2),
        ("M0 0L5", 0, 6),
        ("M0 0L5 5,", 1, 9),
        ("M0 0,L5 5", 0, 5),
        ("M,0 0", 0, 2),
        ("M0 0Z5", 0, 6),
        ("M0 0L1 1;L2 2", 1, 9),
        ("M0 0A1 1 0 2 0 3 3", 0, 6),
        ("M0 0L1 1 NaN 2", 1, 9),
        ("M0 0L1 1 1e999 2", 1, 10),
        ("M0 0L١ 1", 0, 6),
    ],
)
def test_errors_have_their_place(d: str, drawn: int, character: int) -> None:
    found = parse(d)
    assert f"character {character}," in found.error
    assert sum(len(s.segments) for s in found.subpaths) == drawn


def test_smooth_curves_reflect_only_after_their_own_kind() -> None:
    after_cubic = segments("M0 0C0 5 5 5 5 0T10 0")[1]
    assert isinstance(after_cubic, Cubic)
    assert after_cubic.control1 == 5
    after_quadratic = segments("M0 0Q5 5 10 0S15 5 20 0")[1]
    assert isinstance(after_quadratic, Cubic)
    assert after_quadratic.control1 == 10
    chain = segments("M0 0Q5 6 10 0T20 0")[1]
    assert isinstance(chain, Cubic)
    assert chain.control1 == pytest.approx(10 + 5 * 2 / 3 - 4j)


def test_arcs_by_the_appendix() -> None:
    """SVG 1.1 F.6.6: no radius is a line, equal ends are nothing, small radii grow."""
    assert segments("M0 0A0 5 0 0 1 9 0") == [Line(0j, 9 + 0j)]
    assert segments("M0 0A5 5 0 0 1 0 0") == []
    grown = segments("M0 0A1 1 0 0 1 10 0")
    assert math.fsum(s.length() for s in grown) == pytest.approx(5 * math.pi)
    assert segments("M0 0A-5-5 0 0 1 10 0") == segments("M0 0A5 5 0 0 1 10 0")


def test_decimals() -> None:
    assert decimals("M1.25.5L3.125 7") == 3
    assert decimals("M1 2L3 4") == 0


# against other readers

numbers = st.integers(-9999, 9999).map(lambda n: n / 100)
radii = st.integers(1, 5000).map(lambda n: n / 100)
flags = st.sampled_from("01")


def words(*kinds: st.SearchStrategy[object]) -> st.SearchStrategy[str]:
    return st.tuples(*kinds).map(lambda v: " ".join(str(x) for x in v))


COMMANDS = st.one_of(
    *(
        st.tuples(st.sampled_from(letters), arguments).map(lambda p: p[0] + p[1])
        for letters, arguments in [
            ("Ll", words(numbers, numbers)),
            ("Hh", words(numbers)),
            ("Vv", words(numbers)),
            ("Cc", words(*[numbers] * 6)),
            ("Qq", words(*[numbers] * 4)),
            ("Aa", words(radii, radii, st.integers(-90, 90), flags, flags, numbers, numbers)),
        ]
    ),
)
PATHS = st.lists(COMMANDS, min_size=1, max_size=6).map(lambda c: "M3 7 " + " ".join(c))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(PATHS)
def test_the_same_curves_as_the_element_library(d: str) -> None:
    ours = [s for s in segments(d) if s.length() > 0]
    assume(ours)
    theirs = svgelements.Path(d)
    assert ours[-1].end == pytest.approx(complex(theirs.current_point), abs=1e-9)
    boxes = [s.bounds() for s in ours]
    low_x, low_y = (min(b[k] for b in boxes) for k in (0, 1))
    high_x, high_y = (max(b[k] for b in boxes) for k in (2, 3))
    assert (low_x, low_y, high_x, high_y) == pytest.approx(theirs.bbox(), rel=1e-6, abs=1e-5)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(PATHS)
def test_the_same_lengths_as_a_path_library(d: str) -> None:
    ours = math.fsum(s.length() for s in segments(d))
    try:
        theirs = svgpathtools.parse_path(d)
    except AssertionError:  # it does not take an arc whose ends are one
        assume(False)
    with np.errstate(invalid="ignore", divide="ignore"):
        expected = math.fsum(s.length(error=1e-7) for s in theirs)
    assume(math.isfinite(expected))  # it has no length of a quadratic that runs back on itself
    assert ours == pytest.approx(expected, rel=1e-5, abs=1e-5)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    words(radii, radii, st.integers(-90, 90), flags, flags, numbers, numbers),
    st.floats(-180, 180),
    st.floats(-60, 60),
)
def test_arcs_lie_on_their_ellipse_under_any_map(a: str, turn: float, skew: float) -> None:
    """Every point of the mapped arc, mapped back, is at distance 1 in the ellipse's own frame."""
    m = Affine.rotation(turn) @ Affine(c=math.tan(math.radians(skew))) @ Affine.scaling(2, 0.7)
    drawn = parse(f"M0 0A{a}").subpaths[0].segments
    if not drawn or isinstance(drawn[0], Line):
        return
    back = drawn[0].frame.inverse() @ m.inverse()  # type: ignore[union-attr]
    for s in mapped(drawn, m):
        for t in (0.0, 0.3, 0.5, 0.9, 1.0):
            assert abs(back(s.point(t))) == pytest.approx(1, abs=2e-7)


@given(radii, st.floats(-360, 360), st.floats(0.01, 100), st.booleans())
@settings(max_examples=150, deadline=None, derandomize=True)
def test_circular_arcs_stay_exact_under_similarities(
    r: float, turn: float, scale: float, mirror: bool
) -> None:
    m = Affine.rotation(turn) @ Affine.scaling(-scale if mirror else scale, scale)
    chord = 1.2 * r
    made = mapped(parse(f"M0 0A{r} {r} 0 1 1 {chord} 0").subpaths[0].segments, m)
    assert all(isinstance(s, Arc) for s in made)
    sweep = 2 * math.pi - 2 * math.asin(0.6)
    assert math.fsum(s.length() for s in made) == pytest.approx(r * scale * sweep, rel=1e-9)
    assert made[-1].end == pytest.approx(m(complex(chord, 0)))
    assert cmath.isfinite(made[0].end)
