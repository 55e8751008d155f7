"""Size, allowance and the order in which a target is made."""

from __future__ import annotations

import cmath
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.geometry.region import boundary, curve, distance, region
from foamwright.geometry.segments import line_or_arc
from foamwright.job import PieceSpec
from foamwright.job_pattern import SizeKeys
from foamwright.model import Piece
from foamwright.stages.alter import Draft, alter, copies_of, draft
from foamwright.stages.alter.sound import unsound
from tests.pieces import piece, rectangle, square, thin_spike

TOLERANCE = 0.002


def spec(**keys: Any) -> PieceSpec:
    base = {"name": "part", "outline": "x.svg#part", "material": "foam"}
    return PieceSpec.model_validate({**base, **keys}, context={"units": "mm"})


def drafts(part: Piece, scale: float = 1.0, **keys: Any) -> tuple[Draft, list[Finding]]:
    pieces = {"part": (part, spec(**keys))}
    found, findings = draft(pieces, SizeKeys(scale=scale), TOLERANCE)
    return found["part"], list(findings)


def altered(part: Piece, scale: float = 1.0, **keys: Any) -> tuple[Piece, list[Finding]]:
    drawn, findings = drafts(part, scale, **keys)
    target, more = alter(drawn, TOLERANCE)
    return target, [*findings, *more]


def made(part: Piece, scale: float = 1.0, **keys: Any) -> Piece:
    target, findings = altered(part, scale, **keys)
    assert not [f.line() for f in findings if f.is_fault]
    return target


def codes(part: Piece, **keys: Any) -> list[str]:
    return [f.code for f in altered(part, **keys)[1]]


def test_an_allowance_on_a_stitch_line_is_mitred_at_the_corners() -> None:
    target = made(piece("part", rectangle(100, 60)), allowance={"default": 6})
    assert target.outline.area == pytest.approx(112 * 72, abs=1e-6)
    assert target.outline.length == pytest.approx(2 * (112 + 72), abs=1e-6)
    assert len(target.outline.corners) == 4
    assert target.stitch is not None
    assert target.stitch.area == pytest.approx(6000)


def test_scaling_a_stitch_line_does_not_scale_its_allowance() -> None:
    target = made(piece("part", rectangle(100, 60)), scale=1.5, allowance={"default": 6})
    assert target.outline.area == pytest.approx((150 + 12) * (90 + 12), abs=1e-6)


def test_scaling_a_cut_line_takes_the_allowance_off_and_puts_it_back() -> None:
    target = made(
        piece("part", rectangle(100, 60)), 2.0, drawn="cut-line", allowance={"default": 5}
    )
    assert target.outline.area == pytest.approx((2 * 90 + 10) * (2 * 50 + 10), abs=1e-4)


def test_a_cut_line_at_its_own_size_is_left_as_drawn() -> None:
    part = piece("part", rectangle(100, 60))
    target = made(part, drawn="cut-line", allowance={"default": 5})
    assert target.outline == part.outline
    assert target.stitch is not None
    assert target.stitch.area == pytest.approx(90 * 50, abs=1e-4)


@settings(deadline=None, max_examples=25, derandomize=True)
@given(radius=st.floats(5, 200), scale=st.floats(0.2, 5), width=st.floats(0.5, 20))
def test_scaling_then_allowing_equals_the_allowance_at_the_new_size(
    radius: float, scale: float, width: float
) -> None:
    target = made(piece("part", Path.circle(3 + 4j, radius)), scale, allowance={"default": width})
    assert target.outline.area == pytest.approx(math.pi * (radius * scale + width) ** 2, rel=1e-6)


def test_a_fixed_opening_keeps_its_size_and_its_middle_follows() -> None:
    part = piece("part", square(100), [Path.circle(30 + 40j, 6)])
    target = made(part, 2.0, fixed=("opening-1",))
    hole = target.openings[0].path
    assert -hole.area == pytest.approx(math.pi * 36)
    assert hole.bounds == pytest.approx((54, 74, 66, 86))


def test_an_opening_that_is_not_fixed_grows() -> None:
    part = piece("part", square(100), [Path.circle(30 + 40j, 6)])
    assert -made(part, 2.0).openings[0].path.area == pytest.approx(math.pi * 144)


def test_a_fixed_opening_that_is_not_there_is_named() -> None:
    assert codes(piece("part", square(50)), fixed=("rod",)) == ["A307"]


def test_an_allowance_off_a_cut_line_that_is_too_narrow_is_refused() -> None:
    part = piece("part", rectangle(100, 8))
    assert codes(part, drawn="cut-line", allowance={"default": 5}) == ["A309"]


def test_mirror_images_are_congruent_by_reflection_only() -> None:
    part = piece("part", Path.polygon([0, 60, 70 + 30j, 10 + 20j]))
    copies = copies_of(part, spec(count=1, mirrored=2), "foam", "table", lambda _: (0.0,))
    assert [c.name for c in copies] == ["part/drawn/1", "part/mirrored/1", "part/mirrored/2"]
    drawn, mirror = copies[0].piece.outline, copies[1].piece.outline
    assert mirror.area == pytest.approx(drawn.area)
    assert mirror.area > 0
    turned_back = {complex(-s.start.real, s.start.imag) for s in mirror.segments}
    assert turned_back == {s.start for s in drawn.segments}


def test_cut_from_the_back_every_copy_is_laid_as_its_mirror_image() -> None:
    part = piece("part", Path.polygon([0, 60, 70 + 30j, 10 + 20j]))
    front = copies_of(part, spec(mirrored=1), "fur", "table", lambda _: (0.0,))
    back = copies_of(part, spec(mirrored=1), "fur", "table", lambda _: (0.0,), back=True)
    assert [c.mirrored for c in back] == [False, True]
    assert back[0].piece.outline.bounds == front[1].piece.outline.bounds
    assert back[1].piece.outline.bounds == front[0].piece.outline.bounds


def test_the_cut_line_runs_at_the_allowance_from_the_stitch_line() -> None:
    wave = Path.polygon([0, 40 + 5j, 80, 90 + 50j, 40 + 30j, 5 + 45j])
    target = made(piece("part", wave), allowance={"default": 4})
    assert target.stitch is not None
    gap = distance(boundary(region(target.outline)), curve(target.stitch))
    assert gap == pytest.approx(4, abs=0.01)


@pytest.mark.parametrize(("middles", "scale"), [((50,), 0.3), ((25, 75), 0.7)])
def test_fixed_openings_that_the_resized_piece_can_t_bear_are_refused(
    middles: tuple[float, ...], scale: float
) -> None:
    """They leave the outline, or meet each other."""
    part = piece("part", square(100), [Path.circle(x + 50j, 20) for x in middles])
    fixed = tuple(o.name for o in part.openings)
    found = altered(part, scale, fixed=fixed)[1]
    assert {f.code for f in found} == {"A314"}
    assert not altered(part, 1.2, fixed=fixed)[1]


def test_an_allowance_that_closes_round_a_gap_is_refused() -> None:
    """A C whose mouth is narrower than two allowances, wider inside."""
    ends = [
        0,
        100,
        100 + 45j,
        80 + 45j,
        80 + 20j,
        20 + 20j,
        20 + 80j,
        80 + 80j,
        80 + 55j,
        100 + 55j,
    ]
    part = piece("part", Path.polygon([*ends, 100 + 100j, 100j]))
    assert codes(part, allowance={"default": 6}) == ["A309"]
    assert codes(part, allowance={"default": 4}) == []


@pytest.mark.parametrize("degrees", [4, 12, 25, 40])
@pytest.mark.parametrize("bulge", [0.0, 0.1])
def test_the_allowance_holds_round_a_sharp_tip(degrees: float, bulge: float) -> None:
    # common practice, no source: a tip's allowance is trimmed square, never to nothing
    spread = cmath.rect(80, math.radians(degrees / 2))
    sides = [
        (0j, spread.conjugate(), bulge),
        (spread.conjugate(), spread, 0.2),
        (spread, 0j, bulge),
    ]
    tip = Path.of([line_or_arc(*side) for side in sides], closed=True)
    target = made(piece("part", tip), allowance={"default": 6})
    assert target.stitch is not None
    gap = distance(boundary(region(target.outline)), curve(target.stitch))
    assert gap == pytest.approx(6, abs=0.01)
    reach = max(abs(p) for p in target.outline.corner_points() if p.real < 0)
    assert reach <= 6 * math.hypot(4, 1.1)


def test_an_altered_outline_that_crosses_itself_by_microns_is_told() -> None:
    """As the reader tells it (R102): the proof would refuse it much later."""
    found = unsound(piece("part", square(50)), piece("part", thin_spike(2e-4)))
    assert {f.code for f in found} == {"A310"}
