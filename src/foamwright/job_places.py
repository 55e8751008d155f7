"""Where in the job file the cause of a finding stands: its line, put before what was found.

Stages know pieces, notches and seams by name; only the file knows their lines.
Does not judge anything.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from foamwright.findings import Finding, Refused
from foamwright.job_checks import tables
from foamwright.strict_toml import Source, read_toml
from foamwright.toml_lines import KeyPath

#: Rooms whose findings a job file causes; of the layout's, a piece that fits nowhere.
_ROOMS = "AJ"
_ALSO = frozenset({"L401"})
#: `notch-2` of a piece is the second of its [[piece.notch]].
_NUMBERED = re.compile(r"(notch|relief|bevel|mark|spread|dart)-(\d+)$")


def locator(file: Path) -> Callable[[Finding], Finding]:
    """What puts a job file's line before a finding's place, where the file can be read."""
    try:
        source = read_toml(file)
    except Refused:
        return lambda finding: finding
    return lambda finding: located(finding, source)


def located(finding: Finding, source: Source) -> Finding:
    """The finding with the line of its key, or as it was where the file has none."""
    told = finding.where == source.name or finding.where.startswith(f"{source.name} ")
    if told or not (finding.code[0] in _ROOMS or finding.code in _ALSO):
        return finding
    path = _path(finding, source.data)
    line = source.line(path) if path else None
    if line is None:
        return finding
    return replace(finding, where=f"{source.name} line {line}, {finding.where}")


def _path(finding: Finding, data: Mapping[str, Any]) -> KeyPath:
    """The key that the finding is about, or that of the table that holds it; () for none."""
    kind, _, name = finding.where.partition(" ")
    if kind in ("material", "machine"):
        return next(_using(kind, name, data), ())
    if kind == "stock":
        return next(_stock(name, data), ())
    if kind in ("seam", "size", "registration"):
        held = [n for n in _names(kind, data) if name == n or name.startswith(f"{n} ")]
        return _table(kind, max(held, key=len, default=""), data)
    piece = _piece_of(finding.piece.partition("/")[0] or kind, data)
    if not piece:
        return ()
    rest = finding.where.removeprefix(finding.piece or kind).split()
    return (*_table("piece", piece, data), *(_part(rest) if rest else ()))


def _part(words: list[str]) -> KeyPath:
    numbered = _NUMBERED.match(words[0])
    if numbered:
        return numbered[1], int(numbered[2]) - 1
    if words[0] == "edge":
        return ("edges", *words[1:2])
    return tuple(words[0].split("."))


def _using(kind: str, name: str, data: Mapping[str, Any]) -> Iterator[KeyPath]:
    """The keys that name a material or machine."""
    for path, piece in tables(data, "piece"):
        if piece.get(kind) == name:
            yield (*path, kind)
    head = data.get("job")
    if isinstance(head, Mapping) and head.get(kind) == name:
        yield "job", kind


def _stock(name: str, data: Mapping[str, Any]) -> Iterator[KeyPath]:
    """The stock of that name, or of that material."""
    for key in ("name", "material"):
        yield from ((*path, key) for path, s in tables(data, "stock") if s.get(key) == name)


def _names(kind: str, data: Mapping[str, Any]) -> list[str]:
    return [str(item.get("name")) for _, item in tables(data, kind)]


def _table(kind: str, name: str, data: Mapping[str, Any]) -> KeyPath:
    found = (path for path, item in tables(data, kind) if item.get("name") == name)
    return next(found, ())


def _piece_of(name: str, data: Mapping[str, Any]) -> str:
    """The piece's name in the file; at several sizes it is followed by the size's."""
    names = _names("piece", data)
    ends = ["", *(f"-{size}" for size in _names("size", data))]
    return next((n for end in ends for n in names if f"{n}{end}" == name), "")
