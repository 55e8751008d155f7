"""Numbered findings: what was noticed, how grave, where, and what to do.

A finding is a value; stages return them or raise `Refused` with all of them at once.
A code is a letter for the room and three digits: R reading, J job and profiles, A alterations,
L layout, C compensation, O order, W writing, V proof, S safety.  `CODES` is the register:
each code has one line that says what it stands for, and a test.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from foamwright.errors import FoamwrightError


class Severity(StrEnum):
    """How grave a finding is: a note informs, a warning is printed on the sheet, a fault stops."""

    NOTE = "note"
    WARNING = "warning"
    FAULT = "fault"


CODES: Mapping[str, str] = MappingProxyType(
    {
        # R: reading a drawing (stages/acquire)
        # J: job files and profiles (job.py, profiles.py)
        # A: alterations (stages/alter)
        # L: layout (stages/arrange)
        "L401": "a piece fits no stock of its material",
        "L402": "the layout search failed or broke a rule, so boxes were laid in rows",
        "L403": "there are more pieces than the counted stock bears",
        "L404": "the stock is larger than the machine reaches",
        # C: compensation (stages/compensate)
        # O: order (stages/order)
        # W: writing (stages/save)
        "W701": "a stranger's file stands where an output should go",
        "W702": "a place can't be written",
        # V: proof (stages/verify)
        # S: safety (safety.py)
        "S001": "forbidden: a material that no option lets this kind of tool cut",
        "S002": "a material that wants the site's permit, and none is given",
        "S003": "a permit that does not count: expired, dated ahead, or lacking what it must name",
        "S004": "a caution about a material on this kind of tool",
        "S005": "cut under the site's permit",
        "S006": "a packaged profile that was loosened: words taken away, or another method",
        "S007": "a record that does not tell what the hazard rules must know",
        "S008": "a broken file of hazard rules or checklist items",
    }
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing noticed.

    code: a key of `CODES`.  where: file, line or piece, with coordinates in mm where they help.
    what: what is wrong or was done.  mend: what to do about it (may be empty for a note).
    piece: the piece's or copy's name where there is one.
    """

    code: str
    severity: Severity
    where: str
    what: str
    mend: str = ""
    piece: str = ""

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise KeyError(f"finding code {self.code!r} is not in the register")

    @property
    def is_fault(self) -> bool:
        return self.severity is Severity.FAULT

    def line(self) -> str:
        """The finding as one line: where, what, what to do."""
        text = f"{self.where}: {self.what}"
        if self.mend:
            text += f"; {self.mend}"
        return f"{self.severity.value} {self.code} {text}"


def note(code: str, where: str, what: str, mend: str = "", piece: str = "") -> Finding:
    return Finding(code, Severity.NOTE, where, what, mend, piece)


def warning(code: str, where: str, what: str, mend: str = "", piece: str = "") -> Finding:
    return Finding(code, Severity.WARNING, where, what, mend, piece)


def fault(code: str, where: str, what: str, mend: str = "", piece: str = "") -> Finding:
    return Finding(code, Severity.FAULT, where, what, mend, piece)


class Refused(FoamwrightError):
    """The job is refused: carries every finding, faults among them. Exit status 1."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(f.line() for f in self.findings))


def refuse_on_fault(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings as a tuple; raises `Refused` with all of them when one is a fault."""
    kept = tuple(findings)
    if any(f.is_fault for f in kept):
        raise Refused(kept)
    return kept
