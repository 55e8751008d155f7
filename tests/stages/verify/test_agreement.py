"""What the geometry can't show: the tool is the profiles' own, and contours' operations fit."""

from __future__ import annotations

import pathlib
from dataclasses import replace
from typing import Any

import proof_bench as b
import pytest

from foamwright.geometry.path import Path
from foamwright.model import Tool
from foamwright.stages.verify import verify

MACHINE = {
    "method": "oscillating-knife",
    "applies": [],
    "marks_by": "pen",
    "edge_angle": 45.0,
    "edges": "single",
}
MATERIAL = {"thickness": 2.0, "cut.method": "oscillating-knife"}
TOOL = Tool("oscillating-knife", marks_by="pen", overrun=2.0)
BOX = b.square("box", 20 + 20j, 60)
CORNERS = [20 + 20j, 80 + 20j, 80 + 80j, 20 + 80j]


def strokes() -> tuple[Any, ...]:
    """The box's four sides, each run on by the overrun."""
    made = []
    for here, there in zip(CORNERS, [*CORNERS[1:], CORNERS[0]], strict=True):
        on = there + 2.0 * (there - here) / abs(there - here)
        made.append(b.outline_cut(BOX, Path.polygon([here, on], closed=False)))
    return tuple(made)


def written(folder: pathlib.Path, tool: Tool = TOOL, **values: Any) -> pathlib.Path:
    b.Bench((BOX,), strokes(), tool).write(folder)

    def told(record: dict[str, Any]) -> None:
        for kind, name, table in (("machine", "bench", MACHINE), ("material", "card", MATERIAL)):
            listed = {k: values.get(k, v) for k, v in table.items()}
            record["profiles"].append(
                {
                    "kind": kind,
                    "id": name,
                    "values": [{"key": k, "value": v, "origin": "job"} for k, v in listed.items()],
                }
            )

    b.amend(folder, told)
    return folder


def test_a_tool_of_its_profiles_passes(tmp_path: pathlib.Path) -> None:
    proof, found = verify(written(tmp_path))
    assert b.faults(found) == []
    assert proof.passed


@pytest.mark.parametrize(
    ("tool", "word"),
    [
        (replace(TOOL, overrun=0.0), "overrun"),
        (replace(TOOL, overrun=1.0), "overrun"),
        (replace(TOOL, applies=frozenset({"overrun"})), "applies"),
        (replace(TOOL, marks_by="slit"), "marks_by"),
        (Tool("laser", marks_by="pen"), "method"),
    ],
)
def test_a_tool_that_is_not_its_profiles_is_refused(
    tmp_path: pathlib.Path, tool: Tool, word: str
) -> None:
    """The strokes free the box at its face whatever the blade; only the profiles tell."""
    proof, found = verify(written(tmp_path, tool))
    assert not proof.passed
    assert {f.code for f in found if f.is_fault} == {"V003"}
    assert any(word in f.what for f in found)


@pytest.mark.parametrize(("key", "value"), [("thickness", 3.0), ("edge_angle", 60.0)])
def test_profile_values_that_were_changed_are_refused(
    tmp_path: pathlib.Path, key: str, value: float
) -> None:
    proof, found = verify(written(tmp_path, **{key: value}))
    assert not proof.passed
    assert {f.code for f in found if f.is_fault} == {"V003"}


SLIT = b.with_slits(BOX, Path.polygon([30 + 30j, 50 + 30j], closed=False))
OUTER = b.outline_cut(SLIT, b.rounded(20 + 20j, 60, 60, 0.1))


@pytest.mark.parametrize("operation", ["PEN", "SCORE", "HOLE"])
def test_a_slit_that_is_only_drawn_is_refused(tmp_path: pathlib.Path, operation: Any) -> None:
    cuts = (b.cut(SLIT, "slit:0", operation, SLIT.slits[0].path), OUTER)
    proof, found = b.Bench((SLIT,), cuts).prove(tmp_path)
    assert not proof.passed
    assert b.faults(found) == [("V003", "box/drawn/1")] * 2


WRONG_TOOLS: dict[str, Any] = {
    "kerf": [1e300, "0.2", True, None, -0.1],
    "blade_offset": [1e300, 1e-300],
    "applies": [5, "kerf", [[1]]],
    "edges": ["x", ["single"]],
    "cut_speed": ["fast"],
    "marks_by": ["zap"],
}


@pytest.mark.parametrize("key", WRONG_TOOLS)
def test_a_tool_of_wrong_values_is_refused_in_words(tmp_path: pathlib.Path, key: str) -> None:
    folder = b.Bench((SLIT,), (b.cut(SLIT, "slit:0", "CUT_SLIT", SLIT.slits[0].path), OUTER)).write(
        tmp_path
    )
    for value in WRONG_TOOLS[key]:
        b.amend(folder, lambda r, v=value: [f["tool"].update({key: v}) for f in r["files"]])
        proof, found = verify(folder)
        assert not proof.passed
        assert [c for c, _ in b.faults(found)] == ["V003", "V003"]


def _first(field: str, value: Any) -> Any:
    return lambda r: r["files"][0].update({field: value})


@pytest.mark.parametrize(
    "change",
    [
        _first("origin", [1e300, 0.0]),
        _first("scale", 0.0),
        _first("name", "job\0.dxf"),
        lambda r: r["pieces"][0].update(target="M0 0 L1e308 0 L1e308 1e308 Z"),
        lambda r: r["pieces"][0].update(target="M0 0 L1e-12 0 L0 1e-12 Z"),
        lambda r: r["pieces"][0].update(target="M1 1 L2 1 L1 1 Z"),
    ],
)
def test_numbers_that_cannot_be_meant_are_refused_in_words(
    tmp_path: pathlib.Path, change: Any
) -> None:
    folder = b.Bench((BOX,), (replace(OUTER),)).write(tmp_path)
    b.amend(folder, change)
    proof, found = verify(folder)
    assert not proof.passed
    assert b.faults(found)
