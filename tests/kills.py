"""Runs of `cut` that die: at a seeded call of each stage, on a full disk, in a read-only folder.

    python -m tests.kills FOLDER LINES

One process warms up, cuts a job twice (the earlier output and the next one), and then forks: each
fork restores the earlier output, starts the next cut and is broken off.  A line of JSON for each
says what stood in the folder then, and after a next run.  `test_kills` judges them.
"""

from __future__ import annotations

import json
import os
import random
import resource
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import FrameType
from typing import Any

import foamwright
from foamwright.cli import main
from foamwright.stages.save.publish import recover

from .jobs import job

ROOT = str(Path(foamwright.__file__).parent)
STAGES = (
    *("acquire", "alter", "arrange", "compensate", "order", "save", "publish", "verify"),
    *("planning", "finishing"),
)
MOMENTS = 30
SEED = 6
NOBODY = 65534


class Place:
    """The folders of one try: the job, the output beside it, and what they were."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.made = job(folder / "job")
        self.out = folder / "out"

    def scaled(self, scale: float) -> None:
        lines = [x for x in self.made.file.read_text("utf-8").splitlines() if "scale" not in x]
        lines.insert(lines.index("[job]") + 1, f"scale = {scale}")
        self.made.file.write_text("\n".join(lines) + "\n", "utf-8")

    def cut(self) -> None:
        main(["cut", str(self.made.file), "--out", str(self.out), "--layout-time", "0"])

    def restore(self, earlier: Mapping[str, bytes], layout: bytes | None) -> None:
        for made in [p for p in self.folder.iterdir() if p.name != "job"]:
            shutil.rmtree(made)
        self.out.mkdir()
        for name, data in earlier.items():
            (self.out / name).write_bytes(data)
        kept = self.made.folder / "plates.layout.json"
        kept.unlink(missing_ok=True)
        if layout is not None:
            kept.write_bytes(layout)

    def strays(self) -> list[str]:
        """Names beside what belongs here."""
        known = {"job", "out", "job.toml", "plate.svg", "plates.layout.json"}
        there = [*self.folder.iterdir(), *self.made.folder.iterdir()]
        return sorted(p.name for p in there if p.name not in known)

    def contents(self) -> dict[str, bytes]:
        return {p.name: p.read_bytes() for p in self.out.iterdir() if p.is_file()}


class Watch:
    """Counts calls into the package, by stage; at one of them it may do something."""

    def __init__(self, at: int = -1, act: Callable[[], None] = lambda: None) -> None:
        self.stages: list[str] = []
        self.count = 0
        self.at = at
        self.act = act
        self._stage = "planning"
        self._known: dict[str, str | None] = {}

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        if event != "call":
            return
        file = frame.f_code.co_filename
        if file not in self._known:
            self._known[file] = stage_of(file)
        stage = self._known[file]
        if stage is None:
            return
        self._stage = stage or self._stage
        self.count += 1
        if self.at < 0:
            self.stages.append(self._stage)
        elif self.count == self.at:
            self.act()


def stage_of(file: str) -> str | None:
    """The stage of a file; empty for geometry, which works for whoever called it."""
    if not file.startswith(ROOT):
        return None
    parts = file.removeprefix(ROOT + os.sep).split(os.sep)
    if parts[-1] in ("publish.py", "locks.py"):
        return "publish"
    if parts[0] == "stages":
        return parts[1]
    if parts[0] == "geometry":
        return ""
    return "finishing" if parts[0] in ("finishing.py", "record.py", "vouching.py") else "planning"


def forked(act: Callable[[], None]) -> tuple[int, str]:
    """The exit status (negative: the signal) of a fork that acts, and what it told."""
    sys.stdout.flush()
    sys.stderr.flush()
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.setsid()
        os.dup2(writer, 1)
        os.dup2(writer, 2)
        sys.stdout, sys.stderr = (open(n, "w", closefd=False) for n in (1, 2))  # noqa: SIM115
        status = 70
        try:
            act()
            status = 0
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 0 if stop.code is None else 1
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status)
    os.close(writer)
    with os.fdopen(reader, errors="replace") as told:
        text = told.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), text


def killed(place: Place, at: int, number: int) -> tuple[int, str]:
    def act() -> None:
        sys.setprofile(Watch(at, lambda: os.kill(os.getpid(), number)))
        try:
            place.cut()
        finally:
            sys.setprofile(None)

    return forked(act)


def which(found: Mapping[str, bytes], old: Mapping[str, bytes], new: Mapping[str, bytes]) -> str:
    return "old" if found == old else "new" if found == new else "neither"


def tries(place: Place) -> Iterator[dict[str, Any]]:
    """Each broken-off run, and a whole one after it."""

    def whole(scale: float) -> dict[str, bytes]:
        place.scaled(scale)
        words = ["cut", str(place.made.file), "--out", str(place.out), "--layout-time", "0"]
        main(words, standalone_mode=False)  # in this process: what is loaded stays for the forks
        return place.contents()

    old, new = whole(1.0), whole(1.1)
    layout = (place.made.folder / "plates.layout.json").read_bytes()
    yield from moments(place, old, new, layout)
    yield from full_disks(place, old, new, layout)
    yield from read_only(place, old, new, layout)


def calls_by_stage(place: Place) -> dict[str, list[int]]:
    """Which calls of a cut belong to which stage, in a fork that notes them."""
    notes = place.folder.with_name(f"{place.folder.name}.calls")

    def act() -> None:
        watch = Watch()
        sys.setprofile(watch)
        try:
            place.cut()
        except SystemExit:
            pass
        finally:
            sys.setprofile(None)
        rows: list[list[Any]] = []
        for k, stage in enumerate(watch.stages, 1):
            if rows and rows[-1][0] == stage:
                rows[-1][2] = k
            else:
                rows.append([stage, k, k])
        notes.write_text(json.dumps(rows), "utf-8")

    status, told = forked(act)
    assert status == 0, told
    found: dict[str, list[int]] = {}
    for stage, first, last in json.loads(notes.read_text("utf-8")):
        found.setdefault(stage, []).extend(range(first, last + 1))
    return found


def moments(
    place: Place, old: Mapping[str, bytes], new: Mapping[str, bytes], layout: bytes
) -> Iterator[dict[str, Any]]:
    chance = random.Random(SEED)
    for k in range(MOMENTS):
        stage = STAGES[k % len(STAGES)]
        kept = None if stage == "arrange" else layout  # else there is nothing to search
        if k < len(STAGES) or stage == "arrange":
            place.restore(old, kept)
            calls = calls_by_stage(place)
            BY_STAGE.setdefault(stage, calls[stage])
        number = signal.SIGKILL if (k // len(STAGES)) % 2 == 0 else signal.SIGINT
        place.restore(old, kept)
        status, told = killed(place, chance.choice(BY_STAGE[stage]), number)
        yield {
            "try": f"{stage}, {number.name}",
            "status": status,
            "told": told,
            **after(place, old, new),
        }


BY_STAGE: dict[str, list[int]] = {}


def after(place: Place, old: Mapping[str, bytes], new: Mapping[str, bytes]) -> dict[str, Any]:
    """What stands there when the next run has looked, and when it has run."""
    status, told = forked(lambda: recover(place.out))
    stood = which(place.contents(), old, new)
    again, more = forked(place.cut)
    return {
        "recovered": status,
        "stood": stood,
        "again": again,
        "told_then": told + more,
        "then": which(place.contents(), old, new),
        "strays": place.strays(),
    }


def full_disks(
    place: Place, old: Mapping[str, bytes], new: Mapping[str, bytes], layout: bytes
) -> Iterator[dict[str, Any]]:
    """No file may grow beyond a limit that just spoils one of those to be written."""
    for size in sorted({0, *(len(d) - 1 for d in new.values())}):
        place.restore(old, layout)

        def act(size: int = size) -> None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
            place.cut()

        status, told = forked(act)
        left = place.strays()
        yield {
            "try": f"full disk at {size}",
            "status": status,
            "told": told,
            "left": left,
            **after(place, old, new),
        }


def read_only(
    place: Place, old: Mapping[str, bytes], new: Mapping[str, bytes], layout: bytes
) -> Iterator[dict[str, Any]]:
    """The output folder, and the folder that it lies in, as someone who may not write there."""
    for what, closed in (("output", place.out), ("parent", place.folder)):
        place.restore(old, layout)
        place.folder.chmod(0o777)
        place.out.chmod(0o777)
        closed.chmod(0o555)

        def act() -> None:
            if os.geteuid() == 0:
                os.setegid(NOBODY)
                os.seteuid(NOBODY)
            place.cut()

        status, told = forked(act)
        closed.chmod(0o755)
        left = place.strays()
        yield {
            "try": f"read-only {what}",
            "status": status,
            "told": told,
            "left": left,
            **after(place, old, new),
        }


if __name__ == "__main__":
    start = time.perf_counter()
    with Path(sys.argv[2]).open("w", encoding="utf-8") as lines:
        for found in tries(Place(Path(sys.argv[1]))):
            lines.write(json.dumps(found) + "\n")
            lines.flush()
    print(f"{time.perf_counter() - start:.1f} s")
