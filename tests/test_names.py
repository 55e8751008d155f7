"""The rule that makes file and layer names."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.names import LONGEST, RESERVED, distinct_names, safe_name


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Heron legs", "Heron-legs"),
        ("../../etc/passwd", "etc-passwd"),
        ("Fuß é", "Fu-e"),
        ("CON", "CON-1"),
        ("a\nb", "a-b"),
        ("<img src=x>", "img-src-x"),
    ],
)
def test_names(text: str, name: str) -> None:
    assert safe_name(text) == name


def test_names_without_a_usable_letter_differ() -> None:
    left, right = safe_name("左"), safe_name("右")
    assert left != right
    assert re.fullmatch(r"x[0-9a-f]{8}", left)


@settings(derandomize=True, deadline=None)
@given(st.lists(st.text(max_size=80), max_size=8))
def test_distinct_names_are_safe_and_differ_without_case(texts: list[str]) -> None:
    names = distinct_names(texts)
    assert len({n.lower() for n in names}) == len(texts)
    for name in names:
        assert re.fullmatch(r"[A-Za-z0-9_-]+", name)
        assert name.lower() not in RESERVED
        assert len(name) <= LONGEST + 6
