"""Where each key of a TOML text stands: an index from key path to line, and the nearest known key.

A key path is a tuple of keys and list positions, as `("piece", 0, "notch", 1, "depth")`.
The text must be valid TOML (parsed before by `tomllib`); this does not check it, and gives no
values.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterable
from typing import TypeAlias

Key: TypeAlias = str | int
KeyPath: TypeAlias = tuple[Key, ...]

_GAP = re.compile(r"(?:[\s,]++|#[^\n]*+)*+")
_BLANK = re.compile(r"[ \t]*+")
_BARE = re.compile(r"[A-Za-z0-9_-]++")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")'
    r"|'''.*?'{3,5}(?!')"
    r'|"(?:[^"\\\n]++|\\.)*+"'
    r"|'[^'\n]*+'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\n]++")


def index_lines(text: str) -> dict[KeyPath, int]:
    """The line, counted from 1, of each key, table and list item of a valid TOML text."""
    return _Scanner(text).scan()


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like this one, or None where none is like it."""
    by_fold = {k.casefold(): k for k in known}
    found = difflib.get_close_matches(word.casefold(), by_fold, n=1, cutoff=0.6)
    return by_fold[found[0]] if found else None


class _Scanner:
    """Walks the text once; `lines` grows, `arrays` counts the tables of each `[[array]]`."""

    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.pos = 0
        self.breaks = [m.start() for m in re.finditer("\n", self.text)]
        self.lines: dict[KeyPath, int] = {}
        self.arrays: dict[KeyPath, int] = {}

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_GAP)
        while self.pos < len(self.text):
            table = self._header() if self.text[self.pos] == "[" else self._pair(table)
            self._skip(_GAP)
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.pos)
        if found is None:
            raise ValueError(f"not TOML at character {self.pos}")
        self.pos = found.end()
        return found.group()

    def _note(self, path: KeyPath, start: int) -> None:
        """Gives the path, and what it lies in where that has none yet, the line of `start`."""
        line = bisect_right(self.breaks, start - 1) + 1 if start else 1
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                break
            self.lines[path[:end]] = line

    def _header(self) -> KeyPath:
        start = self.pos
        brackets = 2 if self.text.startswith("[[", start) else 1
        self.pos += brackets
        keys = self._dotted_key()
        self.pos += brackets
        path: KeyPath = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            if brackets == 2 and number == len(keys) - 1:
                self.arrays[path] = self.arrays.get(path, -1) + 1
            if path in self.arrays:
                path = (*path, self.arrays[path])
        self._note(path, start)
        return path

    def _pair(self, table: KeyPath) -> KeyPath:
        start = self.pos
        path = (*table, *self._dotted_key())
        self.pos += 1  # the equals sign
        self._skip(_BLANK)
        self._note(path, start)
        self._value(path)
        return table

    def _dotted_key(self) -> tuple[str, ...]:
        keys = []
        while True:
            self._skip(_BLANK)
            keys.append(self._key())
            self._skip(_BLANK)
            if not self.text.startswith(".", self.pos):
                return tuple(keys)
            self.pos += 1

    def _key(self) -> str:
        if self.text[self.pos] in "\"'":
            return str(tomllib.loads(f"key = {self._skip(_STRING)}")["key"])
        return self._skip(_BARE)

    def _value(self, path: KeyPath) -> None:
        opening = self.text[self.pos]
        if opening in "\"'":
            self._skip(_STRING)
        elif opening not in "[{":
            self._skip(_SCALAR)
        else:
            self._nested(path, "]" if opening == "[" else "}")

    def _nested(self, path: KeyPath, closing: str) -> None:
        self.pos += 1
        item = 0
        self._skip(_GAP)
        while self.text[self.pos] != closing:
            if closing == "}":
                self._pair(path)
            else:
                self._note((*path, item), self.pos)
                self._value((*path, item))
                item += 1
            self._skip(_GAP)
        self.pos += 1
