"""Sewn first, trimmed after: the block, the stitch line on it, clips in the crotches."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.geometry.region import covers, curve, distance, region
from foamwright.geometry.segments import Arc, Line
from foamwright.job_marks import SewThenCut
from foamwright.model import Piece
from foamwright.stages.alter import alter
from foamwright.stages.alter.template import block, crotches, templated
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, drafts

#: Two fingers 10 mm wide with a crotch at (20, 20), a V between them.
VEE = Path.polygon([0j, 40 + 0j, 40 + 60j, 25 + 60j, 20 + 20j, 15 + 60j, 60j])


def fingers(gap: float) -> Path:
    """Two fingers with a round crotch between them, `gap` mm wide, its bottom at y = 20."""
    r = gap / 2
    low = 20 + r
    corners = [0j, 40 + 0j, 40 + 60j, complex(20 + r, 60), complex(20 + r, low)]
    left = [complex(20 - r, low), complex(20 - r, 60), 60j]
    lines = [Line(a, b) for a, b in pairwise(corners)]
    crotch = Arc(corners[-1], left[0], -1.0)  # a half circle, clockwise
    return Path.of([*lines, crotch, *(Line(a, b) for a, b in pairwise([*left, 0j]))], True)


def made(outline: Path, drawn: bool = True, **keys: Any) -> tuple[Piece, tuple[Finding, ...]]:
    asked = {"sew_then_cut": keys, "edges": {"wrist": ("1", "2"), "tip": ("3", "4")}}
    pattern, _ = drafts(piece("part", outline), **asked)
    return templated(alter(pattern, TOLERANCE)[0], pattern.pattern, pattern.spec, drawn)


def marks(target: Piece, name: str) -> list[Path]:
    return [p for m in target.marks if m.name.startswith(name) for p in m.paths]


def test_the_block_is_a_rectangle_so_far_beyond_the_stitch_line() -> None:
    target, _ = made(VEE, margin=15)
    assert target.outline.bounds == pytest.approx((-15, -15, 55, 75))
    assert target.outline.area == pytest.approx(70 * 90)
    assert target.stitch is not None
    assert target.stitch.area == pytest.approx(VEE.area)


def test_it_lies_along_the_grain() -> None:
    turned = block(rectangle(40, 20), 5.0, 30.0)
    x0, y0, x1, y1 = turned.bounds
    sides = sorted(abs(s.end - s.start) for s in turned.segments)
    up = math.radians(60)
    wide, high = 40 * math.cos(up) + 20 * math.sin(up), 40 * math.sin(up) + 20 * math.cos(up)
    assert sides == pytest.approx(sorted([wide + 10] * 2 + [high + 10] * 2))
    assert x1 - x0 > 50
    assert y1 - y0 > 30


def test_the_stitch_line_is_drawn_whole_where_nothing_stays_open() -> None:
    (line,) = marks(made(VEE)[0], "stitch-line")
    assert line.closed
    assert line.length == pytest.approx(VEE.length)


def test_an_open_edge_is_dashed_and_the_rest_is_one_line() -> None:
    target, _ = made(VEE, open=["wrist"])
    (line,) = marks(target, "stitch-line")
    assert not line.closed
    assert line.length == pytest.approx(VEE.length - 40)
    dashes = marks(target, "open-wrist")
    assert (dashes[0].start, dashes[-1].end) == pytest.approx((0j, 40 + 0j))
    assert 0.4 * 40 < sum(d.length for d in dashes) < 0.8 * 40
    assert all(p.imag == 0 for d in dashes for p in (d.start, d.end))


def test_two_open_edges_leave_two_lines() -> None:
    lines = marks(made(VEE, open=["tip", "wrist"])[0], "stitch-line")
    assert sum(p.length for p in lines) == pytest.approx(VEE.length - 40 - 15)
    assert len(lines) == 2


def test_a_hollow_corner_is_clipped_down_its_middle_nearly_to_the_stitch_line() -> None:
    wide = Path.polygon([0j, 40 + 0j, 40 + 60j, 32 + 60j, 20 + 20j, 8 + 60j, 60j])
    (clip,) = marks(made(wide, trim=4, clip=1.5)[0], "clip")
    off = 0.4 * 1.5 / math.sin(math.atan2(12, 40))
    assert clip.end == pytest.approx(20 + (20 + max(1.5, off)) * 1j)
    assert clip.start == pytest.approx(20 + (20 + 3 * 4) * 1j)  # a V so narrow is cut up to 3 trims
    assert distance(curve(clip), region(wide)) == pytest.approx(0.6, abs=0.03)


def test_where_the_angle_is_wide_the_clip_starts_at_the_trimming() -> None:
    """A right angle: the trimming's corner lies trim / sin 45 degrees off the stitch line's."""
    ell = Path.polygon([0j, 60 + 0j, 60 + 30j, 30 + 30j, 30 + 60j, 60j])
    (clip,) = marks(made(ell, trim=3)[0], "clip")
    way = cmath.rect(1.0, math.pi / 4)
    assert clip.start == pytest.approx(30 + 30j + 3 * math.sqrt(2) * way)
    assert clip.end == pytest.approx(30 + 30j + way)


@pytest.mark.parametrize(("gap", "count"), [(4.0, 1), (8.0, 1), (12.0, 3), (18.0, 3)])
def test_a_round_crotch_is_clipped_by_its_turn(gap: float, count: int) -> None:
    """A half circle: each clip serves 60 degrees; one, where three would cross."""
    found = crotches(fingers(gap), 3.0)
    assert len(found) == count
    centre = 20 + 1j * (20 + gap / 2)
    middle = found[count // 2]
    assert abs(cmath.phase((middle.at - centre) / -1j)) < math.radians(8)
    for crotch in found:
        assert abs(crotch.at - centre) == pytest.approx(gap / 2, abs=0.05)
        assert abs(cmath.phase(crotch.out / (centre - crotch.at))) < math.radians(2)


def test_an_outside_corner_and_a_wide_hollow_are_no_crotch() -> None:
    assert not crotches(rectangle(40, 30), 3.0)
    wide = [Line(0j, 80 + 0j), Line(80 + 0j, 80 + 40j), Arc(80 + 40j, 40j, -0.3), Line(40j, 0j)]
    assert not crotches(Path.of(wide, True), 3.0)


def test_on_an_edge_left_open_nothing_is_clipped() -> None:
    outline = Path.polygon([0j, 20 + 8j, 40 + 0j, 40 + 60j, 60j])
    assert len(marks(made(outline)[0], "clip")) == 1
    pattern, _ = drafts(
        piece("part", outline), sew_then_cut={"open": ["hem"]}, edges={"hem": ("1", "3")}
    )
    target, _ = templated(alter(pattern, TOLERANCE)[0], pattern.pattern, pattern.spec)
    assert not marks(target, "clip")


def test_a_clip_without_room_is_left_out_and_told() -> None:
    """Fingers 1 mm apart: no clip of 0.8 mm stays off both stitch lines."""
    target, (told,) = made(fingers(0.6))
    assert not marks(target, "clip")
    assert (told.code, told.is_fault) == ("A349", False)
    assert "at 20.1, 20.0 mm finds no room" in told.what


def test_what_can_t_be_made_is_refused() -> None:
    _, (told,) = made(VEE, open=["cuff"])
    assert (told.code, told.is_fault) == ("A348", True)
    _, (told,) = made(VEE, drawn=False)
    assert (told.code, told.is_fault) == ("A348", True)


def test_none_is_asked_for() -> None:
    pattern, _ = drafts(piece("part", VEE))
    target = alter(pattern, TOLERANCE)[0]
    assert templated(target, pattern.pattern, pattern.spec) == (target, ())


def test_clip_trim_and_margin_lie_in_turn() -> None:
    for keys in ({"clip": 3.0}, {"trim": 12.0}, {"margin": 2.0}):
        with pytest.raises(ValidationError, match="clip must be less than trim"):
            SewThenCut.model_validate(keys)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(12, 60), st.floats(-0.3, 0.3)), min_size=6, max_size=12),
    st.floats(1.5, 6),
)
def test_every_clip_lies_in_the_block_and_off_the_stitch_line(
    corners: list[tuple[float, float]], trim: float
) -> None:
    n = len(corners)
    outline = Path.polygon(
        [r * cmath.exp(2j * cmath.pi * (k + lean) / n) for k, (r, lean) in enumerate(corners)]
    )
    target, _ = made(outline, trim=trim, clip=1.0, margin=20)
    sewn, whole = region(outline), region(target.outline)
    hollow = sum(
        1
        for (a, b), (_, c) in zip(
            list(pairwise([*outline.corner_points(), outline.corner_points()[0]])),
            list(pairwise([*outline.corner_points()[1:], *outline.corner_points()[:2]])),
            strict=True,
        )
        if math.degrees(cmath.phase((c - b) / (b - a))) < -30
    )
    clips = marks(target, "clip")
    assert len(clips) <= hollow
    for clip in clips:
        assert covers(whole, curve(clip))
        assert distance(curve(clip), sewn) >= 0.4 - 0.02
