"""What changed in the profiles since a job was last cut, value by value.

Two cuts of one job differ where a profile was measured, edited or updated in between; the record of
the last cut has every value that it used.  Names that tell nothing of a cut are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from foamwright.record import ProfileEntry, ValueEntry

#: Keys that say how a profile is written, or how the values beside them are known.
_NOT_VALUES = frozenset({"schema", "based_on", "lineage", "basis", "bases", "source"})
#: Keys of a cut that name what it is for, and have no basis.
_NAMES = frozenset({"method", "machine", "tool", "operation"})


@dataclass(frozen=True, slots=True)
class Change:
    """A value that is another now. was, now: in words with their basis; empty: there is none.

    origin: where the present one comes from, the former one's where there is none.
    """

    profile: str
    key: str
    was: str
    now: str
    origin: str


def changes(before: Sequence[ProfileEntry], now: Sequence[ProfileEntry]) -> tuple[Change, ...]:
    """Every value of profiles in both that changed, in the order of the present ones."""
    known = _by_aim(before)
    found: list[Change] = []
    for aim, entry in _by_aim(now).items():
        if aim in known:
            found.extend(_changed(aim, known[aim], entry))
    return tuple(found)


def _by_aim(entries: Iterable[ProfileEntry]) -> dict[tuple[str, ...], ProfileEntry]:
    """Each entry by its profile and, of a material, the method that it was used with."""
    found: dict[tuple[str, ...], ProfileEntry] = {}
    for entry in entries:
        method = next((str(v.value) for v in entry.values if v.key == "cut.method"), "")
        aim: tuple[str, ...] = (entry.kind, entry.id, method)
        while aim in found:  # two machines of one method: told apart by their order
            aim = (*aim, "next")
        found[aim] = entry
    return found


def _changed(aim: Sequence[str], before: ProfileEntry, now: ProfileEntry) -> Iterator[Change]:
    was, are = (_plain(e) for e in (before, now))
    for key in dict.fromkeys((*are, *was)):
        if key.rpartition(".")[2] in _NOT_VALUES:
            continue
        old, new = (_words(key, told) for told in (was, are))
        if old != new:
            origin = (are.get(key) or was[key]).origin
            yield Change(f"{aim[0]} {aim[1]}", key, old, new, origin)


def _plain(entry: ProfileEntry) -> dict[str, ValueEntry]:
    return {v.key: v for v in entry.values if v.value not in (None, [], {})}


def _words(key: str, told: Mapping[str, ValueEntry]) -> str:
    """The value and, where it isn't a default, how it is known; empty where there is none."""
    entry = told.get(key)
    if entry is None:
        return ""
    head = f"{key.partition('.')[0]}." if "." in key else ""
    bases = told[f"{head}bases"].value if f"{head}bases" in told else {}
    basis = told[f"{head}basis"].value if f"{head}basis" in told else ""
    known = bases.get(key.removeprefix(head), basis) if isinstance(bases, Mapping) else basis
    said = _said(entry.value)
    plain = entry.origin == "default" or not head or key.removeprefix(head) in _NAMES
    return said if plain or not known else f"{said} ({known})"


def _said(value: Any) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(_said(v) for v in value)
    if isinstance(value, Mapping):
        return " ".join(f"{k} {_said(v)}" for k, v in value.items())
    return f"{value:g}" if isinstance(value, float) else str(value)
