"""Drafts of a job as pieces: measures, thickness, names of corners, and what makes nothing."""

from __future__ import annotations

import math
from typing import Any

import pytest

from foamwright.findings import Finding
from foamwright.job_drafts import KINDS, DraftSpec, pieces_of_kind
from foamwright.model import Piece
from foamwright.stages.acquire.drafts import drafts

IN = 25.4


def made(**keys: Any) -> tuple[dict[str, Piece], list[Finding]]:
    spec = DraftSpec.model_validate({"name": "d", **keys}, context={"units": "mm"})
    drawing, findings = drafts([spec])
    if drawing.pieces:
        assert tuple(p.name for p in drawing.pieces) == pieces_of_kind(spec.kind, "d", spec.ends)
    return {p.name: p for p in drawing.pieces}, list(findings)


def size(piece: Piece) -> tuple[float, float]:
    left, low, right, high = piece.outline.bounds
    return right - left, high - low


def test_a_tube_of_sheet_and_its_ends() -> None:
    """pi (D - t) = 276.46 for D = 100, t = 12 (sheet metal practice); discs inside the wall."""
    found, _ = made(kind="cylinder", across=100, height=80, thickness=12, ends="inside")
    assert size(found["d"]) == pytest.approx((276.46, 80), abs=0.005)
    assert size(found["d-end"]) == pytest.approx((76, 76))
    over, _ = made(kind="cylinder", across=100, height=80, thickness=12, ends="over")
    assert size(over["d"])[1] == pytest.approx(56)
    assert size(over["d-end"]) == pytest.approx((100, 100))


def test_a_tube_in_inches() -> None:
    """4 in, 1/2 in sheet: 10.996 in."""
    found, _ = made(kind="cylinder", across="4 in", height="3 in", thickness="1/2 in")
    assert size(found["d"])[0] / IN == pytest.approx(10.996, abs=0.0005)


def test_girths_are_what_a_tape_says() -> None:
    found, _ = made(kind="cylinder", across=300, height=80, measure="girth")
    assert size(found["d"])[0] == pytest.approx(300)


def test_a_box_of_sheet_closes() -> None:
    """Six panels of sheet fill the shell between the outer and the inner box."""
    found, told = made(kind="box", width=200, depth=150, height=100, thickness=25)
    volume = 2 * 25 * sum(p.outline.area for p in found.values())
    assert volume == pytest.approx(200 * 150 * 100 - 150 * 100 * 100 + 2 * 25 * 150 * 100)
    assert [f.code for f in told] == ["R502"]


def test_the_limb_of_the_trade() -> None:
    """A 4 1/2 in shell gives a 3 1/2 in core, 1/2 in off each side (common practice, no source).

    Rolled from 1/2 in foam on its middle surface that core is 5.07 in round.
    """
    found, told = made(kind="limb", top="4.5 in", length="14 in", thickness="1/2 in")
    assert size(found["d"]) == pytest.approx((4.5 * IN, 14 * IN))
    assert size(found["d-core"])[0] == pytest.approx(3.5 * IN)
    assert size(found["d-rolled-core"])[0] == pytest.approx((4.5 - math.pi / 2) * IN)
    assert f"{5.07 * IN:.1f} mm round" in told[0].what


def test_a_limb_that_widens_below_the_knee() -> None:
    found, _ = made(kind="limb", top=100, bottom=140, length=300, knee=150)
    shell = found["d"]
    assert set(shell.points) == {
        *("bottom-start", "bottom-end", "knee-end", "top-end", "top-start", "knee-start"),
    }
    assert shell.points["knee-end"] == 50 + 150j
    assert shell.outline.area == pytest.approx(100 * 150 + 120 * 150)


def test_corners_bear_names_in_order() -> None:
    found, _ = made(kind="frustum", bottom=120, top=60, height=80)
    points = found["d"].points
    assert list(points) == ["bottom-start", "bottom-end", "top-end", "top-start"]
    assert points["bottom-start"].real < 0 < points["bottom-end"].real
    assert points["top-end"].imag > points["bottom-end"].imag


def test_a_flared_end_may_be_the_top() -> None:
    wide_below, _ = made(kind="frustum", bottom=120, top=60, height=80)
    wide_above, _ = made(kind="frustum", bottom=60, top=120, height=80)
    assert wide_above["d"].outline.area == pytest.approx(wide_below["d"].outline.area)


def test_gores_and_their_opening() -> None:
    found, told = made(kind="gores", across=150, gores=8)
    assert size(found["d"]) == pytest.approx((58.90, 235.62), abs=0.005)
    assert "8 of it" in told[0].what
    opened, _ = made(kind="gores", across=150, gores=8, opening=60)
    assert set(opened["d"].points) == {"bottom-start", "bottom-end", "tip"}


def test_a_hole_taken_outside_shrinks_with_the_ball() -> None:
    """Eight bases go round a ring of 30 mm radius, brought in as the ball's radius is: 69 / 75."""
    found, _ = made(kind="gores", across=150, gores=8, opening=60, thickness=12)
    points = found["d"].points
    base = abs(points["bottom-end"] - points["bottom-start"])
    assert 8 * base == pytest.approx(2 * math.pi * 30 * 69 / 75)


def test_widths_at_stations() -> None:
    rows = [
        {"at": 0, "width": 40},
        {"at": 50, "left": 30, "right": 45},
        {"at": 100, "width": 60},
        {"at": 140, "width": 0},
    ]
    found, _ = made(kind="stations", station=rows)
    outline = found["d"].outline
    starts = [s.start for s in outline.segments]
    for spot in (20 + 0j, -20 + 0j, 45 + 50j, -30 + 50j, 30 + 100j, 140j):
        assert min(abs(p - spot) for p in starts) < 1e-9
    assert len(outline.corners) == 2
    rows[3]["corner"] = True
    assert len(made(kind="stations", station=rows)[0]["d"].outline.corners) == 3


@pytest.mark.parametrize(
    "keys",
    [
        {"kind": "frustum", "bottom": 200, "top": 10, "slant": 50},
        {"kind": "cylinder", "across": 10, "height": 50, "thickness": 12},
        {"kind": "box", "width": 20, "depth": 90, "height": 90, "thickness": 12},
        {"kind": "gores", "across": 50, "gores": 6, "opening": 50},
        {"kind": "limb", "top": 20, "length": 90, "thickness": 12},
        {"kind": "limb", "top": 100, "length": 90, "knee": 95},
        {"kind": "stations", "station": [{"at": 0, "width": 5}]},
    ],
)
def test_measures_that_make_no_body(keys: dict[str, Any]) -> None:
    found, told = made(**keys)
    assert not found
    assert [f.code for f in told] == ["R501"]


def test_every_kind_has_keys_of_the_table() -> None:
    for keys in KINDS.values():
        assert {*keys.needs, *keys.may, *keys.one_of} <= set(DraftSpec.model_fields)
