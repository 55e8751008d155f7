"""Lengths, speeds and accelerations as people write them."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.units import MM, parse_length, parse_rate, unit_size


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12.7 mm", 12.7),
        ("12.7mm", 12.7),
        ("1/2 in", 12.7),
        ("4 1/2 in", 114.3),
        ('5½"', 139.7),
        ("½ in", 12.7),
        ("-4 1/2 in", -114.3),
        ("2 cm", 20.0),
        (".5in", 12.7),
        ("1e2 mm", 100.0),
        ("1 ft", 304.8),
        ("96 px", 25.4),  # CSS: an inch has 96
        ("72 pt", 25.4),
        ("6 pc", 25.4),
        ("3″", 76.2),
    ],
)
def test_lengths_with_units(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize(
    ("value", "bare", "mm"), [(2, "in", 50.8), ("2", "cm", 20.0), (3.5, "mm", 3.5)]
)
def test_a_bare_number_takes_the_unit_given(value: float | str, bare: str, mm: float) -> None:
    assert parse_length(value, bare) == pytest.approx(mm)


def test_a_unit_written_goes_before_the_bare_one() -> None:
    assert parse_length("2 mm", "in") == 2.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is not a length"),
        ("wide", "is not a length"),
        ("4 furlongs", "unknown unit"),
        ("1/0 in", "divides by nought"),
        ("12", "has no unit"),
        ("1e999 mm", "finite"),
        ("1/2/3 in", "is not a length"),
        ("nan mm", "is not a length"),
        (float("nan"), "has no unit"),
        (True, "not true or false"),
        ("9" * 400 + "/7 mm", "finite"),
    ],
)
def test_what_is_no_length_is_told(text: str | float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_length(text)


def test_a_number_that_is_not_finite_is_refused_in_any_unit() -> None:
    for value in (float("nan"), float("inf"), 1e308):
        with pytest.raises(ValueError, match="finite"):
            parse_length(value, "m")


@settings(derandomize=True, deadline=None)
@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(MM)))
def test_a_length_survives_being_written(value: float, unit: str) -> None:
    assert parse_length(f"{value!r} {unit}") == pytest.approx(value * MM[unit], rel=1e-12)


@settings(derandomize=True, deadline=None)
@given(st.text(max_size=12))
def test_any_text_is_a_finite_length_or_a_value_error(text: str) -> None:
    with contextlib.suppress(ValueError):
        assert math.isfinite(parse_length(text, "mm"))


@pytest.mark.parametrize(
    ("text", "order", "rate"),
    [
        ("60 mm/s", 1, 60.0),
        ("2 in/s", 1, 50.8),
        ("3 m/min", 1, 50.0),
        ("1/2 in/s", 1, 12.7),
        ("2000 mm/s2", 2, 2000.0),
        ("2 m/s²", 2, 2000.0),
        ("1 in/s2", 2, 25.4),
        ("3600 mm/min2", 2, 1.0),
    ],
)
def test_rates(text: str, order: int, rate: float) -> None:
    assert parse_rate(text, order) == pytest.approx(rate)


@pytest.mark.parametrize(
    ("text", "order"), [("60 mm", 1), ("60 mm/s", 2), ("60 mm/s2", 1), ("60 mm/h", 1), ("60 /s", 1)]
)
def test_what_is_no_rate_is_told(text: str, order: int) -> None:
    with pytest.raises(ValueError, match=r"is not a rate|has no unit"):
        parse_rate(text, order)


def test_units_by_their_other_names() -> None:
    assert unit_size('"') == unit_size("inches") == 25.4
    with pytest.raises(ValueError, match="unknown unit 'ell'"):
        unit_size("ell")
