"""Folders of small runs for the publication's tests, and a run in a process that dies."""

from __future__ import annotations

import json
import pathlib
import subprocess
import sys
from collections.abc import Mapping

from foamwright.record import FileEntry, Record, checksum_of
from foamwright.stages.save.publish import RECORD

SHEET = "operator-sheet.html"


def file_entry(name: str) -> FileEntry:
    return FileEntry(
        name=name, sheet=1, material="card", machine="bench", format="svg", version="1.1",
        unit="mm", scale=1.0, origin=(0.0, 0.0), layers={}, tool={}, contours=(), sha256="0",
    )  # fmt: skip


def record_text(*names: str) -> str:
    """A true record of these cut files and a sheet."""
    return Record(
        version="0", job="job", sheets=(), pieces=(), others=(SHEET,), layout={}, time_s=0.0,
        files=tuple(file_entry(n) for n in names),
    ).to_text()  # fmt: skip


def run_files(word: str, *names: str) -> dict[str, str]:
    """What a run writes: its cut files with `word` in them, the sheet, the record."""
    files = {n: f"{word} {n}\n" for n in names}
    return {**files, SHEET: f"{word} sheet\n", RECORD: record_text(*names)}


#: The earlier run and the next one: b stays, a goes, c comes.
OLD = run_files("old", "a.svg", "b.svg")
NEW = run_files("new", "b.svg", "c.svg")


def fill(folder: pathlib.Path, files: Mapping[str, str]) -> pathlib.Path:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def contents(folder: pathlib.Path) -> dict[str, str]:
    """Every name in the folder with its text; a folder or a link tells that it is one."""
    found = {}
    for place in sorted(folder.iterdir()):
        if place.is_symlink():
            found[place.name] = f"link to {place.readlink()}"
        elif place.is_dir():
            found[place.name] = "folder"
        else:
            found[place.name] = place.read_text("utf-8")
    return found


def edited(text: str) -> str:
    """A record with another name in it and the checksum that it had."""
    data = json.loads(text)
    data["job"] = "another job"
    assert data["checksum"] != checksum_of(data)
    return json.dumps(data)


_DYING = """
import os, pathlib, signal, sys
from foamwright.stages.save.publish import publish as put, staging, write_file
from tests.stages.save.publishing import NEW

target, moment = pathlib.Path(sys.argv[1]), int(sys.argv[2])
calls = 0

def counted(name, of):
    real = getattr(of, name)
    def stand_in(*args, **kwargs):
        global calls
        calls += 1
        if calls == moment:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **kwargs)
    setattr(of, name, stand_in)

for name in ("rename", "replace", "unlink", "mkdir", "fsync", "rmdir"):
    counted(name, os)
with staging(target) as folder:
    for name, text in NEW.items():
        write_file(folder, name, text)
    put(folder, target)
print(calls)
"""


def dying_run(target: pathlib.Path, moment: int) -> tuple[bool, int]:
    """A run of NEW into target, killed before its moment-th step that changes names on the disk.

    Gives whether it was killed, and how many such steps it took (0 where it was killed).
    """
    done = subprocess.run(
        [sys.executable, "-c", _DYING, str(target), str(moment)],
        capture_output=True,
        check=False,
        env={"PYTHONPATH": ":".join(sys.path)},
    )
    killed = done.returncode == -9
    assert killed or done.returncode == 0, done.stderr.decode()
    return killed, 0 if killed else int(done.stdout)
