"""A table in words: made once, shown at a terminal and on the operator's sheet."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WordTable:
    """title: what it shows.  right: columns of numbers.  A cell may have several lines."""

    title: str
    columns: tuple[str, ...]
    right: frozenset[str]
    rows: tuple[tuple[str, ...], ...]
