"""No kill between booking an offcut and the end of publishing loses it: free, booked or told.

`offcut_kills.py` dies at every call of what books and publishes; what it saw is judged here.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")

FREE, BEGUN, BOOKED = ["", ""], ["", "plates"], ["plates", ""]


@pytest.fixture(scope="module")
def tries() -> Iterator[list[dict[str, Any]]]:
    with tempfile.TemporaryDirectory() as folder:
        work, lines = Path(folder) / "work", Path(folder) / "lines"
        work.mkdir()
        command = [sys.executable, "-m", "tests.offcut_kills", str(work), str(lines)]
        root = Path(__file__).parent.parent
        subprocess.run(command, check=True, capture_output=True, cwd=root, timeout=600)
        yield [json.loads(line) for line in lines.read_text("utf-8").splitlines()]


def test_it_died_before_within_and_after_publishing(tries: list[dict[str, Any]]) -> None:
    for first in (True, False):
        of = [t for t in tries if t["first"] is first]
        assert [t["status"] for t in of] == [-signal.SIGKILL] * (len(of) - 1) + [0]
        met = [(t["stood"]["b7"], t["made"]) for t in of]
        steps = [m for k, m in enumerate(met) if k == 0 or met[k - 1] != m]
        assert steps == [(FREE, False), (BEGUN, False), (BEGUN, True), (BOOKED, True)]


def test_a_cut_that_was_not_made_uses_up_nothing_and_one_that_was_is_never_free(
    tries: list[dict[str, Any]],
) -> None:
    for t in tries:
        assert t["stood"]["b7"] != BOOKED or t["made"], t
        assert t["stood"]["b7"] != FREE or not t["made"], t
        left = t["stood"].get("plates 1-1")
        assert (left == FREE) == (t["stood"]["b7"] == BOOKED), t


def test_what_is_begun_is_told_to_others_and_not_offered_to_them(
    tries: list[dict[str, Any]],
) -> None:
    looked = [t for t in tries if "then" in t]
    assert {str(t["stood"]["b7"]) for t in looked} == {str(s) for s in (FREE, BEGUN, BOOKED)}
    for t in looked:
        is_begun = t["stood"]["b7"] == BEGUN
        assert (t["others_get"] == ["b7"]) == (t["stood"]["b7"] == FREE), t
        assert len(t["others_hear"]) == is_begun, t
        assert all(line.startswith("warning L414 ") for line in t["others_hear"])
        if is_begun:
            assert 'offcut give-back "plates"' in t["others_hear"][0]
            assert "b7" in t["others_hear"][0]


def test_it_is_given_back_whole_and_the_same_job_again_settles_it(
    tries: list[dict[str, Any]],
) -> None:
    for t in (t for t in tries if "then" in t):
        assert t["given_back"], t
        assert t["then"] == {"b7": BOOKED, "plates 1-1": FREE}, t
        assert t["strays"] == []
