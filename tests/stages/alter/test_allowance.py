"""Allowances by edge, with their corners; taken off a cut line and put back."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.geometry.region import self_crossings
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.stages.alter.allowance import apart
from tests.pieces import piece, rectangle, square
from tests.stages.alter.test_alter import altered, codes, drafts, made

EDGES = {"hem": ("1", "2"), "right": ("2", "3"), "top": ("3", "4"), "left": ("4", "1")}
#: A leg that widens upwards: the hem's side seams lean out by 10 in 100.
LEG = Path.polygon([0, 100, 120 + 200j, -20 + 200j])


def test_each_edge_has_its_own_allowance_and_the_rest_the_default() -> None:
    target = made(
        piece("part", rectangle(100, 60)),
        edges=EDGES,
        allowance={"default": 6, "hem": 25, "top": 0},
    )
    assert target.outline.bounds == pytest.approx((-6, -25, 106, 60))
    assert target.outline.area == pytest.approx(112 * 85)


def test_scaling_scales_no_edge_s_allowance() -> None:
    keys: dict[str, Any] = {"edges": EDGES, "allowance": {"default": 6, "hem": 25}}
    target = made(piece("part", rectangle(100, 60)), 3.0, **keys)
    assert target.outline.bounds == pytest.approx((-6, -25, 306, 186))


def test_a_fold_back_corner_lies_on_the_piece_when_the_hem_is_folded() -> None:
    """The hem's ends mirror the side seams' cut lines: folded up, they lie on them."""
    target = made(
        piece("part", LEG),
        edges=EDGES,
        allowance={"default": 6, "hem": 25},
        corners={"hem": "fold"},
    )
    low = [p for p in target.outline.corner_points() if p.imag < -24.9]
    assert len(low) == 2
    side = 6 * math.hypot(1, 0.1)  # the side's allowance measured along x
    for p in low:
        folded = p.conjugate()
        edge = 100 + 0.1 * folded.imag + side if folded.real > 50 else -0.1 * folded.imag - side
        assert folded.real == pytest.approx(edge, abs=1e-6)
    mitred = made(piece("part", LEG), edges=EDGES, allowance={"default": 6, "hem": 25})
    # a mitred hem narrows downwards as the leg does, and is too short to be folded
    assert min(p.real for p in low) < min(
        p.real for p in mitred.outline.corner_points() if p.imag < -24.9
    )


def test_a_butted_seam_s_allowance_ends_square_to_it() -> None:
    target = made(
        piece("part", LEG), edges=EDGES, allowance={"default": 10}, corners={"right": "butt"}
    )
    way = cmath.rect(1, cmath.phase(20 + 200j))
    ends = [s.tangent(0.0) for s in target.outline.segments]
    assert sum(abs((e / way).real) < 1e-9 for e in ends) == 2


def test_a_single_corner_by_its_number() -> None:
    plain = made(piece("part", square(100)), allowance={"default": 10})
    rounded = made(piece("part", square(100)), allowance={"default": 10}, corners={"3": "round"})
    assert plain.outline.area - rounded.outline.area == pytest.approx(100 - math.pi * 25, abs=1e-4)
    cut = made(piece("part", square(100)), allowance={"default": 10}, corners={"default": "bevel"})
    assert plain.outline.area - cut.outline.area == pytest.approx(4 * 50, abs=1e-6)


@pytest.mark.parametrize(("half", "cut_off"), [(14.4, True), (14.5, False)])
def test_a_mitre_that_is_cut_off_is_told(half: float, cut_off: bool) -> None:
    """Its reach is the width over the sine of half the angle: 4 widths at 14.478 degrees."""
    high = 20 / math.tan(math.radians(half))
    ear = piece("ear", Path.polygon([0, 40, 20 + high * 1j]))
    target, findings = altered(ear, allowance={"default": 6})
    reach = 6 / math.sin(math.radians(half))
    told = f"would reach {reach:.1f} mm beyond the stitch line, is cut off square at 24.0 mm"
    assert [told in f.what for f in findings] == [True] * cut_off
    assert [f.code for f in findings] == ["A324"] * cut_off
    top = target.outline.bounds[3] - high
    assert top == pytest.approx(24.0 if cut_off else reach, abs=1e-3)
    assert not altered(ear, allowance={"default": 6}, corners={"default": "round"})[1]


def test_sides_of_two_widths_meet_where_each_has_its_own() -> None:
    """A right corner, 30 mm beside a hem and 6 beside it: its tip lies 30.59 mm off, under 120."""
    part = piece("part", rectangle(100, 60))
    assert not altered(part, edges=EDGES, allowance={"default": 6, "hem": 30})[1]
    slanted = piece("part", Path.polygon([0, 100, 120 + 5j, -20 + 5j]))
    (told, _) = altered(slanted, edges=EDGES, allowance={"default": 6, "hem": 30})[1]
    assert told.code == "A324"


def test_a_mitre_beside_an_edge_without_allowance_is_told_too() -> None:
    """6 mm beside one side alone meet the other's line 6 / sin 10 degrees = 34.6 mm off."""
    high = 20 / math.tan(math.radians(5))
    ear = piece("ear", Path.polygon([0, 40, 20 + high * 1j]))
    edges = {"right": ("2", "3")}
    (told,) = altered(ear, edges=edges, allowance={"default": 6, "right": 0})[1]
    assert told.code == "A324"
    assert "would reach 34.6 mm" in told.what


def test_openings_have_an_allowance_where_it_is_named() -> None:
    part = piece("part", square(100), [Path.circle(50 + 50j, 20)])
    bare = made(part, allowance={"default": 6})
    assert -bare.openings[0].path.area == pytest.approx(math.pi * 400)
    lined = made(part, allowance={"default": 6, "opening-1": 5})
    assert -lined.openings[0].path.area == pytest.approx(math.pi * 225)
    swallowed = altered(part, allowance={"opening-1": 25})[1]
    assert [f.code for f in swallowed] == ["A309"]


def test_a_notch_goes_as_deep_as_its_own_edge_bears() -> None:
    keys: dict[str, Any] = {"edges": EDGES, "allowance": {"default": 4, "hem": 20}}
    part = piece("part", rectangle(100, 60))
    deep = {"edge": "hem", "at": "50 %", "depth": 10, "width": 4}
    target = made(part, **keys, notch=(deep,))
    assert min(abs(p - (50 - 10j)) for p in target.outline.corner_points()) < 1e-9
    assert codes(part, **keys, notch=({**deep, "edge": "right"},)) == ["A304"]


def test_a_notch_on_an_opening_s_allowance() -> None:
    part = piece("part", square(100), [square(40, 30 + 30j)])
    notch = {"edge": "opening-1", "at": "25 %", "depth": 3, "width": 2}
    target = made(part, allowance={"opening-1": 5}, notch=({**notch, "at": "20 mm"},))
    assert -target.openings[0].path.area == pytest.approx(30 * 30 + 3, abs=1e-6)


def test_the_stitch_line_is_kept_as_a_mark() -> None:
    part = piece("part", square(100), [Path.circle(50 + 50j, 20)])
    target = made(part, allowance={"default": 6, "opening-1": 5}, mark_stitch_line=True)
    assert [m.name for m in target.marks] == ["stitch-line", "stitch-line-opening-1"]
    assert target.marks[0].paths[0].area == pytest.approx(10_000)
    assert not made(part, mark_stitch_line=True).marks


def test_allowances_and_corners_of_what_is_not_there_are_named() -> None:
    part = piece("part", square(100))
    found = altered(part, edges=EDGES, allowance={"hemm": 5}, corners={"9": "butt"})[1]
    assert [f.code for f in found] == ["A321", "A321"]
    found = altered(part, drawn="cut-line", allowance={"hemm": 5})[1]
    assert "A321" in [f.code for f in found]


KINDS = ["mitre", "butt", "fold", "bevel"]


@st.composite
def stitched(draw: st.DrawFn) -> tuple[Path, dict[str, float]]:
    """A convex outline of straight edges, and allowances."""
    n = draw(st.integers(4, 7))
    turns = [2 * math.pi * (k + draw(st.floats(-0.25, 0.25))) / n for k in range(n)]
    path = Path.polygon([draw(st.floats(80, 120)) * cmath.rect(1, t) for t in turns])
    assume(len(path.corners) == n and not self_crossings(path))
    assume(all(s.length() > 40 for s in path.segments))
    widths = {"default": draw(st.floats(4, 8)), "hem": draw(st.floats(4, 20))}
    return path, widths


@settings(deadline=None, max_examples=60, derandomize=True)
@given(drawn=stitched(), kind=st.sampled_from(KINDS))
def test_an_allowance_taken_off_a_cut_line_and_put_back_is_as_drawn(
    drawn: tuple[Path, dict[str, float]], kind: str
) -> None:
    """Also the stitch line that it leaves is the one that the cut line was made from."""
    path, allowance = drawn
    keys: dict[str, Any] = {"allowance": allowance, "corners": {"hem": kind}}
    hem: dict[str, Any] = {"hem": ("1", "2")}
    cut = made(piece("part", path), edges=hem, **keys).outline
    # the hem on the cut line: the run that goes its way, farthest out from it
    way = path.segments[0].tangent(0.0)
    runs = [(s.point(0.5) - path.start) / way for s in cut.segments]
    alike = [abs(s.tangent(0.0) - way) < 1e-6 for s in cut.segments]
    k = min((k for k, same in enumerate(alike) if same), key=lambda k: runs[k].imag)
    order = sorted(cut.corners)
    assume(len(order) == len(cut.segments))
    assume(kind == "mitre" or len(cut.segments) == len(path.segments) + 2)
    first, last = order.index(k), (order.index(k) + 1) % len(order)
    hem = {"hem": (str(first + 1), str(last + 1))}
    drawing, found = drafts(piece("part", cut), edges=hem, drawn="cut-line", **keys)
    assert not found, [f.line() for f in found]
    assert apart(drawing.pattern.outline.path, path) < 0.01
    stitch = drawing.pattern.outline.path
    again = made(piece("part", stitch), edges={"hem": _hem_of(stitch, path)}, **keys)
    assert apart(again.outline, cut) < 0.01


def _hem_of(found: Path, path: Path) -> tuple[str, str]:
    ends = found.corner_points()
    return tuple(  # type: ignore[return-value]
        str(1 + min(range(len(ends)), key=lambda i: abs(ends[i] - p)))
        for p in (path.segments[0].start, path.segments[0].end)
    )


def _side(start: complex, end: complex, bend: float, curved: bool) -> Line | Arc | Cubic:
    """An arc of this bulge, or a curve that leans to its start as far out."""
    if abs(bend) < 0.02:
        return Line(start, end)
    way, out = end - start, -1j * (end - start) * bend
    if not curved:
        return Arc(start, end, bend)
    return Cubic(start, start + way / 3 + out, start + 0.7 * way + out / 2, end)


@settings(deadline=None, max_examples=80, derandomize=True)
@given(
    kind=st.sampled_from(KINDS),
    bends=st.tuples(*(st.floats(-0.25, 0.25) for _ in range(3))),
    curved=st.booleans(),
    lean=st.floats(-25, 25),
    hem=st.floats(3, 10),
)
def test_an_allowance_beside_curves_is_taken_off_and_put_back(
    kind: str, bends: tuple[float, float, float], curved: bool, lean: float, hem: float
) -> None:
    """A hem and the sides beside it straight, arcs or curves; its corners of every kind.

    Only where the two edges of a corner, run on, never meet may it be refused, by name.
    """
    corners = [0j, 100 + 0j, complex(100 + lean, 80), complex(-lean, 80)]
    path = Path.of(
        [
            _side(corners[0], corners[1], bends[0] / 2, False),
            _side(corners[1], corners[2], bends[1], curved),
            Line(corners[2], corners[3]),
            _side(corners[3], corners[0], bends[2], curved),
        ],
        closed=True,
    )
    keys: dict[str, Any] = {"allowance": {"default": 6, "hem": hem}, "corners": {"hem": kind}}
    cut = made(piece("part", path), edges={"hem": ("1", "2")}, **keys).outline
    drawing, found = drafts(
        piece("part", cut), edges={"hem": _hem_on(cut, path, hem)}, drawn="cut-line", **keys
    )
    if any(f.is_fault for f in found):
        assert [f.code for f in found if f.is_fault] == ["A309"]
        assume(False)
    assert not found, [f.line() for f in found]
    assert apart(drawing.pattern.outline.path, path) < 0.01


@settings(deadline=None, max_examples=30, derandomize=True)
@given(
    bend=st.floats(-0.25, 0.25), curved=st.booleans(), lean=st.floats(-25, 25), hem=st.floats(3, 12)
)
def test_a_rounded_hem_beside_curves_is_taken_off_and_put_back(
    bend: float, curved: bool, lean: float, hem: float
) -> None:
    """Its ends are arcs about the corners, with a step where the widths differ; smooth, so that
    drawn points name where it ends.
    """
    path = Path.of(
        [
            Line(0, 100),
            _side(100 + 0j, complex(100 + lean, 80), bend, curved),
            Line(complex(100 + lean, 80), complex(-lean, 80)),
            _side(complex(-lean, 80), 0j, bend, curved),
        ],
        closed=True,
    )
    keys: dict[str, Any] = {"allowance": {"default": 6, "hem": hem}, "corners": {"hem": "round"}}
    cut = made(piece("part", path), edges={"hem": ("1", "2")}, **keys).outline
    drawn = replace(piece("part", cut), points={"a": -1j * hem, "b": 100 - 1j * hem})
    drawing, found = drafts(drawn, edges={"hem": ("a", "b")}, drawn="cut-line", **keys)
    assert not found, [f.line() for f in found]
    assert apart(drawing.pattern.outline.path, path) < 0.01


def _hem_on(cut: Path, path: Path, wide: float) -> tuple[str, str]:
    """The corners of a cut line between which the first edge's parallel runs."""
    edge = path.segments[0]
    middle = edge.point(0.5) - 1j * edge.tangent(0.5) * wide
    at = nearest_length(cut, middle)[0]
    joints = cut.joint_lengths()
    order = sorted(cut.corners)
    after = next((i for i, j in enumerate(order) if joints[j] > at), 0)
    return str((after - 1) % len(order) + 1), str(after + 1)


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.0])
def test_a_curved_cut_line_loses_and_regains_its_allowance(scale: float) -> None:
    path = Path.of(
        [
            Line(0, 80),
            Cubic(80, 110 + 10j, 100 + 50j, 80 + 60j),
            Arc(80 + 60j, 60j, 0.3),
            Cubic(60j, -20 + 40j, -15 + 20j, 0j),
        ],
        closed=True,
    )
    cut = made(piece("part", path), allowance={"default": 5}).outline
    drawing, found = drafts(piece("part", cut), scale, drawn="cut-line", allowance={"default": 5})
    assert not found, [f.line() for f in found]
    wanted = path.transformed(Affine.scaling(scale))
    assert apart(drawing.pattern.outline.path, wanted) < 0.01 * max(1.0, scale)


def test_rounded_corners_on_a_cut_line_that_nobody_stated_are_told() -> None:
    rounded = made(piece("part", square(100)), allowance={"default": 10}, corners={"3": "round"})
    found = drafts(piece("part", rounded.outline), drawn="cut-line", allowance={"default": 10})[1]
    assert [(f.code, f.is_fault) for f in found] == [("A322", False)]
    # a mitre is (sqrt(2) - 1) times the allowance farther out than the arc
    assert "4.14 mm" in found[0].what
