"""Findings made fit for one line of a terminal, whatever a file puts into its names."""

from __future__ import annotations

import cmath
import unicodedata
from collections.abc import Iterable
from dataclasses import replace

from foamwright.findings import Finding

#: The longest text of a finding that is kept.
LONGEST = 400
#: Most places of one finding that are kept.
MOST_SPOTS = 100


def one_line(text: str) -> str:
    """The text without control and formatting characters, single spaces, at most LONGEST long."""
    plain = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in text)
    short = " ".join(plain.split())
    return short if len(short) <= LONGEST else f"{short[: LONGEST - 3]}..."


def tidied(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings with every text in one printable line, and no more places than a picture bears.

    A place that is no finite number is left out.
    """
    return tuple(
        replace(
            f,
            where=one_line(f.where),
            what=one_line(f.what),
            mend=one_line(f.mend),
            spots=tuple(p for p in f.spots[:MOST_SPOTS] if cmath.isfinite(p)),
        )
        for f in findings
    )
