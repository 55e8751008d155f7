"""Places where a contour may be entered, and the proof of a job that enters there."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheets import leaf, rectangle, rounded
from tests.jobs import PAIRS, bare, drawing

from foamwright import pipeline, planning
from foamwright.geometry.path import Path
from foamwright.stages.compensate.places import (
    CORNERS,
    LEAST,
    MOST,
    even_places,
    outside_corners,
    places,
    ways,
)


@pytest.mark.parametrize(
    "way", [rectangle(0, 0, 60, 40), rounded(0, 0, 50, 30, 4), leaf(0, 0, 40), Path.circle(0j, 2)]
)
def test_even_places_lie_in_equal_steps(way):
    found = even_places(way)
    assert LEAST <= len(found) <= MOST
    at = way.joint_lengths()
    along = [at[i] + way.segments[i].split(t)[0].length() for i, t in found]
    step = way.length / len(found)
    assert along == pytest.approx([step * (k + 0.5) for k in range(len(found))], abs=1e-5)


def test_a_place_on_a_joint_is_the_joint():
    """A square of 8 sides of 10 mm has its places in their middles; of sides of 5 mm, on joints."""
    square = [0, 5, 10, 15, 20, 20 + 5j, 20 + 10j, 20 + 15j, 20 + 20j, 15 + 20j, 10 + 20j, 5 + 20j]
    square += [20j, 15j, 10j, 5j]
    found = even_places(Path.polygon([complex(p) for p in square]))
    assert [t for _, t in found] == [0.0] * len(found)


def test_outside_corners_are_those_that_turn_as_the_material_does_the_sharpest_first():
    notched = Path.polygon([0j, 60 + 0j, 60 + 30j, 40 + 30j, 30 + 10j, 20 + 30j, 0 + 30j])
    found = [notched.segments[i].start for i, _ in outside_corners(notched)]
    assert 30 + 10j not in found
    assert len(found) == 6
    assert set(found[:4]) == {0j, 60 + 0j, 60 + 30j, 30j}  # right angles; the others 63 degrees
    comb = [complex(k, k % 2) for k in range(40)] + [39 + 30j, 30j]
    assert len(outside_corners(Path.polygon(comb))) == CORNERS


def test_no_even_place_lies_beside_a_corner():
    way = rectangle(0, 0, 60, 40)
    spots = [way.segments[i].point(t) for i, t in places(way)]
    assert min(abs(a - b) for k, a in enumerate(spots) for b in spots[:k]) > 2.5


def test_an_open_line_may_be_run_from_either_end_and_a_loop_from_its_places():
    line = Path.polygon([0j, 10 + 0j, 10 + 5j], closed=False)
    assert [e.path for e in ways(line)] == [line, line.reversed()]
    ring = rectangle(0, 0, 60, 40)
    found = ways(ring)
    assert found[0].path == ring
    assert len({e.start for e in found}) == len(found) > LEAST
    assert all(e.path.closed and e.path.area == pytest.approx(2400) for e in found)


@pytest.mark.parametrize("method", PAIRS)
@pytest.mark.parametrize("which", [1, 5, -1])
def test_a_job_entered_elsewhere_is_proven_too(tmp_path, monkeypatch, method, which):
    """Every contour by the same one of its entries, whatever order would choose."""
    real, seen = planning.order, []

    def forced(cuts, sheet, tool):
        chosen = []
        for c in cuts:
            entry = c.entries[which % len(c.entries)] if c.entries else None
            seen.append(entry)
            chosen.append(replace(c, path=entry.path, entries=()) if entry else c)
        return real(chosen, sheet, tool)

    monkeypatch.setattr(planning, "order", forced)
    result = pipeline.cut(bare(drawing(tmp_path), method), tmp_path / "out")
    assert result.record.verification.passed
    assert any(seen)
