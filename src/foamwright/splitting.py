"""Copies that are longer than any stock bears, cut in two along the lines that the job gives.

Splits nothing that fits.  Where no line is given, layout refuses the piece by name and both sizes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from foamwright.asked import Bench
from foamwright.findings import Finding, fault, note
from foamwright.job import PieceSpec
from foamwright.job_stock import SplitKeys
from foamwright.model import Copy
from foamwright.stages.alter.split import Cutting, SplitError, split
from foamwright.stages.arrange.window import window_of


def fitted(copy: Copy, bench: Bench, spec: PieceSpec) -> tuple[tuple[Copy, ...], list[Finding]]:
    """The copy, or its parts `NAME/a` and `NAME/b`, by as many of the lines as are needed."""
    if not spec.split or _fits(copy, bench):
        return (copy,), []
    findings: list[Finding] = []
    parts = [copy]
    for keys in spec.split:
        parts = [p for part in parts for p in _parted(part, bench, keys, findings)]
    if len(parts) > 1:
        across, along = _size(copy)
        names = ", ".join(p.name for p in parts)
        what = f"{copy.name}: {across:.0f} x {along:.0f} mm is more than any stock bears, so it is "
        what += f"cut in parts that match at notches or marks: {names}"
        findings.append(note("A381", f"piece {spec.name}", what, piece=spec.name))
    return tuple(parts), findings


def _parted(copy: Copy, bench: Bench, keys: SplitKeys, findings: list[Finding]) -> Iterator[Copy]:
    if _fits(copy, bench):
        yield copy
        return
    a, b = (copy.piece.points.get(name) for name in keys.between)
    if a is None or b is None:
        if copy.name.count("/") < 3:  # of the whole piece; a part need not have every point
            there = ", ".join(copy.piece.points) or "none"
            lacking = " and ".join(n for n in keys.between if n not in copy.piece.points)
            what = f"split: no point {lacking}"
            told = fault("A382", f"piece {copy.of}", what, f"points are {there}", piece=copy.of)
            findings.append(told)
        yield copy
        return
    notched = bench.tool.method != "oscillating-knife"
    try:
        parts = split(copy.piece, Cutting(a, b, keys.allowance, notched))
    except SplitError as why:
        mend = "choose points between which a straight line parts the piece in two"
        findings.append(fault("A382", f"piece {copy.of}", f"split: {why}", mend, piece=copy.of))
        yield copy
        return
    for letter, part in zip("ab", parts, strict=True):
        yield replace(copy, name=_named(copy.name, letter), piece=part)


def _named(name: str, letter: str) -> str:
    """`leg/drawn/1/a`, and `leg/drawn/1/ab` of its parts."""
    return name + letter if name.count("/") > 2 else f"{name}/{letter}"


def _fits(copy: Copy, bench: Bench) -> bool:
    windows = [window_of(s, bench.limits) for s in bench.stocks]
    return any(w.bears(copy, r) for w in windows for r in copy.rotations)


def _size(copy: Copy) -> tuple[float, float]:
    low_x, low_y, high_x, high_y = copy.piece.outline.bounds
    return high_x - low_x, high_y - low_y
