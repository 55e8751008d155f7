"""Fixtures that every test may use."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

EXAMPLES = Path(__file__).parent.parent / "examples"


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of outside data: unset, the test is skipped; set but missing, it fails."""
    named = os.environ.get("FOAMWRIGHT_SHARED")
    if not named:
        pytest.skip("FOAMWRIGHT_SHARED is not set: no outside data")
    folder = Path(named)
    if not folder.is_dir():
        pytest.fail(f"FOAMWRIGHT_SHARED names {folder}, which is not a folder")
    return folder


@dataclass
class ExampleCut:
    """An example cut once, in a copy of its folder. ran: the command with --json."""

    source: Path
    job: Path
    out: Path
    ran: Result

    @cached_property
    def told(self) -> dict[str, Any]:
        return dict(json.loads(self.ran.stdout))

    @cached_property
    def checked(self) -> Result:
        """`check` for people, after the cut."""
        from foamwright.cli import main

        return CliRunner().invoke(main, ["check", str(self.job)])


@pytest.fixture(scope="session", params=sorted(p.name for p in EXAMPLES.iterdir() if p.is_dir()))
def example(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> ExampleCut:
    """Each folder of examples, cut and proven with the layout that is shipped in it."""
    from foamwright.cli import main

    name = str(request.param)
    folder = tmp_path_factory.mktemp("example")
    shutil.copytree(EXAMPLES / name, folder / name)
    job, out = folder / name / "job.toml", folder / "out"
    ran = CliRunner().invoke(
        main, ["cut", str(job), "--out", str(out), "--layout-time", "2", "--json"]
    )
    return ExampleCut(EXAMPLES / name, job, out, ran)
