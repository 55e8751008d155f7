"""The searching program's own steps: which of the library's layouts are put right, and when."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from foamwright.stages.arrange import search_child
from foamwright.stages.arrange.eased import Eased

SQUARE = {"points": [(0.0, 0.0), (0.0, 50.0), (50.0, 50.0), (50.0, 0.0)], "turns": [0.0]}
REQUEST = {
    "height": 200.0,
    "separation": 1.0,
    "slack": 0.02,
    "items": [{**SQUARE, "count": 2}],
    "area": 5000.0,
}


def solution(width: float) -> Any:
    return SimpleNamespace(width=width, placed_items=[])


@pytest.mark.parametrize("sound", [120.0, 110.0, 100.0])
def test_where_the_shortest_cannot_be_put_right_the_next_is_tried(
    monkeypatch: pytest.MonkeyPatch, sound: float
) -> None:
    """Layouts of 130 mm and less, of which those below `sound` can't be put right."""

    def solutions(*_: object) -> Iterator[Any]:
        yield from map(solution, [130.0, 120.0, 110.0, 100.0])

    monkeypatch.setattr(search_child, "_solutions", solutions)
    monkeypatch.setattr(search_child, "_laid", lambda made: made.width)

    def put_right(_: Eased, width: float) -> Any:
        return (width, []) if width >= sound else None

    monkeypatch.setattr(Eased, "put_right", put_right)
    told: list[float] = []
    monkeypatch.setattr(search_child, "_tell", lambda width, *_: told.append(width))
    assert search_child._eased(REQUEST, 5.0)
    assert told[-1] == sound + 2
