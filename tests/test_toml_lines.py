"""The index from key path to line."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.toml_lines import KeyPath, index_lines, nearest

TEXT = '''\
top = 1  # [not] a = "table"
"quoted.key" = "a # b"

[job]
name = """
two
lines""" # done
a.b.c = 1979-05-27 07:32:00
[[piece]]
size = [1, # one
  2, { x = 1, y.z = 'p]' },
]
[[piece.notch]]
at = "50 %"
[[piece.notch]]
at = \'\'\'it''s\'\'\'
[piece.allowance]
default = 3
[[piece]]
[[piece.notch]]
at = "\\"]"
'''

LINES: dict[KeyPath, int] = {
    ("top",): 1,
    ("quoted.key",): 2,
    ("job",): 4,
    ("job", "name"): 5,
    ("job", "a", "b", "c"): 8,
    ("piece", 0): 9,
    ("piece", 0, "size"): 10,
    ("piece", 0, "size", 0): 10,
    ("piece", 0, "size", 1): 11,
    ("piece", 0, "size", 2, "y", "z"): 11,
    ("piece", 0, "notch", 0, "at"): 14,
    ("piece", 0, "notch", 1, "at"): 16,
    ("piece", 0, "allowance", "default"): 18,
    ("piece", 1): 19,
    ("piece", 1, "notch", 0, "at"): 21,
}


@pytest.mark.parametrize("path", LINES, ids=str)
def test_lines(path: KeyPath) -> None:
    assert index_lines(TEXT)[path] == LINES[path]


def _paths(data: Any, path: KeyPath = ()) -> set[KeyPath]:
    found = {path} if path else set()
    if isinstance(data, dict):
        for key, value in data.items():
            found |= _paths(value, (*path, key))
    elif isinstance(data, list):
        for number, value in enumerate(data):
            found |= _paths(value, (*path, number))
    return found


def test_every_path_of_the_data_has_a_line_and_no_other_has() -> None:
    assert set(index_lines(TEXT)) == _paths(tomllib.loads(TEXT))


def test_windows_line_ends_count_once() -> None:
    text = TEXT.replace("\n", "\r\n")
    assert index_lines(text) == index_lines(TEXT)


KEYS = st.from_regex(r"[a-z]{1,3}", fullmatch=True)
SCALARS = st.one_of(
    st.integers(-9, 9).map(str),
    st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=6).map(
        lambda s: '"' + s.replace("\\", "\\\\").replace('"', '\\"') + '"'
    ),
    st.sampled_from(["true", "'# [x] = '", "1.5", '"""\n""quotes"" \n"""', "'''\n}'''"]),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda v: "[\n" + ",\n".join(v) + "]"),
        st.dictionaries(KEYS, inner, max_size=3).map(
            lambda d: "{" + ", ".join(f"{k} = {v}" for k, v in d.items()) + "}"
        ),
    ),
    max_leaves=6,
)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_random_files_are_indexed_in_full(values: dict[str, str]) -> None:
    text = "".join(f"{k} = {v}\n" for k, v in values.items())
    lines = index_lines(text)
    assert set(lines) == _paths(tomllib.loads(text))
    rows = text.split("\n")
    for key in values:
        assert rows[lines[(key,)] - 1].startswith(f"{key} = ")


def test_nearest_known_word() -> None:
    assert nearest("allowanc", ["allowance", "outline"]) == "allowance"
    assert nearest("Material", ["material"]) == "material"
    assert nearest("zebra", ["allowance", "outline"]) is None
