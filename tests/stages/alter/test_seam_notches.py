"""Notches set once for a seam meet when both its edges are walked from the shared end."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.job_pattern import SizeKeys
from foamwright.model import Piece
from foamwright.stages.alter import alter, draft, with_seam_notches
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, made, spec
from tests.stages.alter.test_seams import seam


def sewn(notches: list[dict[str, Any]], bulge: float, height: float) -> list[tuple[Piece, float]]:
    """Both pieces with the start of each notch's place along its own edge."""
    bow = Path.of(
        [Line(0, 80), Line(80, 80 + 100j), Line(80 + 100j, 100j), Arc(100j, 0, bulge)], closed=True
    )
    flat = piece("b", rectangle(60, height))
    keys: dict[str, Any] = {"allowance": {"default": 8}}
    pieces = {
        "a": (piece("a", bow), spec(name="a", edges={"side": ("4", "1")}, **keys)),
        "b": (flat, spec(name="b", edges={"side": ("2", "3")}, **keys)),
    }
    found, faults = draft(pieces, SizeKeys(), TOLERANCE)
    found = with_seam_notches(found, (seam("a.side", "b.side", ease=1000, notch=notches),))
    assert not faults
    targets = []
    for name in "ab":
        target, told = alter(found[name], TOLERANCE)
        assert not told, [f.line() for f in told]
        targets.append((target, found[name].pattern.edge("side").length))
    return targets


@settings(deadline=None, max_examples=30, derandomize=True)
@given(at=st.floats(0.2, 0.8), bulge=st.floats(0.05, 0.4), height=st.floats(95, 140))
def test_notches_meet_when_both_edges_are_walked(at: float, bulge: float, height: float) -> None:
    slit = {"at": f"{100 * at} %", "shape": "slit"}
    (first, long), (second, other) = sewn([slit], bulge, height)
    walked = []
    for target, start in ((first, 100j), (second, complex(60, 0))):
        assert target.stitch is not None
        spot = target.slits[0].path.end
        here, _ = nearest_length(target.stitch, spot)
        began, _ = nearest_length(target.stitch, start)
        walked.append((here - began) % target.stitch.length)
    # face to face: the second edge is walked from its end; ease is spread evenly
    assert walked[0] / long == pytest.approx(at, abs=1e-4)
    assert (other - walked[1]) / other == pytest.approx(at, abs=1e-4)


def test_a_seam_of_equal_edges_has_its_notch_at_equal_length() -> None:
    targets = sewn([{"at": "30 mm", "shape": "slit"}], 1e-9, 100.0)
    assert targets[0][0].slits[0].path.start == pytest.approx(-8 + 70j, abs=1e-6)
    assert targets[1][0].slits[0].path.start == pytest.approx(68 + 70j, abs=1e-6)


def test_a_double_notch_is_two_about_its_place() -> None:
    notch = {"edge": "low", "at": "50 mm", "shape": "slit", "double": True, "apart": 10}
    target = made(
        piece("part", rectangle(100, 60)),
        edges={"low": ("1", "2")},
        allowance={"default": 6},
        notch=(notch,),
    )
    assert [s.path.start for s in target.slits] == pytest.approx([45 - 6j, 55 - 6j])
