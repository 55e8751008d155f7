"""What must hold of every pattern, whatever its outline: sizes, allowances, pairs."""

from __future__ import annotations

import cmath
import math
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import self_crossings
from foamwright.geometry.segments import line_or_arc
from foamwright.model import Placement
from foamwright.stages.alter import copies_of, measure_pair
from foamwright.stages.alter.allowance import apart
from tests.pieces import piece
from tests.stages.alter.test_alter import TOLERANCE, made, spec


@st.composite
def outlines(draw: st.DrawFn) -> Path:
    """Five corners about the origin, 60 to 120 mm from it, their edges lines and arcs."""
    n = 5
    turns = [2 * math.pi * (k + draw(st.floats(-0.2, 0.2))) / n for k in range(n)]
    ends = [draw(st.floats(60, 120)) * cmath.rect(1, t) for t in turns]
    bulges = [draw(st.sampled_from([0.0, 0.1, 0.2, -0.1])) for _ in range(n)]
    edges = [line_or_arc(ends[k], ends[(k + 1) % n], bulges[k]) for k in range(n)]
    path = Path.of(edges, True)
    assume(len(path.corners) == n and not self_crossings(path))
    return path


KEYS: dict[str, Any] = {
    "edges": {"hem": ("1", "2"), "side": ("3", "4")},
    "allowance": {"default": 6, "hem": 12},
    "notch": [
        {"edge": "side", "at": 12},
        {"edge": "hem", "at": "40 %", "shape": "castle", "depth": 5},
    ],
}


@settings(deadline=None, max_examples=30, derandomize=True)
@given(path=outlines(), scale=st.floats(0.8, 3), kind=st.sampled_from(["mitre", "butt", "fold"]))
def test_scaled_then_allowed_is_the_allowance_at_the_new_size(
    path: Path, scale: float, kind: str
) -> None:
    """Altered at a scale, a drawing gives what a drawing of that size gives: outline, notches and
    all; neither allowance nor notch has grown.
    """
    keys = {**KEYS, "corners": {"hem": kind}}
    scaled = made(piece("part", path), scale, **keys)
    drawn_so = made(piece("part", path.transformed(Affine.scaling(scale))), **keys)
    assert apart(scaled.outline, drawn_so.outline) < 2 * TOLERANCE
    assert scaled.stitch is not None
    assert apart(scaled.stitch, path.transformed(Affine.scaling(scale))) < 1e-6


@settings(deadline=None, max_examples=30, derandomize=True)
@given(
    path=outlines(),
    turns=st.tuples(st.floats(-180, 180), st.floats(-180, 180)),
    back=st.booleans(),
)
def test_a_left_and_a_right_are_congruent_by_reflection_only(
    path: Path, turns: tuple[float, float], back: bool
) -> None:
    """Altered and laid anyhow, cut from the face or the back: measured on the outlines, notches in
    them.  Laid without turning over they miss each other by more than a notch's depth: this
    outline's hem is notched off its middle.
    """
    keys = {**KEYS, "count": 1, "mirrored": 1}
    target = made(piece("part", path), **keys)
    copies = copies_of(target, spec(**keys), "foam", "table", lambda _: (0.0,), back=back)
    left, right = (
        Placement(c, turn, 300.0, 40.0).piece for c, turn in zip(copies, turns, strict=True)
    )
    row, findings = measure_pair("left", left, "right", right)
    assert not findings
    assert row.mirrored_off < 0.005
    assert row.turned_off > 0.5
    assert math.isclose(left.outline.area, right.outline.area, rel_tol=1e-9)
