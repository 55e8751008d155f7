"""Laser with a kerf that differs in x and y: what the oval leaves, swallows, and chords of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sheets import leaf, piece, rectangle, sheet

from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line
from foamwright.model import Tool
from foamwright.stages.compensate import compensate
from foamwright.stages.compensate.unreached import unreached

TOLERANCE = 0.006
WIDE = Tool("laser", kerf=0.4, kerf_y=0.2)
HIGH = Tool("laser", kerf=0.2, kerf_y=0.4)


def codes(tool: Tool, *parts: Path) -> list[str]:
    outline, *openings = parts
    return [f.code for f in compensate(sheet(piece(outline, tuple(openings))), tool, TOLERANCE)[1]]


def vee(half: float) -> Path:
    """A box with a V cut into its top, its tip at (50, 40)."""
    mouth = 20 * math.tan(half)
    return Path.polygon(
        [20 + 20j, 80 + 20j, 80 + 60j, 50 + mouth + 60j, 50 + 40j, 50 - mouth + 60j, 20 + 60j]
    )


@pytest.mark.parametrize("tool", [WIDE, HIGH])
@pytest.mark.parametrize("degrees", [20, 30, 45])
def test_the_depth_that_an_oval_leaves_in_a_wedge(tool: Tool, degrees: float) -> None:
    """An oval between walls at the angle a on either side of upright stands sqrt(rx^2 cos^2 a +
    ry^2 sin^2 a) / sin a over the wedge's tip, by its support in the walls' normals, and reaches ry
    below its centre.
    """
    a = math.radians(degrees)
    rx, ry = tool.beam.rx, tool.beam.ry
    target = vee(a)
    cuts, findings = compensate(sheet(piece(target)), tool, TOLERANCE)
    assert [f.code for f in findings] == ["C503"]
    (spot,) = unreached(target, cuts[0].path, tool.beam)
    wanted = math.hypot(rx * math.cos(a), ry * math.sin(a)) / math.sin(a) - ry
    assert spot.depth == pytest.approx(wanted, abs=TOLERANCE)
    assert abs(spot.place - (50 + 40j)) < 1e-6
    assert not spot.swallowed


def test_a_slot_is_swallowed_by_the_kerf_across_it_only() -> None:
    """0.3 mm wide and upright: a kerf of 0.2 mm across it goes in, one of 0.4 mm does not."""
    outline = rectangle(20, 20, 60, 60)
    upright, lying = rectangle(50, 40, 0.3, 20), rectangle(40, 50, 20, 0.3)
    for tool, goes, stays in ((HIGH, upright, lying), (WIDE, lying, upright)):
        assert "C501" not in codes(tool, outline, goes)
        assert "C501" in codes(tool, outline, stays)


@pytest.mark.parametrize("upright", [True, False])
def test_a_slot_from_the_edge_is_swallowed_likewise(upright: bool) -> None:
    tall = [20, 80, 80 + 60j, 50.3 + 60j, 50.3 + 40j, 50 + 40j, 50 + 60j, 20 + 60j]
    points = [p + 20j for p in tall]
    if not upright:
        points = [complex(p.imag, p.real) for p in reversed(points)]
    slotted = Path.polygon(points)
    narrow, wide = (HIGH, WIDE) if upright else (WIDE, HIGH)
    assert "C502" in codes(wide, slotted)
    assert "C502" not in codes(narrow, slotted)


@pytest.mark.parametrize("tool", [WIDE, HIGH, Tool("laser", kerf=0.1, kerf_y=0.5)])
@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_arcs_and_chords_keep_the_way_within_tolerance(tool: Tool, curves: str) -> None:
    """No place of the written way is nearer than the oval allows, or farther, in the plane where
    it is a disc: there lengths are the sheet's or longer."""
    tool = Tool("laser", kerf=tool.kerf, kerf_y=tool.kerf_y, curves=curves)  # type: ignore[arg-type]
    target = leaf(30, 30, 20)
    cuts, _ = compensate(sheet(piece(target)), tool, TOLERANCE)
    path = cuts[0].path
    assert all(isinstance(s, Line) for s in path.segments) or curves == "arcs"
    stretch = tool.beam.stretch
    shape = np.array([stretch(complex(p)) for p in target.flatten(1e-4)])
    step = np.linspace(0, 1, 8)
    way = np.array([stretch(s.point(float(t))) for s in path.segments for t in step])
    assert np.abs(_distances(way, shape) - tool.beam.radius).max() <= TOLERANCE + 2e-4


def _distances(points: np.ndarray, ring: np.ndarray) -> np.ndarray:
    start, along = ring[:-1], np.diff(ring)
    found = []
    for p in points:
        t = np.clip(((p - start) * along.conj()).real / np.abs(along) ** 2, 0, 1)
        found.append(float(np.abs(start + t * along - p).min()))
    return np.array(found)


def test_pieces_nearer_than_the_widest_kerf_are_refused() -> None:
    one, two = piece(rectangle(20, 20, 20, 20), name="a"), piece(rectangle(40.3, 20, 20, 20))
    for tool, near in (
        (Tool("laser", kerf=0.2), False),
        (Tool("laser", kerf=0.2, kerf_entry=0.35, kerf_exit=0.2, true_face="bottom"), True),
        (WIDE, True),
    ):
        _, findings = compensate(sheet(one, two), tool, TOLERANCE)
        assert ("C506" in [f.code for f in findings]) is near


def test_the_kerf_is_told_both_ways() -> None:
    slot = rectangle(40, 50, 20, 0.3)
    _, findings = compensate(sheet(piece(rectangle(20, 20, 60, 60), (slot,))), HIGH, TOLERANCE)
    assert any("the kerf of 0.2 x 0.4 mm swallows the opening" in f.what for f in findings)
    assert HIGH.beam == Oval(0.1, 0.2)
