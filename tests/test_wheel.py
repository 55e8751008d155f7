"""The wheel carries all that a cut needs, and works away from the source tree."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from .jobs import drawing

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "src" / "foamwright"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from this tree, without asking any index."""
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder)]
    ran = subprocess.run([*command, str(ROOT)], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    (file,) = folder.glob("*.whl")
    return file


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel's contents in a folder of their own."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder)
    return folder


def run(installed: Path, folder: Path, *words: object) -> subprocess.CompletedProcess[str]:
    """`python -m foamwright` from the unpacked wheel, in a folder outside the source tree."""
    environment = {**os.environ, "PYTHONPATH": str(installed), "PYTHONSAFEPATH": "1"}
    return subprocess.run(
        [sys.executable, "-m", "foamwright", *map(str, words)],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_file_of_the_package_and_every_profile_is_in_it(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        names = {n for n in packed.namelist() if ".dist-info/" not in n}
    source = {f"foamwright/{p.relative_to(PACKAGE).as_posix()}" for p in PACKAGE.rglob("*.*")}
    source = {n for n in source if "__pycache__" not in n}
    shelf = {
        f"foamwright/{p.relative_to(ROOT).as_posix()}" for p in ROOT.glob("profiles/**/*.toml")
    }
    assert names == source | shelf
    assert {
        "foamwright/py.typed",
        "foamwright/profiles/hazards.toml",
        "foamwright/profiles/checklist.toml",
        "foamwright/stages/save/operator-sheet.html.j2",
        "foamwright/stages/save/operator-sheet.css",
    } <= names


def test_it_tells_its_licence_and_its_command(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        told = {Path(n).name: n for n in packed.namelist() if ".dist-info/" in n}
        assert "LICENSE" in told
        commands = packed.read(told["entry_points.txt"]).decode()
    assert "foamwright = foamwright.cli:main" in commands


def test_the_modules_come_from_the_wheel(installed: Path, tmp_path: Path) -> None:
    script = "import foamwright, sys; sys.stdout.write(foamwright.__file__)"
    environment = {**os.environ, "PYTHONPATH": str(installed), "PYTHONSAFEPATH": "1"}
    ran = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        check=True,
    )
    assert ran.stdout.decode() == str(installed / "foamwright" / "__init__.py")


def test_it_lists_the_shelf_and_cuts(installed: Path, tmp_path: Path) -> None:
    listed = run(installed, tmp_path, "profile", "list")
    assert listed.returncode == 0, listed.stderr
    for profile in ROOT.glob("profiles/m*/*.toml"):
        assert profile.stem in listed.stdout
    file = drawing(tmp_path)
    ran = run(
        installed, tmp_path, "cut", file, "--material", "card-1mm", "--machine", "desk-laser-600",
        "--layout-time", 0, "--out", "out",
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "out" / "operator-sheet.html").stat().st_size > 10_000
    assert run(installed, tmp_path, "verify", "out").returncode == 0
