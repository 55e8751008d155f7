"""The pattern's checks as tables of words, and as plain data for programs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from foamwright.asked import Checks
from foamwright.stages.alter import CoreRow, NeckRow, NotchRow, PairRow, SeamRow
from foamwright.stages.alter.rungs import Rung
from foamwright.word_tables import WordTable

Row = TypeVar("Row")


def tables_of(checks: Checks) -> tuple[WordTable, ...]:
    """Those that have a row: seams, notches (the tightest of each piece), pairs, necks."""
    made = (
        _table(
            "Seams, on stitch lines (mm, degrees)",
            ("seam", "edges", "long", "differ", "ease", "notches", "corners", ""),
            checks.seams,
            _seam,
        ),
        _table(
            "Cores against their shells (mm round; per cent pressed, or loose below 0)",
            ("core", "shell", "made", "shell in", "core out", "pressed", "band", ""),
            checks.cores,
            _core,
        ),
        _table(
            "Notches in their allowance, the tightest of each piece (mm)",
            ("piece", "notch", "deep", "allowance", ""),
            _tightest(checks.notches),
            _notch,
        ),
        _table(
            "Lefts and rights laid on one another (mm apart)",
            ("left and right", "turned over", "not turned over", ""),
            checks.pairs,
            _pair,
        ),
        _table(
            "Narrowest necks (mm)", ("piece", "neck", "at", "at least", ""), checks.necks, _neck
        ),
    )
    return tuple(t for t in made if t.rows)


_NUMBERS = frozenset(
    (
        "shell in",
        "core out",
        "pressed",
        "long",
        "differ",
        "ease",
        "deep",
        "allowance",
        "turned over",
        "not turned over",
        "neck",
    )
)


def _table(
    title: str,
    columns: tuple[str, ...],
    rows: Iterable[Row],
    words: Callable[[Row], tuple[str, ...]],
) -> WordTable:
    return WordTable(title, columns, _NUMBERS & {*columns}, tuple(map(words, rows)))


def _said(right: bool) -> str:
    return "ok" if right else "WRONG"


def _seam(row: SeamRow) -> tuple[str, ...]:
    notches = f"{row.notches[0]} and {row.notches[1]}"
    if row.notches_off is not None and any(row.notches):
        notches += f"\n{row.notches_off:.2f} off"
    corners = "none"
    if row.corners is not None:
        corners = "\n".join(
            f"{a:.1f}+{b:.1f}" + (f"={a + b:.1f}" if row.flat else "") for a, b in row.corners
        )
    return (
        row.name,
        "\n".join(row.joins),
        "\n".join(f"{v:.2f}" for v in row.lengths),
        f"{round(row.difference, 2) + 0.0:.2f}",
        f"{row.ease:.2f}",
        notches if any(row.notches) else "none",
        corners,
        _said(row.is_right),
    )


def _core(row: CoreRow) -> tuple[str, ...]:
    """Halfway along, pressed from end to end where that differs; then the other way to make it.

    Without a band nothing says whether it fits: that is left open.
    """
    made = {"inset": "by inset", "thickness": "by thickness", None: "drawn"}
    ways, rungs = [made[row.by]], [row.rungs]
    if row.other:
        ways.append(f"({made['thickness' if row.by == 'inset' else 'inset']})")
        rungs.append(row.other)
    middles = [along[len(along) // 2] for along in rungs]
    band = "none" if row.band is None else f"{row.band[0]:+g} to {row.band[1]:+g}"
    return (
        row.name,
        row.shell,
        "\n".join(ways),
        "\n".join(f"{r.shell:.1f}" for r in middles),
        "\n".join(f"{r.outside:.1f}" for r in middles),
        "\n".join(map(_pressed, rungs)),
        band,
        "open" if row.band is None else _said(row.fits),
    )


def _pressed(rungs: Sequence[Rung]) -> str:
    """Per cent, from the loosest place to the tightest where they differ."""
    low, high = (pick(r.strain for r in rungs) for pick in (min, max))
    return f"{low:+.1f}..{high:+.1f}" if high - low > 0.05 else f"{high:+.1f}"


def _tightest(rows: Sequence[NotchRow]) -> list[NotchRow]:
    """Of each piece the notch with the least allowance beyond it."""
    found: dict[str, NotchRow] = {}
    for row in sorted(rows, key=lambda r: r.allowance - r.depth):
        found.setdefault(row.piece, row)
    return [found[name] for name in dict.fromkeys(r.piece for r in rows)]


def _notch(row: NotchRow) -> tuple[str, ...]:
    return row.piece, row.name, f"{row.depth:.2f}", f"{row.allowance:.2f}", _said(row.is_right)


def _pair(row: PairRow) -> tuple[str, ...]:
    off = (
        f"{v:.3f}" if math.isfinite(v) else "other holes"
        for v in (row.mirrored_off, row.turned_off)
    )
    said = "ok, alike" if row.is_pair and row.is_even else _said(row.is_pair)
    return f"{row.first}\n{row.second}", *off, said


def _neck(row: NeckRow) -> tuple[str, ...]:
    if row.width is None or row.at is None:
        return row.piece, "none", "", f"{row.least:.2f}", "ok"
    least = f"{row.least:.2f}" + ("" if row.stated else ", its thickness")
    said = "ok" if row.is_right else _said(False) if row.stated else "narrow"
    return row.piece, f"{row.width:.2f}", f"{row.at[0]:.1f}, {row.at[1]:.1f}", least, said


def checks_data(checks: Checks) -> dict[str, Any]:
    """Every row as plain values; a neck of None is no neck, a distance of None no likeness."""
    return {
        "seams": [
            {
                "name": s.name,
                "joins": s.joins,
                "lengths_mm": s.lengths,
                "difference_mm": s.difference,
                "ease_mm": s.ease,
                "notches": s.notches,
                "notches_off_mm": s.notches_off,
                "corners_degrees": s.corners,
                "flat": s.flat,
                "ok": s.is_right,
            }
            for s in checks.seams
        ],
        "cores": [
            {
                "core": c.name,
                "shell": c.shell,
                "by": c.by,
                "thickness_mm": c.thickness,
                "shell_mm": c.middle.shell,
                "flat_mm": c.middle.flat,
                "outside_mm": c.middle.outside,
                "strain_percent": [c.loosest.strain, c.middle.strain, c.tightest.strain],
                "band_percent": c.band,
                "ok": None if c.band is None else c.fits,
            }
            for c in checks.cores
        ],
        "notches": [
            {
                "piece": n.piece,
                "name": n.name,
                "depth_mm": n.depth,
                "allowance_mm": n.allowance,
                "ok": n.is_right,
            }
            for n in checks.notches
        ],
        "pairs": [
            {
                "first": p.first,
                "second": p.second,
                "mirrored_off_mm": _finite(p.mirrored_off),
                "turned_off_mm": _finite(p.turned_off),
                "ok": p.is_pair,
            }
            for p in checks.pairs
        ],
        "necks": [
            {
                "piece": n.piece,
                "width_mm": n.width,
                "at": n.at,
                "least_mm": n.least,
                "stated": n.stated,
                "ok": n.is_right,
            }
            for n in checks.necks
        ],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
