"""The child process: panics, garbage, Ctrl-C from a terminal, and the first layout of many."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

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
