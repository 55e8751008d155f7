"""What a DXF reader noticed, as findings: few lines, with counts and the first places.

Knows nothing of entities; `dxf` fills in the tally.
"""

from __future__ import annotations

import cmath
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from foamwright.findings import Finding, fault, note, warning

#: Faults of one kind told one by one; the rest is counted.
MOST_TOLD = 20
#: Kinds of things counted in one line.
MOST_KINDS = 12


@dataclass
class Tally:
    """What the walk noticed: counts, and faults with their place.

    Places of what was mended or left out are in mm: one for each thing counted.
    """

    left_out: Counter[str] = field(default_factory=Counter)
    unread: Counter[str] = field(default_factory=Counter)
    hidden: Counter[str] = field(default_factory=Counter)
    no_length: list[complex] = field(default_factory=list)
    raised: list[complex] = field(default_factory=list)
    merged: list[complex] = field(default_factory=list)
    wide: list[complex] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)
    fitted: list[tuple[str, complex]] = field(default_factory=list)
    broken: list[tuple[str, str]] = field(default_factory=list)
    blocks: list[tuple[str, str, str]] = field(default_factory=list)


def plain(text: str) -> str:
    """A name from a file, fit for a message: one line, printable, at most 80 characters."""
    tidy = text.encode("utf-8", "replace").decode("utf-8")
    return "".join(c if c.isprintable() else "?" for c in tidy)[:80]


def findings_of(name: str, tally: Tally) -> Iterator[Finding]:
    mend = "mend or delete it in the drawing program"
    yield from _each("R307", name, [(w, f"has {what}", mend) for w, what in tally.broken])
    yield from _each("R308", name, tally.blocks)
    if tally.outside:
        what = f"{len(tally.outside)} entities lie outside the drawing plane and are left out"
        yield warning("R309", tally.outside[0], what, "flatten the drawing to z = 0 if they count")
    if tally.unread:
        what = f"left out, not a line to cut along: {_counts(tally.unread)}"
        yield warning("R310", name, what, "draw its outline if it is to be cut")
    if tally.fitted:
        what = f"{len(tally.fitted)} splines state only points to pass through"
        mend, spots = "compare the curve with the drawing", [p for _, p in tally.fitted]
        yield warning("R311", tally.fitted[0][0], what, mend, spots=spots)
    if tally.raised:
        what = f"{len(tally.raised)} entities lie at a height, which is left out"
        yield note("R312", name, what, spots=tally.raised)
    if tally.wide:
        what = f"{len(tally.wide)} polylines are drawn with a width: their middle line is read"
        yield note("R314", name, what, spots=tally.wide)
    if tally.left_out:
        yield note("R305", name, f"left out, for people only: {_counts(tally.left_out)}")
    if tally.hidden:
        yield note("R306", name, f"left out, hidden: {_counts(tally.hidden)}")
    if tally.no_length:
        what = f"{len(tally.no_length)} entities without length are left out"
        yield note("R402", name, what + _first(tally.no_length), spots=tally.no_length)
    if tally.merged:
        what = f"{len(tally.merged)} points on top of their neighbours are left out"
        yield note("R315", name, what + _first(tally.merged), spots=tally.merged)


def _first(places: list[complex]) -> str:
    known = [p for p in places if cmath.isfinite(p)]
    if not known:
        return ""
    return f", the first at ({known[0].real:.3f}, {known[0].imag:.3f}) mm"


def _each(code: str, name: str, rows: list[tuple[str, str, str]]) -> Iterator[Finding]:
    for where, what, mend in rows[:MOST_TOLD]:
        yield fault(code, where, what, mend)
    if len(rows) > MOST_TOLD:
        yield fault(code, name, f"{len(rows) - MOST_TOLD} more like these")


def _counts(counted: Counter[str]) -> str:
    rows = sorted((k, n) for k, n in counted.items() if n)
    shown = ", ".join(f"{n} {k}" for k, n in rows[:MOST_KINDS])
    return shown + (f" and {len(rows) - MOST_KINDS} kinds more" if len(rows) > MOST_KINDS else "")
