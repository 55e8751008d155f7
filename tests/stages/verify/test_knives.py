"""Knives: what a trailing tip and an inclined edge really cut, in good and in spoilt files."""

from __future__ import annotations

import cmath
import math
import pathlib
from dataclasses import replace
from itertools import pairwise

import numpy as np
import proof_bench as b
import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line, Segment
from foamwright.model import Cut, Opening, Tool
from foamwright.stages.verify.section import sections, severed_below

E = 0.5
DISC = b.Piece("disc", Path.circle(50 + 50j, 5.0))
BOX = b.square("box", 20 + 20j, 30)


def disc_path(offset: float = E, run_in: float = 5.0) -> Path:
    """Run-in along the tangent, round the pivot's circle, 30 degrees on."""
    r = math.hypot(5.0, offset)
    lead = math.atan2(offset, 5.0)
    first = cmath.exp(1j * lead) * r  # the tip at 5 + 0j, the blade along +y
    spots = [50 + 50j + first * cmath.exp(1j * k * math.pi / 6) for k in range(14)]
    arcs = [Arc(p, q, math.tan(math.pi / 24)) for p, q in pairwise(spots)]
    return Path.of([Line(spots[0] - 1j * run_in, spots[0]), *arcs], False)


def box_path(offset: float = E, swivel: bool = True) -> Path:
    """A run-in, four sides with a swivel about each corner, a little overlap."""
    corners = [20 + 20j, 50 + 20j, 50 + 50j, 20 + 50j, 20 + 20j]
    made: list[Segment] = []
    start = corners[0] - 5 + offset
    here = start
    for k, corner in enumerate(corners[1:], 1):
        ahead = 1j ** (k - 1)
        end = corner + offset * ahead
        made.append(Line(here, end))
        here = corner + offset * ahead * 1j
        made.append(Arc(end, here, math.tan(math.pi / 8)) if swivel else Line(end, here))
    made.append(Line(here, here + 2))
    return Path.of(made, False)


def drag(piece: b.Piece, path: Path, **more: object) -> b.Bench:
    return b.Bench((piece,), (b.outline_cut(piece, path),), b.DRAG, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("piece", "path"), [(DISC, disc_path()), (BOX, box_path())])
def test_a_good_pivot_path_passes(tmp_path: pathlib.Path, piece: b.Piece, path: Path) -> None:
    proof, found = drag(piece, path).prove(tmp_path)
    assert b.faults(found) == []
    assert proof.worst_deviation_mm < 0.003  # the run-in leaves up to 0.002


def test_the_pivot_circle_is_that_of_the_facts() -> None:
    assert abs(disc_path().end - (50 + 50j)) == pytest.approx(5.0249, abs=5e-5)


SPOILT = {
    "offset dropped on a circle": (DISC, disc_path(0.0)),
    "offset dropped on a square": (BOX, BOX.outline),
    "offset too small": (BOX, box_path(0.4)),
    "no swivels": (BOX, box_path(swivel=False)),
    "no run-in": (DISC, disc_path(run_in=0.05)),
    "run-in too short": (DISC, disc_path(run_in=1.5)),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_pivot_path_is_refused(tmp_path: pathlib.Path, name: str) -> None:
    piece, path = SPOILT[name]
    proof, found = drag(piece, path).prove(tmp_path)
    assert not proof.passed
    codes = {c for c, p in b.faults(found) if p == f"{piece.name}/drawn/1"}
    assert codes & {"V008", "V009", "V010"}


def test_a_machine_that_compensates_gets_the_plain_outline(tmp_path: pathlib.Path) -> None:
    tool = replace(b.DRAG, applies=frozenset({"blade-offset"}))
    bench = replace(drag(BOX, BOX.outline), tool=tool)
    proof, found = bench.prove(tmp_path)
    assert b.faults(found) == []
    assert proof.worst_deviation_mm < 1e-4


def test_the_heading_is_kept_through_a_lift(tmp_path: pathlib.Path) -> None:
    """Two slits: the second starts with no run-in, the blade as the first one left it."""
    slits = (
        Path.polygon([25 + 30j, 35 + 30j], closed=False),
        Path.polygon([25 + 40j, 35 + 40j], closed=False),
    )
    piece = b.with_slits(BOX, *slits)
    ahead = [Path.polygon([s.start + E, s.end + E], closed=False) for s in slits]
    align = Cut("", "align", "CUT_SLIT", Path.polygon([5 + 5j, 12 + 5j], closed=False))
    cuts = (
        align,
        *(b.cut(piece, f"slit:{k}", "CUT_SLIT", p) for k, p in enumerate(ahead)),
        b.outline_cut(piece, box_path()),
    )
    bench = b.Bench((piece,), cuts, b.DRAG)
    _, found = bench.prove(tmp_path)
    assert b.faults(found) == []
    (tmp_path / "no").mkdir()
    _, found = replace(bench, cuts=cuts[1:]).prove(tmp_path / "no")
    assert ("V016", "box/drawn/1") in b.faults(found)


# Oscillating knife: an edge at 45 degrees in 12.7 mm stock

OSCILLATING = Tool("oscillating-knife", overrun=12.7)


def strokes(points: list[complex], overruns: list[float]) -> list[Path]:
    made = []
    for p, q, over in zip(points, points[1:] + points[:1], overruns, strict=True):
        made.append(Path.polygon([p, q + (q - p) / abs(q - p) * over], closed=False))
    return made


def stroke_bench(piece: b.Piece, paths: list[Path], tool: Tool = OSCILLATING, left: float = 0.0):  # type: ignore[no-untyped-def]
    cuts = [b.outline_cut(piece, p, left=left if k == 0 else 0.0) for k, p in enumerate(paths)]
    return b.Bench((piece,), tuple(cuts), tool)


SQUARE = [60 + 60j, 100 + 60j, 100 + 100j, 60 + 100j]
PAD = b.Piece("pad", Path.polygon(SQUARE))
ELL = [60 + 60j, 120 + 60j, 120 + 90j, 90 + 90j, 90 + 120j, 60 + 120j]
ANGLE = b.Piece("angle", Path.polygon(ELL))


def test_a_square_with_its_overrun_passes(tmp_path: pathlib.Path) -> None:
    proof, found = stroke_bench(PAD, strokes(SQUARE, [12.7] * 4)).prove(tmp_path)
    assert b.faults(found) == []
    assert proof.worst_deviation_mm < 1e-4
    assert proof.left_mm == 0


def test_a_skipped_overrun_is_refused_with_its_length(tmp_path: pathlib.Path) -> None:
    _, found = stroke_bench(PAD, strokes(SQUARE, [12.7, 0.0, 12.7, 12.7])).prove(tmp_path)
    assert b.faults(found) == [("V017", "pad/drawn/1")] * 2
    assert found[0].where == "job-1.dxf, pad/drawn/1 at (100.00, 93.65) mm"
    assert "12.70 mm of its edge is uncut" in found[0].what


def test_a_shortened_overrun_is_refused(tmp_path: pathlib.Path) -> None:
    _, found = stroke_bench(PAD, strokes(SQUARE, [12.0] * 4)).prove(tmp_path)
    assert {c for c, _ in b.faults(found)} == {"V017"}
    assert "0.70 mm" in found[0].what


def test_a_double_edged_blade_wants_both_ends(tmp_path: pathlib.Path) -> None:
    double = replace(OSCILLATING, edges="double")
    _, found = stroke_bench(PAD, strokes(SQUARE, [12.7] * 4), double).prove(tmp_path)
    assert b.faults(found)[0] == ("V017", "pad/drawn/1")
    both = [
        Path.polygon(
            [p.start - (p.end - p.start) / abs(p.end - p.start) * 12.7, p.end], closed=False
        )
        for p in strokes(SQUARE, [12.7] * 4)
    ]
    (tmp_path / "both").mkdir()
    _, found = stroke_bench(PAD, both, double).prove(tmp_path / "both")
    assert b.faults(found) == []


def test_a_concave_corner_leaves_a_length_for_the_hand(tmp_path: pathlib.Path) -> None:
    # the stroke down to the inside corner at (90, 90) may not go on: it would cut the piece
    paths = strokes(ELL, [12.7, 12.7, 0.0, 12.7, 12.7, 12.7])
    proof, found = stroke_bench(ANGLE, paths, left=12.7).prove(tmp_path)
    assert b.faults(found) == []
    assert proof.left_mm == pytest.approx(12.7, abs=0.05)
    (tmp_path / "untold").mkdir()
    _, found = stroke_bench(ANGLE, paths).prove(tmp_path / "untold")
    assert {c for c, _ in b.faults(found)} == {"V017"}
    (tmp_path / "into").mkdir()
    into = strokes(ELL, [12.7] * 6)
    _, found = stroke_bench(ANGLE, into).prove(tmp_path / "into")
    assert ("V008", "angle/drawn/1") in b.faults(found)


def test_an_overrun_into_a_neighbour_is_refused_and_its_lack_is_not(
    tmp_path: pathlib.Path,
) -> None:
    other = b.Piece("other", Path.polygon([106 + 40j, 140 + 40j, 140 + 75j, 106 + 75j]))
    # pad's lower side may go on 6 mm before it would cut the other piece
    theirs = strokes([106 + 40j, 140 + 40j, 140 + 75j, 106 + 75j], [12.7, 12.7, 5.9, 12.7])

    def bench(over: float) -> b.Bench:
        mine = strokes(SQUARE, [over, 12.7, 12.7, 12.7])
        cuts = [b.outline_cut(PAD, p, left=12.7 if k == 0 else 0.0) for k, p in enumerate(mine)]
        cuts += [b.outline_cut(other, p, left=6.8 / 4) for p in theirs]
        return b.Bench((PAD, other), tuple(cuts), OSCILLATING)

    _, found = bench(12.7).prove(tmp_path)
    assert ("V008", "other/drawn/1") in b.faults(found)
    (tmp_path / "short").mkdir()
    proof, found = bench(5.9).prove(tmp_path / "short")
    assert b.faults(found) == []
    assert proof.left_mm == pytest.approx(2 * 6.8, abs=0.1)


def test_a_machine_that_overruns_gets_the_plain_outline(tmp_path: pathlib.Path) -> None:
    tool = replace(OSCILLATING, applies=frozenset({"overrun", "tangent"}))
    _, found = b.Bench((PAD,), (b.outline_cut(PAD, PAD.outline),), tool).prove(tmp_path)
    assert b.faults(found) == []


def test_a_stroke_that_starts_late_leaves_its_corner_uncut(tmp_path: pathlib.Path) -> None:
    paths = strokes(SQUARE, [12.7] * 4)
    paths[1] = Path.polygon([100 + 60.1j, paths[1].end], closed=False)
    _, found = stroke_bench(PAD, paths).prove(tmp_path)
    assert b.faults(found)[0] == ("V009", "pad/drawn/1")
    assert found[0].where == "job-1.dxf, pad/drawn/1 at (100.00, 60.09) mm"
    width = float(found[0].what.partition(": ")[2].split()[0])
    assert width == pytest.approx(0.1 - 0.02, abs=0.001)


def test_a_run_on_that_would_graze_a_neighbour_may_be_left_out(tmp_path: pathlib.Path) -> None:
    """By 0.005 mm: less than the limit, and more than who cuts it need take on."""
    corners = [105 + 40j, 112 + 40j, 112 + 60.005j, 105 + 60.005j]
    near = b.Piece("near", Path.polygon(corners))
    paths = strokes(SQUARE, [4.9, 12.7, 12.7, 12.7])
    pad = stroke_bench(PAD, paths, left=7.8).cuts
    others = tuple(b.outline_cut(near, p) for p in strokes(corners, [12.7] * 4))
    _, found = b.Bench((PAD, near), (*pad, *others), OSCILLATING).prove(tmp_path)
    assert ("V017", "pad/drawn/1") not in b.faults(found)


# A turned blade's sections, at both faces


def bend(radius: float, degrees: float, turn: int = 1) -> Path:
    """A turn about the origin from (radius, 0), left (1) or right (-1)."""
    start = complex(radius)
    end = start * cmath.rect(1.0, turn * math.radians(degrees))
    return Path((Arc(start, end, turn * math.tan(math.radians(degrees) / 4)),), False)


@pytest.mark.parametrize("edges", ["single", "double"])
@pytest.mark.parametrize("turn", [1, -1])
def test_sections_on_a_circle_lie_on_circles(edges: str, turn: int) -> None:
    """What trails by x runs on sqrt(R^2 + x^2); the flat goes in as a chord, w^2 / 8R off."""
    tool = Tool("oscillating-knife", overrun=4.0, plunge=5.0, edges=edges)  # type: ignore[arg-type]
    width = 5.0 if edges == "single" else 10.0
    blade = sections(bend(30.0, 150.0, turn), tool)
    run = slice(1, None)
    assert np.abs(blade.leads[run]) == pytest.approx(30.0)
    assert np.abs(blade.edges[run]) == pytest.approx(math.hypot(30.0, 4.0))
    assert np.abs(blade.backs[run]) == pytest.approx(math.hypot(30.0, width))
    heel = 5.0 if edges == "single" else 6.0
    assert np.abs(blade.heels[run]) == pytest.approx(math.hypot(30.0, heel))
    assert blade.backs[0] == 30.0
    assert abs(blade.leads[0] - blade.backs[0]) == pytest.approx(width)
    middle = abs((blade.leads[0] + blade.backs[0]) / 2)
    assert 30.0 - middle == pytest.approx(width**2 / 240, rel=0.05)


def test_the_bottom_is_severed_from_the_heel_to_the_edge() -> None:
    line = Path.polygon([0j, 50 + 0j], closed=False)
    single = Tool("oscillating-knife", overrun=4.0, plunge=5.0)
    assert severed_below(line, single, sections(line, single)) == pytest.approx((0.0, 46.0))
    double = replace(single, edges="double")
    assert severed_below(line, double, sections(line, double)) == pytest.approx((4.0, 46.0))
    # over a point on the tangent of a circle lies its foot: R atan(x / R) back along the arc
    round_ = bend(30.0, 150.0)
    start, end = severed_below(round_, single, sections(round_, single))
    assert round_.length - end == pytest.approx(30 * math.atan(4 / 30))
    assert start == pytest.approx(0.0)


DISC_40 = b.Piece("disc", Path.circle(80 + 80j, 20.0))
KNIFE = Tool("oscillating-knife", overrun=4.0, plunge=4.0)


def round_about(radius: float, centre: complex, turn: int = 1) -> Path:
    """A tangent way in (left turns), once round, on by the overrun and a millimetre."""
    once = Path.circle(centre, radius)
    once = once if turn > 0 else once.reversed()
    round_ = once.between(0.0, once.length + 5.0)
    if turn < 0:
        return round_
    first = round_.segments[0].tangent(0.0)
    return Path((Line(round_.start - 4 * first, round_.start), *round_.segments), False)


def test_a_curve_is_off_at_the_bottom_face_by_the_closed_form(
    tmp_path: pathlib.Path,
) -> None:
    """sqrt(20^2 + 4^2) - 20 = 0.396 mm, told and below the limit."""
    path = round_about(20.0, 80 + 80j)
    proof, found = b.Bench((DISC_40,), (b.outline_cut(DISC_40, path),), KNIFE).prove(tmp_path)
    assert b.faults(found) == []
    assert proof.worst_deviation_mm < 0.003
    assert proof.far_face_mm == pytest.approx(math.hypot(20, 4) - 20, abs=0.002)
    assert [f.code for f in found] == ["V033"]
    assert "0.40 mm off" in found[0].what


def test_beyond_the_limit_at_the_bottom_face_is_refused(tmp_path: pathlib.Path) -> None:
    tool = replace(KNIFE, far_face_max=0.39)
    path = round_about(20.0, 80 + 80j)
    _, found = b.Bench((DISC_40,), (b.outline_cut(DISC_40, path),), tool).prove(tmp_path)
    assert b.faults(found)[0] == ("V032", "disc/drawn/1")


def test_a_body_that_swings_into_a_piece_is_refused(tmp_path: pathlib.Path) -> None:
    """In a round opening the back swings into the piece: sqrt(20^2 + 6^2) - 20 = 0.88 mm."""
    ring = b.ring("ring", 80 + 80j, 60.0, 20.0)
    inner = round_about(20.0, 80 + 80j, -1)
    outer = round_about(60.0, 80 + 80j)
    cuts = (b.cut(ring, "opening:hole", "CUT_INNER", inner), b.outline_cut(ring, outer))
    tool = replace(KNIFE, plunge=6.0, far_face_max=0.9)
    outer_longer = replace(cuts[1], path=outer)
    _, found = b.Bench((ring,), (cuts[0], outer_longer), tool).prove(tmp_path)
    assert b.faults(found) == []
    (tmp_path / "no").mkdir()
    tool = replace(tool, far_face_max=0.85)
    _, found = b.Bench((ring,), (cuts[0], outer_longer), tool).prove(tmp_path / "no")
    assert b.faults(found)[0] == ("V031", "ring/drawn/1")
    assert "0.88 mm into the piece" in found[0].what


def test_a_stroke_shorter_than_the_blade_cuts_beyond_its_end(tmp_path: pathlib.Path) -> None:
    """A slot 4 mm wide under a blade of 6 mm: it goes 2 mm into the piece as it goes in."""
    slot = [80 + 60j, 80 + 70j, 84 + 70j, 84 + 60j]
    outer = [60 + 50j, 104 + 50j, 104 + 80j, 60 + 80j]
    hole = Opening("hole", Path.polygon(slot))
    piece = b.Piece("plate", Path.polygon(outer), (hole,))
    cuts = [b.cut(piece, "opening:hole", "CUT_INNER", p) for p in strokes(slot, [0.0] * 4)]
    cuts += [b.outline_cut(piece, p) for p in strokes(outer, [0.0] * 4)]
    tool = Tool("oscillating-knife", plunge=6.0, blade_width=6.0)
    _, found = b.Bench((piece,), tuple(cuts), tool).prove(tmp_path)
    faults = [f for f in found if f.code == "V008"]
    assert any("enters the piece by 2.0" in f.what for f in faults)
    (tmp_path / "good").mkdir()
    _, found = b.Bench((piece,), tuple(cuts), replace(tool, plunge=4.0)).prove(tmp_path / "good")
    assert b.faults(found) == []
