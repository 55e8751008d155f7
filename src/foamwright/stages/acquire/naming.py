"""Names of pieces and of what is in them: from ids, titles and groups, made unique and harmless.

An id that a drawing program numbered by itself (`path123`) counts only where nothing better is
there.  A group names the piece whose outline it alone encloses.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from foamwright.stages.acquire.shapes import Shape, role_of

#: The longest name kept.
LONGEST = 80

_NUMBERED = re.compile(
    r"(?:path|rect|circle|ellipse|polygon|polyline|line|g|svg|layer|use|shape|object|group|"
    r"xmlid_|svgid_|_)[-_]?\d+(?:[-_]\d+)*_?",
    re.IGNORECASE,
)


def harmless(name: str) -> str:
    """Printable, one line, no path separators, at most LONGEST characters."""
    plain = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in name)
    return " ".join(plain.replace("/", "-").replace("\\", "-").split())[:LONGEST]


def tells(name: str) -> bool:
    """A name that a person gave: not a role's word, not a program's number."""
    return bool(harmless(name)) and role_of(name) is None and not _NUMBERED.fullmatch(name)


class Unique:
    """Hands out each name once: `toe`, `toe-2`, `toe-3`."""

    def __init__(self) -> None:
        self._taken: set[str] = set()
        self._counts: dict[str, int] = {}

    def __call__(self, wanted: str) -> str:
        if wanted.casefold() in self._taken:
            return self.numbered(wanted, 2)
        self._taken.add(wanted.casefold())
        return wanted

    def numbered(self, wanted: str, first: int = 1) -> str:
        """The name with the first free number."""
        count = self._counts.get(wanted.casefold(), first)
        while (name := f"{wanted}-{count}").casefold() in self._taken:
            count += 1
        self._counts[wanted.casefold()] = count + 1
        self._taken.add(name.casefold())
        return name


def piece_names(outlines: Sequence[Shape]) -> list[str]:
    """A name for each outer outline; where several would share one, all of them are numbered."""
    owners = _owners(outlines)
    wanted = [_piece_name(s, owners) for s in outlines]
    shared = Counter(w.casefold() for w in wanted)
    unique = Unique()
    for w in wanted:
        if shared[w.casefold()] == 1:
            unique(w)
    return [w if shared[w.casefold()] == 1 else unique.numbered(w) for w in wanted]


def _owners(outlines: Iterable[Shape]) -> dict[str, int]:
    """How many outlines each group name encloses."""
    counts: dict[str, int] = {}
    for s in outlines:
        for g in set(s.groups):
            counts[g] = counts.get(g, 0) + 1
    return counts


def _piece_name(s: Shape, owners: Mapping[str, int]) -> str:
    groups = [g for g in reversed(s.groups) if tells(g)]
    own = [n for n in (s.id, s.title) if tells(n)]
    alone = [g for g in groups if owners[g] == 1]
    rest = [s.id] if s.id and role_of(s.id) is None else []
    for name in (*own, *alone, *groups, *rest):
        if harmless(name):
            return harmless(name)
    return "piece"


def part_name(s: Shape, around: Sequence[str], default: str) -> str:
    """The name of an opening, slit, mark or point: its own, else that of a group of its own."""
    inner = [g for g in reversed(s.groups) if tells(g) and g not in around]
    for name in (s.id if tells(s.id) else "", s.title if tells(s.title) else "", *inner, s.id):
        if harmless(name) and role_of(name) is None:
            return harmless(name)
    return default


def aliases(outlines: Sequence[Shape], names: Sequence[str]) -> dict[str, str]:
    """Ids, titles and group names that mean exactly one piece, each with that piece's name."""
    meant: dict[str, set[str]] = {}
    for s, name in zip(outlines, names, strict=True):
        for alias in {s.id, s.title, *s.groups} - {""}:
            meant.setdefault(alias, set()).add(name)
    found = {a: next(iter(n)) for a, n in sorted(meant.items()) if len(n) == 1}
    return found | {n: n for n in names}
