"""Faults planted in the laser's files: each is refused, and the piece is named."""

from __future__ import annotations

import cmath
import math
import pathlib
import tempfile
from dataclasses import replace
from typing import Any

import proof_bench as b
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.offset import offset
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line
from foamwright.model import Cut, FileStyle, Piece, Tool

BOX = b.with_slits(
    replace(b.square("box", 10 + 10j, 40), marks=(b.cross("m", 40 + 40j, 3),)),
    Path.polygon([20 + 20j, 30 + 25j], closed=False),
)
RING = b.ring("ring", 100 + 60j, 30, 8)
BOX_PATH = b.rounded(10 + 10j, 40, 40, 0.1)
EYE_PATH = Path.circle(100 + 60j, 7.9).reversed()
RIM_PATH = Path.circle(100 + 60j, 30.1)
CUTS = (
    *(b.cut(BOX, "mark:m", "SCORE", p) for p in BOX.marks[0].paths),
    b.cut(BOX, "slit:0", "CUT_SLIT", BOX.slits[0].path),
    b.cut(RING, "opening:eye", "CUT_INNER", EYE_PATH),
    b.outline_cut(BOX, BOX_PATH),
    b.outline_cut(RING, RIM_PATH),
)
GOOD = b.Bench((BOX, RING), CUTS)
MARK, SLIT, EYE, RIM, OUTER = 0, 2, 3, 5, 4


def changed(number: int, path: Path) -> b.Bench:
    cuts = list(CUTS)
    cuts[number] = replace(cuts[number], path=path)
    return replace(GOOD, cuts=tuple(cuts))


def mapped(m: Affine) -> b.Bench:
    return replace(GOOD, cuts=tuple(replace(c, path=c.path.transformed(m)) for c in CUTS))


def moved_vertex(path: Path, joint: int, by: complex) -> Path:
    s = list(path.segments)
    s[joint - 1] = replace(s[joint - 1], end=s[joint - 1].end + by)
    s[joint] = replace(s[joint], start=s[joint].start + by)
    return Path.of(s, path.closed)


def swapped(made: Cut, path: Path) -> Cut:
    return replace(made, path=path)


def test_the_unspoilt_files_pass(tmp_path: pathlib.Path) -> None:
    proof, found = GOOD.prove(tmp_path)
    assert b.faults(found) == []
    assert proof.passed
    assert proof.worst_deviation_mm < 0.0015


SPOILT: dict[str, tuple[b.Bench, str, str]] = {
    "vertex moved outward": (
        changed(OUTER, moved_vertex(BOX_PATH, 2, 0.2 + 0j)),
        "V010",
        "box/drawn/1",
    ),
    "vertex moved inward": (
        changed(OUTER, moved_vertex(BOX_PATH, 2, -0.2 + 0j)),
        "V008",
        "box/drawn/1",
    ),
    "vertex of an opening moved": (
        changed(EYE, moved_vertex(EYE_PATH, 1, 0.1 + 0.1j)),
        "V010",
        "ring/drawn/1",
    ),
    "offset left out": (changed(OUTER, BOX.outline), "V008", "box/drawn/1"),
    "offset's sign flipped": (
        changed(OUTER, b.rectangle(10.1 + 10.1j, 39.8, 39.8)),
        "V008",
        "box/drawn/1",
    ),
    "kerf twice": (changed(RIM, Path.circle(100 + 60j, 30.2)), "V010", "ring/drawn/1"),
    "scaled": (mapped(Affine.scaling(1.001)), "V010", "ring/drawn/1"),
    "mirrored": (mapped(Affine(a=-1, e=200)), "V009", "box/drawn/1"),
    "contour not closed": (
        changed(RIM, RIM_PATH.between(0.0, RIM_PATH.length - 0.5)),
        "V009",
        "ring/drawn/1",
    ),
    "opening not closed": (
        changed(EYE, EYE_PATH.between(0.0, EYE_PATH.length - 0.5)),
        "V009",
        "ring/drawn/1",
    ),
    "mark moved": (
        changed(MARK, CUTS[MARK].path.transformed(Affine.translation(0.2j))),
        "V015",
        "box/drawn/1",
    ),
    "slit lengthened": (
        changed(SLIT, Path.polygon([20 + 20j, 32 + 26j], closed=False)),
        "V016",
        "box/drawn/1",
    ),
    "lead-in through a piece": (
        changed(
            RIM,
            Path(
                (Line(30 + 55j, 30 + 30j), Line(30 + 30j, RIM_PATH.start), *RIM_PATH.segments),
                False,
            ),
        ),
        "V008",
        "box/drawn/1",
    ),
    "order swapped": (
        replace(GOOD, cuts=(*CUTS[:4], swapped(CUTS[4], RIM_PATH), swapped(CUTS[5], BOX_PATH))),
        "V007",
        "box/drawn/1",
    ),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_cut_is_refused_by_name(tmp_path: pathlib.Path, name: str) -> None:
    bench, code, piece = SPOILT[name]
    proof, found = bench.prove(tmp_path)
    assert not proof.passed
    for file in ("job-1.dxf", "job-1.svg"):
        here = [f for f in found if f.where.startswith(file)]
        assert (code, piece) in b.faults(here), [f.line() for f in found]


def test_only_the_spoilt_piece_is_named(tmp_path: pathlib.Path) -> None:
    bench = changed(OUTER, moved_vertex(BOX_PATH, 2, 0.2 + 0j))
    _, found = bench.prove(tmp_path)
    assert {piece for _, piece in b.faults(found)} == {"box/drawn/1"}


def test_the_place_and_size_of_a_deviation_are_told(tmp_path: pathlib.Path) -> None:
    spoilt = moved_vertex(BOX_PATH, 2, 0.2 + 0j)  # the lower right end of the right side
    proof, _ = changed(OUTER, spoilt).prove(tmp_path)
    (box, ring) = proof.pieces
    assert box.worst_deviation_mm == pytest.approx(0.2, abs=0.01)
    assert abs(complex(box.x, box.y) - (50.1 + 10j)) < 0.3
    assert ring.worst_deviation_mm < 0.0015


def test_a_gap_in_a_contour_is_told_with_its_width(tmp_path: pathlib.Path) -> None:
    open_rim = RIM_PATH.between(0.5, RIM_PATH.length)
    _, found = changed(RIM, open_rim).prove(tmp_path)
    (dxf, _) = [f for f in found if f.code == "V009"]
    assert dxf.where.startswith("job-1.dxf, ring/drawn/1 at (130.0")
    width = float(dxf.what.partition(": ")[2].split()[0])
    # less than the path's 0.5 mm: its two ends reach a little way round
    assert 0.3 <= width <= 0.5


@pytest.mark.parametrize("gone", range(len(CUTS)))
def test_a_missing_contour_is_named(tmp_path: pathlib.Path, gone: int) -> None:
    """The file lacks it and the record lists it."""
    whole = GOOD.write(tmp_path)
    less = replace(GOOD, cuts=(*CUTS[:gone], *CUTS[gone + 1 :]))
    (tmp_path / "less").mkdir()
    less.write(tmp_path / "less")
    for name in ("job-1.dxf", "job-1.svg"):
        b.edit(whole, name, lambda _, n=name: (tmp_path / "less" / n).read_text())
    proof, found = b.verify(whole)
    assert not proof.passed
    wanted = CUTS[gone].copy
    assert ("V007", wanted) in b.faults(found)
    geometric = {"V009", "V010", "V015"}
    assert any(c in geometric and p == wanted for c, p in b.faults(found))


def test_a_doubled_contour_is_named(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)

    def doubled(text: str) -> str:
        path = text[text.index("<path", text.index('id="CUT_INNER"')) :].partition("\n")[0]
        return text.replace(path, f"{path}\n{path}")

    b.edit(folder, "job-1.svg", doubled)
    _, found = b.verify(folder)
    assert b.faults(found) == [("V007", "ring/drawn/1")]


def test_a_changed_hash_is_refused_though_the_geometry_holds(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    b.edit(folder, "job-1.svg", lambda t: t + "\n", rehash=False)
    proof, found = b.verify(folder)
    assert not proof.passed
    assert b.faults(found) == [("V005", "")]
    assert "job-1.svg" in found[0].where


def test_a_change_of_one_file_is_that_file_s(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    b.edit(
        folder, "job-1.svg", lambda t: t.replace("84.95 63.932635", "84.75 63.932635"), rehash=False
    )
    _, found = b.verify(folder)
    assert {f.where.split(",")[0] for f in found if f.is_fault} == {"job-1.svg"}
    assert {("V005", ""), ("V010", "ring/drawn/1")} <= set(b.faults(found))


def test_a_missing_file_names_its_pieces(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    (folder / "job-1.dxf").unlink()
    proof, found = b.verify(folder)
    assert not proof.passed
    assert b.faults(found) == [("V004", "box/drawn/1"), ("V004", "ring/drawn/1")]


def test_a_sheet_without_one_of_its_formats_is_refused(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    b.amend(folder, lambda r: r["files"].pop())
    _, found = b.verify(folder)
    assert b.faults(found) == [("V020", "box/drawn/1"), ("V020", "ring/drawn/1")]


@pytest.mark.parametrize("style", [FileStyle(), FileStyle(dxf="r12")])
def test_a_dxf_in_the_other_unit_is_refused(tmp_path: pathlib.Path, style: FileStyle) -> None:
    folder = replace(GOOD, style=style).write(tmp_path)
    (tmp_path / "inch").mkdir()
    inches = replace(GOOD, style=replace(style, dxf_units="in")).write(tmp_path / "inch")
    b.edit(folder, "job-1.dxf", lambda _: (inches / "job-1.dxf").read_text())
    proof, found = b.verify(folder)
    assert not proof.passed
    if style.dxf == "r12":
        assert ("V009", "box/drawn/1") in b.faults(found)
        assert ("V009", "ring/drawn/1") in b.faults(found)
    else:  # an inch file for a millimetre record: its own word is right, the record's is not
        assert "$INSUNITS" in found[0].what


def test_a_dxf_whose_unit_field_alone_is_swapped_names_every_piece(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    b.edit(
        folder,
        "job-1.dxf",
        lambda t: t.replace("$INSUNITS\n 70\n4\n", "$INSUNITS\n 70\n1\n"),
    )
    _, found = b.verify(folder)
    assert {("V006", ""), ("V009", "box/drawn/1"), ("V009", "ring/drawn/1")} <= set(b.faults(found))


def test_an_svg_in_another_unit_is_refused(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    b.edit(folder, "job-1.svg", lambda t: t.replace('width="200mm"', 'width="200in"'))
    _, found = b.verify(folder)
    assert {("V006", ""), ("V009", "box/drawn/1"), ("V009", "ring/drawn/1")} <= set(b.faults(found))


def test_paths_off_the_sheet_and_targets_off_the_stock(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)

    def smaller(record: dict[str, Any]) -> None:
        record["sheets"][0]["usable"] = [0.0, 0.0, 129.0, 150.0]

    b.amend(folder, smaller)
    _, found = b.verify(folder)
    assert b.faults(found) == [("V013", "ring/drawn/1")]
    far = b.square("far", 159.95 + 10j, 40)
    cut = b.outline_cut(far, b.rounded(159.95 + 10j, 40, 40, 0.1))
    (tmp_path / "far").mkdir()
    _, found = b.Bench((far,), (cut,)).prove(tmp_path / "far")
    assert {c for c, _ in b.faults(found)} == {"V014"}


def test_two_pieces_that_touch_are_refused(tmp_path: pathlib.Path) -> None:
    one, two = b.square("one", 10 + 10j, 20), b.square("two", 30 + 15j, 20)
    cuts = [
        b.outline_cut(p, b.rounded(c, 20, 20, 0.1)) for p, c in ((one, 10 + 10j), (two, 30 + 15j))
    ]
    _, found = b.Bench((one, two), tuple(cuts)).prove(tmp_path)
    assert ("V012", "one/drawn/1") in b.faults(found)
    assert ("V008", "one/drawn/1") in b.faults(found)
    assert ("V008", "two/drawn/1") in b.faults(found)


def test_a_piece_may_lie_in_another_s_opening_and_is_freed_first(tmp_path: pathlib.Path) -> None:
    inner = b.square("inner", 97 + 57j, 6)
    outline = b.outline_cut(inner, b.rounded(97 + 57j, 6, 6, 0.1))
    later = tuple(replace(CUTS[k], band=1) for k in (EYE, RIM))
    _, found = b.Bench((RING, inner), (outline, *later)).prove(tmp_path)
    assert b.faults(found) == []
    (tmp_path / "loose").mkdir()
    loose = (CUTS[EYE], outline, CUTS[RIM])
    _, found = b.Bench((RING, inner), loose).prove(tmp_path / "loose")
    assert {*b.faults(found)} == {("V018", "inner/drawn/1")}


def test_an_outline_before_its_opening_is_refused(tmp_path: pathlib.Path) -> None:
    cuts = (*CUTS[:3], CUTS[RIM], replace(CUTS[EYE], band=1), replace(CUTS[OUTER], band=1))
    _, found = replace(GOOD, cuts=cuts).prove(tmp_path)
    assert set(b.faults(found)) == {("V018", "ring/drawn/1")}


@settings(max_examples=30, derandomize=True, deadline=None)
@given(st.integers(0, 3), st.floats(0.02, 0.5), st.booleans())
def test_any_moved_side_is_refused_with_its_size(side: int, by: float, outward: bool) -> None:
    """One side of the box's path moved along its normal: the deviation is just that."""
    way = (-1j) * 1j**side * (by if outward else -by)
    box = BOX_PATH
    line, before, after = (box.segments[(2 * side + k) % 8] for k in (0, -1, 1))
    segments = list(box.segments)
    segments[2 * side] = Line(line.start + way, line.end + way)
    segments[(2 * side - 1) % 8] = replace(before, end=before.end + way)
    segments[2 * side + 1] = replace(after, start=after.start + way)
    with tempfile.TemporaryDirectory() as folder:
        bench = changed(OUTER, Path.of(segments, True))
        proof, found = bench.prove(pathlib.Path(folder))
    assert not proof.passed
    assert {piece for _, piece in b.faults(found)} == {"box/drawn/1"}
    assert proof.worst_deviation_mm == pytest.approx(by, abs=0.05 * by + 0.002)


@pytest.mark.parametrize(
    "ends",
    [(9.9 + 10.4j, 10.4 + 9.9j), (9.95 + 12j, 9.95 + 48j)],
    ids=["over a corner", "beside an edge"],
)
def test_a_stray_slit_that_harms_an_edge_is_refused(
    tmp_path: pathlib.Path, ends: tuple[complex, complex]
) -> None:
    """Shorter in the piece than the proof's step, or beside it by less than half the kerf."""
    stray = Cut("", "align", "CUT_SLIT", Path.polygon(ends, closed=False))
    cuts = (*CUTS[: SLIT + 1], stray, *CUTS[SLIT + 1 :])
    proof, found = replace(GOOD, cuts=cuts).prove(tmp_path)
    assert not proof.passed
    assert b.faults(found) == [("V016", "box/drawn/1")] * 2


def test_a_cut_over_a_corner_is_told_as_deep_as_it_is(tmp_path: pathlib.Path) -> None:
    """A line that cuts 0.3 mm off either side of a corner is 0.15 mm from both at its middle, and
    half a kerf more is lost."""
    stray = Cut("", "align", "CUT_INNER", Path.polygon([9.8 + 10.5j, 10.5 + 9.8j], closed=False))
    _, found = replace(GOOD, cuts=(*CUTS[:EYE], stray, *CUTS[EYE:])).prove(tmp_path)
    told = [f for f in found if f.code == "V008"]
    assert told
    for f in told:
        depth = float(f.what.split(" by ")[1].split()[0])
        assert depth == pytest.approx(0.3 / 2 + 0.1, abs=0.011)


def test_a_slit_that_parts_its_piece_is_refused(tmp_path: pathlib.Path) -> None:
    """In file and record alike: what would fall off the bed is not the one piece."""
    through = Path.polygon([20 + 10j, 30 + 50j], closed=False)
    box = b.with_slits(b.square("box", 10 + 10j, 40), through)
    cuts = (b.cut(box, "slit:0", "CUT_SLIT", through), b.outline_cut(box, BOX_PATH))
    proof, found = b.Bench((box,), cuts).prove(tmp_path)
    assert not proof.passed
    assert b.faults(found) == [("V023", "box/drawn/1")] * 2


def test_the_depth_left_in_a_notch_is_measured_from_its_mouth(tmp_path: pathlib.Path) -> None:
    """r (1 / sin(phi / 2) - 1) at a wedge of 10 degrees, though the land behind it is thinner."""
    half = math.tan(math.radians(5.0))
    tip, edge = 30 + 10.3j, 30 + 50j
    wide = (edge - tip).imag * half
    corners = [10 + 10j, 50 + 10j, 50 + 50j, edge + wide, tip, edge - wide, 10 + 50j]
    piece = Piece("box", Path.polygon(corners))
    (path,) = offset(piece.outline, 0.1, 0.001)
    _, found = b.Bench((piece,), (b.outline_cut(piece, path),)).prove(tmp_path)
    assert b.faults(found) == [("V011", "box/drawn/1")] * 1
    due = 0.1 * (1 / math.sin(math.radians(5.0)) - 1)
    told = next(f for f in found if f.code == "V011")
    assert float(told.what.split(" leaves ")[1].split()[0]) == pytest.approx(due, abs=0.002)


HALF = math.radians(1.0)
SPIKE = [20 + 70j, 20 + 70j + 40 * cmath.exp(-1j * HALF), 20 + 70j + 40 * cmath.exp(1j * HALF)]


def nearer_sides(by: float) -> Path:
    """Once round the spike, each long side so much further in and as long as it was: they cross."""
    tip, low, high = SPIKE
    down, up = (by * cmath.exp(s * 1j * (HALF - math.pi / 2)) for s in (1, -1))
    return Path.polygon([tip + up, low + up, high + down, tip + down])


@pytest.mark.parametrize("kerf", [0.2, 0.0])
def test_a_spike_that_is_cut_off_near_its_tip_is_refused(
    tmp_path: pathlib.Path, kerf: float
) -> None:
    """Both sides 0.004 mm in, as is allowed: they meet 0.004 / sin(1 degree) before the tip."""
    piece = Piece("box", Path.polygon(SPIKE))
    path = offset(piece.outline, 0.096, 0.001)[0] if kerf else nearer_sides(0.004)
    tool = Tool("laser", kerf=kerf)
    proof, found = b.Bench((piece,), (b.outline_cut(piece, path),), tool).prove(tmp_path)
    assert b.faults(found) == [("V010", "box/drawn/1")] * 2
    assert proof.worst_deviation_mm == pytest.approx(0.004 / math.sin(HALF), abs=0.012)
