"""Arrows of a piece that the job states: its grain, the way of its nap, the way it must give.

An arrow is an angle in the drawing, or runs from one place to another; from here on it is turned
and mirrored with the piece.  Whether the material meets it is judged where the piece is laid.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

from foamwright.findings import Finding, fault, note
from foamwright.job import PieceSpec
from foamwright.job_marks import Direction
from foamwright.stages.alter.pattern import Pattern

#: A drawn and a stated grain that differ by less are the same, degrees.
SAME = 0.01


class NoArrowError(Exception):
    """An arrow that points nowhere; the text says why."""


def pointed(pattern: Pattern, spec: PieceSpec) -> tuple[Pattern, tuple[Finding, ...]]:
    """The pattern with its stated arrows, on the line as drawn (A346)."""
    findings: list[Finding] = []
    for name in ("grain", "nap", "stretch"):
        stated: Direction | None = getattr(spec, name)
        if stated is None:
            continue
        where = f"{spec.name} {name}"
        try:
            degrees = _degrees(pattern, stated)
        except NoArrowError as why:
            mend = "see `foamwright inspect` for corners and points"
            findings.append(fault("A346", where, str(why), mend, piece=spec.name))
            continue
        if name == "grain" and pattern.grain is not None:
            off = abs((pattern.grain - degrees + 180) % 360 - 180)
            if off > SAME:
                what = f"{degrees:.4g} degrees in place of the drawn grain line's"
                findings.append(note("A346", where, f"{what} {pattern.grain:.4g}", piece=spec.name))
        pattern = _with(pattern, name, degrees)
    return pattern, tuple(findings)


def _with(pattern: Pattern, name: str, degrees: float) -> Pattern:
    if name == "grain":
        return replace(pattern, grain=degrees)
    return replace(pattern, nap=degrees) if name == "nap" else replace(pattern, stretch=degrees)


def _degrees(pattern: Pattern, stated: float | tuple[str, str]) -> float:
    """Raises NoArrowError."""
    if isinstance(stated, float):
        return stated
    ends = [pattern.spot(place) for place in stated]
    for place, spot in zip(stated, ends, strict=True):
        if spot is None:
            raise NoArrowError(f"there is no corner or point {place!r}")
    start, end = (e or 0j for e in ends)
    if start == end:
        raise NoArrowError(f"{stated[0]} and {stated[1]} are one place")
    return math.degrees(cmath.phase(end - start))
