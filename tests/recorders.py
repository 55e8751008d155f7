"""Recorders in processes of their own: many at once, and some that are killed in the middle.

Run by `test_recording_at_once.py` as a script with a task and the user's shelf: a single process
that has everything imported before it makes others.
"""

from __future__ import annotations

import datetime
import os
import random
import signal
import sys
import time
from pathlib import Path

from foamwright.profiles import Shelf
from foamwright.readings import Place
from foamwright.recording import Asked, Words, record
from foamwright.shelf_writing import add_entries

KERF = Place("kerf", "kerf", "")
READINGS = ("0.17", "0.18", "0.175")


def write(note: str) -> None:
    said = Words(by="a recorder", note=note)
    asked = Asked("card-1mm", ((KERF, READINGS),), machine="desk-laser-600", said=said)
    record(Shelf.of(), "material", asked)


def many(name: str, count: int) -> None:
    """Every tenth from readings on, the others bare: that is all the writing there is."""
    shelf = Path(os.environ["FOAMWRIGHT_PROFILES"])
    for k in range(count):
        if k % 10 == 0:
            write(f"{name}-{k}")
        else:
            bare(shelf, f"{name}-{k}")


def bare(shelf: Path, note: str) -> None:
    file = shelf / "materials" / "card-1mm.toml"
    head = '# ours\nschema = 2\nbased_on = "card-1mm"\n'
    day = datetime.date(2026, 1, 1)
    entry = {"what": "thickness", "value": "1 mm", "date": day, "note": note}
    add_entries(file, shelf, [("measured", entry)], head)


def in_a_child(task: object, *words: object) -> int:
    child = os.fork()
    if child == 0:
        task(*words)  # type: ignore[operator]
        os._exit(0)
    return child


def at_once() -> None:
    """Two processes with 100 writes each."""
    children = [in_a_child(many, name, 100) for name in ("one", "other")]
    assert [os.waitpid(c, 0)[1] for c in children] == [0, 0]


def until_killed(shelf: Path, done: int, turn: int) -> None:
    """Records without end, and says each that is finished."""
    k = 0
    while True:
        note = f"{turn}-{k}"
        bare(shelf, note)
        os.write(done, f"{note}\n".encode())
        k += 1


def killed(shelf: Path) -> None:
    """Fifty recorders, each killed at a moment of its own; prints what each had finished."""
    chance = random.Random(50)
    midway = 0
    for turn in range(50):
        reader, writer = os.pipe()
        child = in_a_child(until_killed, shelf, writer, turn)
        os.close(writer)
        time.sleep(chance.uniform(0.002, 0.04))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(reader) as told:
            sys.stdout.write(told.read())
        midway += bool(list((shelf / "materials").glob(".*.part")))
    print(f"midway {midway}", file=sys.stderr)


if __name__ == "__main__":
    place = Path(os.environ["FOAMWRIGHT_PROFILES"])
    {"at-once": at_once, "killed": lambda: killed(place)}[sys.argv[1]]()
