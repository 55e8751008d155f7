"""A cut that is broken off leaves the earlier output whole, and the next run leaves nothing behind.

Thirty seeded moments over all stages, by kill -9 and Ctrl-C; a disk that is full at each file; a
folder that can't be written. `kills.py` dies; what it saw is judged here.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from .kills import MOMENTS, STAGES

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")


@pytest.fixture(scope="module")
def tries() -> Iterator[list[dict[str, Any]]]:
    """What every broken-off run left, in a folder that anybody may pass through."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        work, lines = Path(folder) / "work", Path(folder) / "lines"
        work.mkdir()
        command = [sys.executable, "-m", "tests.kills", str(work), str(lines)]
        root = Path(__file__).parent.parent
        subprocess.run(command, check=True, capture_output=True, cwd=root, timeout=600)
        yield [json.loads(line) for line in lines.read_text("utf-8").splitlines()]


def of(tries: list[dict[str, Any]], *words: str) -> list[dict[str, Any]]:
    found = [t for t in tries if any(w in t["try"] for w in words)]
    assert found
    return found


def test_every_stage_died_by_both_signals(tries: list[dict[str, Any]]) -> None:
    died = of(tries, "SIGKILL", "SIGINT")
    assert len(died) == MOMENTS == 30
    assert Counter(t["try"].split(",")[0] for t in died) == dict.fromkeys(STAGES, 3)
    assert {t["status"] for t in of(tries, "SIGKILL")} == {-signal.SIGKILL}


def test_the_output_is_whole_whenever_a_run_died(tries: list[dict[str, Any]]) -> None:
    """As it was; or, once the publication's journal stood, as the new run has it.

    Planning's files hold the command and its tables too, which speak after the publication.
    """
    later = ("publish", "planning", "finishing")
    for t in tries:
        assert t["recovered"] == 0, t
        assert t["stood"] == "old" or (t["stood"] == "new" and t["try"].startswith(later)), t


def test_the_next_run_gives_what_an_unbroken_one_gives_and_leaves_nothing_else(
    tries: list[dict[str, Any]],
) -> None:
    for t in tries:
        assert (t["again"], t["then"], t["strays"]) == (0, "new", []), t


def test_ctrl_c_ends_with_a_line_and_no_traceback(tries: list[dict[str, Any]]) -> None:
    for t in of(tries, "SIGINT"):
        assert t["status"] == 1, t
        assert t["told"].splitlines()[-1].startswith("stopped;"), t
        assert "Traceback" not in t["told"]


def test_a_full_disk_and_a_closed_folder_are_faults_told_in_a_line(
    tries: list[dict[str, Any]],
) -> None:
    stopped = of(tries, "full disk", "read-only")
    assert len(stopped) >= 7
    for t in stopped:
        assert (t["status"], t["stood"], t["left"]) == (1, "old", []), t
        assert t["told"].splitlines()[-1].startswith("fault W702 "), t
        assert "Traceback" not in t["told"]
