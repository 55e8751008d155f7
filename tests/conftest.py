"""Fixtures that every test may use."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


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
