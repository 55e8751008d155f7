"""What a job's keys for stock and for laying pieces must agree on between each other.

Works on the file's plain data, as `job_checks.py` does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from foamwright.findings import Finding
from foamwright.job_pattern_checks import near
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import KeyPath

#: Copies that one `at` can place.
ONE = 1


def lay_checks(source: Source, path: KeyPath, piece: Mapping[str, Any]) -> Iterator[Finding]:
    """A pinned place is for one copy; an angle is no list of turns; a pair has two sides."""
    lay = piece.get("lay")
    if not isinstance(lay, Mapping):
        return
    at = (*path, "lay")
    if "angle" in lay and "turns" in lay:
        yield source.fault("J509", (*at, "turns"), "stands beside angle", "keep one of the two")
    counts = [piece.get("count", 1), piece.get("mirrored", 0)]
    plain = all(isinstance(c, int) and not isinstance(c, bool) for c in counts)
    if "at" in lay and plain and sum(counts) != ONE:
        what = f"pins one copy, and {sum(counts)} are asked for"
        mend = "give the copy that is pinned a [[piece]] of its own"
        yield source.fault("J509", (*at, "at"), what, mend)
    if lay.get("together") == "pair" and plain and 0 in counts:
        what = "a pair needs copies as drawn and mirrored ones"
        mend = "set mirrored to 1 or more, or choose another word than pair"
        yield source.fault("J509", (*at, "together"), what, mend)


def stock_checks(
    source: Source, path: KeyPath, stock: Mapping[str, Any], pieces: tuple[str, ...]
) -> Iterator[Finding]:
    """Stock has a size or an outline; a zone has two corners or an outline."""
    sized = [k for k in ("width", "length") if k in stock]
    if "outline" in stock:
        for key in sized:
            mend = "leave it out: the outline tells it"
            yield source.fault("J509", (*path, key), "stands beside outline", mend)
        if stock.get("kind") == "roll":
            what = "a roll has no outline of its own"
            yield source.fault("J509", (*path, "outline"), what, "give its width and length")
    else:
        for key in (k for k in ("width", "length") if k not in stock):
            mend = "add it, or an outline"
            yield source.fault("J504", (*path, key), "is required and missing", mend)
    zones = stock.get("zone")
    for number, zone in enumerate(zones if isinstance(zones, list | tuple) else ()):
        if isinstance(zone, Mapping):
            yield from _zone(source, (*path, "zone", number), zone, pieces)


def _zone(
    source: Source, path: KeyPath, zone: Mapping[str, Any], pieces: tuple[str, ...]
) -> Iterator[Finding]:
    corners = [k for k in ("from", "to") if k in zone]
    if ("outline" in zone) == bool(corners) or len(corners) == 1:
        mend = "give from and to, or outline"
        yield source.fault("J509", path, "does not say where the zone is", mend)
    names = zone.get("pieces")
    for number, name in enumerate(names if isinstance(names, list | tuple) else ()):
        if isinstance(name, str) and name not in pieces:
            mend = near(name, pieces, "name a piece of this job")
            what = f"no piece is named {shown(name)}"
            yield source.fault("J508", (*path, "pieces", number), what, mend)
