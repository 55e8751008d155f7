"""Findings made fit for one line of a terminal, whatever a file puts into its names."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import replace

from foamwright.findings import Finding

#: The longest text of a finding that is kept.
LONGEST = 400


def one_line(text: str) -> str:
    """The text without control and formatting characters, single spaces, at most LONGEST long."""
    plain = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in text)
    short = " ".join(plain.split())
    return short if len(short) <= LONGEST else f"{short[: LONGEST - 3]}..."


def tidied(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings with every text in one printable line."""
    return tuple(
        replace(f, where=one_line(f.where), what=one_line(f.what), mend=one_line(f.mend))
        for f in findings
    )
