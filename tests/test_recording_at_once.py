"""Two recorders at once lose nothing, and one that is killed leaves a shelf that parses."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from foamwright.profiles import Layer, Shelf
from foamwright.shelf_folder import packaged_profiles

ROOT = Path(__file__).parent.parent

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="wants os.fork")


def run(task: str, shelf: Path) -> subprocess.CompletedProcess[str]:
    paths = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    environment = {**os.environ, "FOAMWRIGHT_PROFILES": str(shelf), "PYTHONPATH": paths}
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "tests.recorders", task],
        env=environment, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def notes(shelf: Path) -> list[str]:
    data: dict[str, Any] = tomllib.loads((shelf / "materials" / "card-1mm.toml").read_text("utf-8"))
    return [e["note"] for e in data["measured"]]


def test_two_processes_with_a_hundred_writes_each_lose_nothing(tmp_path: Path) -> None:
    ran = run("at-once", tmp_path)
    assert ran.returncode == 0, ran.stderr
    written = notes(tmp_path)
    assert sorted(written) == sorted(f"{n}-{k}" for n in ("one", "other") for k in range(100))
    for name in ("one", "other"):  # each recorder's own in the order of its writing
        mine = [w for w in written if w.startswith(name)]
        assert mine == [f"{name}-{k}" for k in range(100)]
    layers = (Layer("user", tmp_path), Layer("package", packaged_profiles()))
    assert len(Shelf(layers).material("card-1mm").profile.measured) == 200


def test_fifty_recorders_killed_in_the_middle_lose_no_finished_entry(tmp_path: Path) -> None:
    ran = run("killed", tmp_path)
    assert ran.returncode == 0, ran.stderr
    finished = ran.stdout.split()
    written = notes(tmp_path)
    assert len(written) == len(set(written))
    assert set(finished) <= set(written)
    turns = {w.partition("-")[0] for w in written}
    # a recorder that was killed after its file stood and before it said so wrote one more
    assert len(set(written) - set(finished)) <= len(turns)
    text = (tmp_path / "materials" / "card-1mm.toml").read_text("utf-8")
    assert text.startswith("# ours\n")
    assert int(ran.stderr.split()[-1]) > 0, "no recorder was killed while it wrote"
