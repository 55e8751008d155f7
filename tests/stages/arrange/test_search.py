"""The child processes: panics, garbage, Ctrl-C, searches that follow each other, early ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path as File

import pytest

from foamwright.geometry.path import Path
from foamwright.model import Copy
from foamwright.stages.arrange import search
from foamwright.stages.arrange.outline import Shape
from foamwright.stages.arrange.search import Found, find
from tests.pieces import piece, rectangle

#: Lays 40 pieces out with a minute's time, tells each better layout, then what came of it.
LONG = """
import sys
sys.path.insert(0, {root!r})
from foamwright.model import Limits, Stock
from foamwright.stages.arrange import Asked, arrange
from tests.stages.arrange.test_place import leaves
tell = lambda progress: print("better", progress.pieces, flush=True)
limits = Limits((400, 300), "roll", (5, 6, 7, 8), 3, 1)
layout = arrange(leaves(40), [Stock("foam", "roll", 400, 4000)], limits, Asked(60, tell=tell))
print(*(f.code for f in layout.findings), sum(len(s.placements) for s in layout.sheets))
"""


def shapes(count: int, size: float = 40) -> list[Shape]:
    made = piece("leaf", Path.polygon([0, size, size * (1.2 + 0.5j), size * (0.4 + 1.1j)]))
    return [
        Shape(Copy(f"leaf/drawn/{k}", "leaf", made, False, "foam", "table"), (0.0, 180.0))
        for k in range(count)
    ]


def test_every_shape_has_a_place_and_each_layout_is_better_than_the_last() -> None:
    told: list[Found] = []

    def better(found: Found) -> bool:
        told.append(found)
        return True

    found = find(shapes(20), 300, 2, 1, 1, better)
    assert found is not None
    assert sorted(i for i, *_ in found.places) == list(range(20))
    assert found == told[-1]
    lengths = [t.length for t in told]
    assert lengths == sorted(lengths, reverse=True)
    assert {turn for _, turn, _, _ in found.places} <= {0.0, 180.0}


def test_no_time_gives_the_first_layout() -> None:
    assert find(shapes(20), 300, 2, 0, 1) is not None


def test_a_panic_of_the_library_is_no_layout() -> None:
    """A piece as tall as the strip makes it panic, as was measured."""
    tall = piece("tall", rectangle(100, 50))
    made = Copy("tall/drawn/1", "tall", tall, False, "foam", "table")
    assert find([Shape(made, (0.0,))], 100, 0, 1, 1) is None


@pytest.mark.parametrize(
    "line", ["", "[]", "{", "null", '{"placed": [[0, 0, 1, 1]]}', '{"placed": [[9, 0, 1, 1]]}']
)
def test_a_line_that_is_no_whole_layout_is_passed_over(line: str) -> None:
    assert search._read(line, shapes(2), [[0, 1]]) is None


def test_enough_is_enough() -> None:
    told: list[Found] = []

    def first_only(found: Found) -> bool:
        told.append(found)
        return False

    assert find(shapes(30), 300, 2, 60, 1, first_only) == told[0]
    assert len(told) == 1


def test_ctrl_c_keeps_the_best_and_the_run_goes_on() -> None:
    root = os.path.dirname(os.path.dirname(os.path.dirname(os.path.dirname(__file__))))
    with subprocess.Popen(
        [sys.executable, "-c", LONG.format(root=root)], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        for _ in range(3):
            assert run.stdout.readline().startswith("better")
        run.send_signal(signal.SIGINT)
        *_, last = run.stdout.read().splitlines()
    assert run.returncode == 0
    assert last == "L408 40"


#: Stands in for the child: takes a number, notes what it was asked, lays two pieces out.
STAND_IN = """
import json, os, signal, sys, time
asked = json.load(sys.stdin)
number = 0
while True:
    try:
        os.close(os.open({folder!r} + f"/{{number}}", os.O_CREAT | os.O_EXCL))
        break
    except FileExistsError:
        number += 1
with open({folder!r} + "/asked", "a") as notes:
    notes.write(json.dumps([asked["seed"], asked["seconds"]]) + chr(10))
def lay(width):
    placed = [[0, 0.0, 0.0, 0.0], [0, 0.0, width, 0.0]]
    print(json.dumps(dict(width=width, density=0.5, placed=placed)), flush=True)
{what}
"""


def stand_in(folder: File, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    program = folder / "child.py"
    program.write_text(STAND_IN.format(folder=str(folder), what=what))
    monkeypatch.setattr(search, "CHILD", program)
    monkeypatch.setattr(search, "PROCESSES", 2)


def asked_of(folder: File) -> list[tuple[int, float]]:
    return [tuple(json.loads(line)) for line in (folder / "asked").read_text().splitlines()]


def test_searches_follow_each_other_with_new_seeds_until_they_bring_nothing(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(tmp_path, "lay(max(80.0, 100.0 - number))", monkeypatch)
    found = find(shapes(2), 300, 2, 3600, 1)
    asked = asked_of(tmp_path)
    assert found is not None
    assert found.length == 80
    assert 20 + search.FRUITLESS <= len(asked) <= 20 + search.FRUITLESS + search.PROCESSES
    assert len({seed for seed, _ in asked}) == len(asked)


def test_searches_that_bring_nothing_are_followed_by_longer_ones(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(tmp_path, "lay(100.0)", monkeypatch)
    monkeypatch.setattr(search, "PROCESSES", 1)
    find(shapes(2), 300, 2, 36000, 1)
    expected = [search.SEARCH_S * search.LONGER**k for k in (0, *range(search.FRUITLESS))]
    assert [seconds for _, seconds in asked_of(tmp_path)] == pytest.approx(expected, rel=0.02)


def test_the_last_search_has_all_of_the_time_that_is_left(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With 1.4 times the time of one search there is one; without time there is one, too."""
    stand_in(tmp_path, "lay(100.0)\ntime.sleep(3600)", monkeypatch)
    monkeypatch.setattr(search, "PROCESSES", 1)
    monkeypatch.setattr(search, "SEARCH_S", 2.0)
    find(shapes(2), 300, 2, 2.8, 1)
    find(shapes(2), 300, 2, 0, 1)
    assert [seconds for _, seconds in asked_of(tmp_path)] == pytest.approx([2.8, 0], rel=0.01)


def test_the_best_of_all_searches_stands_whatever_comes_after_or_is_killed(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch
) -> None:
    what = "lay(70.0 if number == 1 else 90.0)\nos.kill(os.getpid(), signal.SIGKILL)"
    stand_in(tmp_path, what, monkeypatch)
    told: list[float] = []
    found = find(shapes(2), 300, 2, 60, 1, lambda f: told.append(f.length) is None)
    assert found is not None
    assert found.length == told[-1] == 70
    assert told in ([70.0], [90.0, 70.0])


def test_a_search_that_goes_on_and_on_is_ended_with_the_budget(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each would go on for an hour: neither is followed, neither is left behind."""
    what = "lay(90.0 - number)\nopen(sys.argv[0] + str(os.getpid()), 'w').close()\ntime.sleep(3600)"
    stand_in(tmp_path, what, monkeypatch)
    found = find(shapes(2), 300, 2, 4, 1)
    assert found is not None
    assert found.length == 89
    assert len(asked_of(tmp_path)) == search.PROCESSES
    for note in tmp_path.glob("child.py?*"):
        with pytest.raises(ProcessLookupError):
            os.kill(int(note.name.removeprefix("child.py")), 0)
