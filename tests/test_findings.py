"""The register of findings: its lines, and its table in the contributors' page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from foamwright.findings import CODES, Finding, Refused, Severity, fault, note, refuse_on_fault

ROOT = Path(__file__).parent.parent
ROOMS = "RJALCOWVS"


def test_codes_are_a_room_s_letter_and_three_digits() -> None:
    assert all(re.fullmatch(rf"[{ROOMS}]\d{{3}}", code) for code in CODES)
    assert list(dict.fromkeys(c[0] for c in CODES)) == sorted(
        {c[0] for c in CODES}, key=ROOMS.index
    )


def table() -> str:
    return "\n".join(
        ["| code | stands for |", "|---|---|", *(f"| {c} | {t} |" for c, t in CODES.items())]
    )


def test_the_contributors_page_lists_every_code() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert page.rstrip().endswith(table()), "DEVELOPERS.md must end with:\n" + table()


def test_a_finding_is_one_line_that_says_where_what_and_what_to_do() -> None:
    found = fault("A310", "sole at 1, 2 mm", "it crosses itself", "redraw it")
    assert found.line() == "fault A310 sole at 1, 2 mm: it crosses itself; redraw it"
    assert note("A305", "sole", "a mark instead").line() == "note A305 sole: a mark instead"


def test_an_unregistered_code_is_a_fault_of_ours() -> None:
    with pytest.raises(KeyError):
        Finding("X999", Severity.NOTE, "here", "what")


def test_refusal_carries_every_finding() -> None:
    told = [note("A305", "a", "b"), fault("A310", "c", "d")]
    with pytest.raises(Refused) as stop:
        refuse_on_fault(told)
    assert stop.value.findings == tuple(told)
    assert stop.value.exit_code == 1
    assert refuse_on_fault(told[:1]) == tuple(told[:1])


def test_every_code_is_named_in_a_test() -> None:
    tests = "".join(p.read_text("utf-8") for p in (ROOT / "tests").rglob("test_*.py"))
    missing = [c for c in CODES if c not in tests]
    assert not missing, f"no test names {', '.join(missing)}"
