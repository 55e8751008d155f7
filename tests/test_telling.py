"""What a run tells while it goes: to a terminal only, in one line, without colour if so wished."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from .jobs import job

#: Escapes that set a colour (ECMA-48, SGR 30 to 49 and 90 to 107).
COLOUR = re.compile(r"\x1b\[[0-9;]*\b(?:3\d|4\d|9\d|10[0-7])[0-9;]*m")


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "foamwright", *map(str, words)]


def environment(**more: str) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
    return {**kept, "TERM": "xterm", "COLUMNS": "80", **more}


def on_a_terminal(words: list[str], **more: str) -> str:
    """What a terminal of 80 columns is sent, both streams."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    ran = subprocess.Popen(words, stdout=theirs, stderr=theirs, env=environment(**more))
    os.close(theirs)
    told = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        told += part
    os.close(ours)
    assert ran.wait() == 0, told.decode()
    return told.decode("utf-8", "replace")


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return job(tmp_path_factory.mktemp("job")).file


def test_a_terminal_sees_the_steps_and_a_clear_line_at_last(source: Path, tmp_path: Path) -> None:
    told = on_a_terminal(command("cut", source, "--out", tmp_path / "out", "--layout-time", 1))
    lines = told.split("\r\x1b[K")
    for step in ("reading plate.svg", "making 1 pieces", "proof of sheet 1 of 1"):
        assert any(line.startswith(step) for line in lines), step
    assert any(re.match(r"layout of card-1mm, sheet 1: 1 pieces, [\d.]+% filled", x) for x in lines)
    assert all(len(line) < 80 for line in lines[1:-1])
    assert "proven: worst deviation" in lines[-1]
    again = on_a_terminal(command("verify", tmp_path / "out"))
    assert "\r\x1b[Kproof of sheet 1 of 1" in again


def test_a_pipe_sees_results_alone(source: Path, tmp_path: Path) -> None:
    words = command("cut", source, "--out", "out", "--layout-time", 1)
    ran = subprocess.run(
        words, capture_output=True, text=True, env=environment(), check=True, cwd=tmp_path
    )
    assert "\x1b" not in ran.stdout + ran.stderr
    assert "proof of sheet" not in ran.stdout + ran.stderr
    assert max(map(len, ran.stdout.splitlines())) <= 80


def test_no_color_is_respected(source: Path) -> None:
    words = command("check", source, "--layout-time", 1)
    words += ["--only", "plate"]
    usual = on_a_terminal(command("inspect", "--units", "mm", source.parent / "plate.svg"))
    plain = on_a_terminal(words, NO_COLOR="1")
    assert COLOUR.search(plain) is None
    assert COLOUR.search(on_a_terminal(words)) or COLOUR.search(usual)


def test_a_dumb_terminal_is_not_written_over(source: Path) -> None:
    told = on_a_terminal(command("check", source, "--layout-time", 1), TERM="dumb")
    assert "\x1b" not in told
    assert "reading" not in told
