"""A cut from an offcut that is killed at every call between booking and the end of publishing.

    python -m tests.offcut_kills FOLDER LINES

One process plans, writes and proves a cut; then each fork publishes it and dies at one call of the
modules that book and publish.  A line of JSON for each says what the shelf and the folder held.
`test_offcut_kills` judges them.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

from foamwright import pipeline
from foamwright.asked import Plan, Request
from foamwright.findings import Refused
from foamwright.finishing import book_offcuts, finish, prove, write_programs
from foamwright.offcuts import FILE, Entry, booked, give_back, offcuts
from foamwright.stages.save.publish import RECORD, publish, recover, staging

from .jobs import job
from .kills import forked

MODULES = ("offcuts.py", "publish.py", "locks.py", "shelf_writing.py")
STRIP = "M0 0L300 0L300 90L0 90Z"


class Place:
    """A job, its cut as it waits to be published, and what stood before."""

    def __init__(self, folder: Path) -> None:
        self.shelf, self.out, self.ready = folder / "shelf", folder / "out", folder / "ready"
        os.environ["FOAMWRIGHT_PROFILES"] = str(self.shelf)
        self.made = job(folder / "job")
        pipeline.cut(Request.of(self.made.file, layout_time=0), self.out)
        self.earlier = {p.name: p.read_bytes() for p in self.out.iterdir()}
        strip = Entry(id="b7", material="card-1mm", outline=STRIP, came_from="earlier")
        with booked(self.shelf, "earlier", (), [strip]):
            pass
        self.before = (self.shelf / FILE).read_bytes()
        self.plan = self.written()

    def written(self) -> Plan:
        asked = Request.of(self.made.file, layout_time=0, use_offcuts=True, keep_offcuts="40 mm")
        plan = pipeline.plan(replace(asked, out=self.out))
        with staging(self.out) as folder:
            draft = write_programs(plan, folder)
            proof, found = prove(plan, folder)
            finish(plan, draft, proof, found, folder)
            shutil.copytree(folder, self.ready)
        return plan

    def restore(self, is_first: bool) -> Path:
        """As before the cut; is_first: no cut stands in the folder. Gives the files to publish."""
        shutil.rmtree(self.out, ignore_errors=True)
        if not is_first:
            self.out.mkdir()
            for name, data in self.earlier.items():
                (self.out / name).write_bytes(data)
        (self.shelf / FILE).write_bytes(self.before)
        staged = self.out.with_name("staged")
        shutil.rmtree(staged, ignore_errors=True)
        shutil.copytree(self.ready, staged)
        return staged

    def publish(self, staged: Path) -> None:
        with book_offcuts(self.plan, self.out):
            publish(staged, self.out)

    @property
    def is_made(self) -> bool:
        """Whether the new cut stands in the folder, once the next run has looked."""
        if self.out.is_dir():
            recover(self.out)
        record = self.out / RECORD
        return record.is_file() and record.read_bytes() == (self.ready / RECORD).read_bytes()

    def state(self) -> dict[str, list[str]]:
        return {e.id: [e.booked_by, e.begun_by] for e in offcuts(self.shelf)}


class Killer:
    """Counts the calls of the modules; dies at one of them."""

    def __init__(self, at: int) -> None:
        self.count, self.at = 0, at

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        if event == "call" and Path(frame.f_code.co_filename).name in MODULES:
            self.count += 1
            if self.count == self.at:
                os.kill(os.getpid(), signal.SIGKILL)


def tries(place: Place) -> Iterator[dict[str, Any]]:
    """Each killed publication until one comes to its end; each kind of state is cut again whole."""
    met: set[str] = set()
    for is_first in (True, False):
        at = 0
        status = -signal.SIGKILL
        while status == -signal.SIGKILL:
            at += 1
            staged = place.restore(is_first)

            def act(at: int = at, staged: Path = staged) -> None:
                sys.setprofile(Killer(at))
                place.publish(staged)

            status, told = forked(act)
            stood = {"stood": place.state(), "made": place.is_made}
            seen = json.dumps([is_first, stood])
            again = {} if seen in met else cut_again(place)
            met.add(seen)
            yield {"first": is_first, "status": status, "told": told, **stood, **again}


def cut_again(place: Place) -> dict[str, Any]:
    """What others are offered and told; what giving back and cutting again come to."""
    book = (place.shelf / FILE).read_bytes()
    other = job(place.made.folder.with_name("others"))
    other.file.write_text(other.file.read_text("utf-8").replace('"plates"', '"others"'), "utf-8")
    plan = pipeline.plan(Request.of(other.file, layout_time=0, use_offcuts=True))
    stocks = {p.sheet.stock.name for _, p in plan.programs}
    with contextlib.suppress(Refused):  # where there is nothing to give back
        give_back(place.shelf, "plates")
    given = (place.shelf / FILE).read_bytes() == place.before
    (place.shelf / FILE).write_bytes(book)
    asked = Request.of(place.made.file, layout_time=0, use_offcuts=True, keep_offcuts="40 mm")
    pipeline.cut(asked, place.out)
    return {
        "others_get": sorted(stocks),
        "others_hear": [f.line() for f in plan.findings if f.code == "L414"],
        "given_back": given,
        "then": place.state(),
        "strays": sorted(p.name for p in place.shelf.iterdir() if p.name.endswith(".part")),
    }


if __name__ == "__main__":
    with Path(sys.argv[2]).open("w", encoding="utf-8") as lines:
        for found in tries(Place(Path(sys.argv[1]))):
            lines.write(json.dumps(found) + "\n")
            lines.flush()
