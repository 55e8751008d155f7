"""The whole chain, from a target to the edge that the written file frees: at most 0.01 mm.

Measured by `dense`, which shares no code with the package, on the text of the SVG as it is written.
"""

from __future__ import annotations

import cmath
import math
import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.geometry.chain import as_piece, freed_edge_off, tip_lost, written
from tests.geometry.dense import Edge, places, winds, written_paths
from tests.stages.compensate.tractrix import drive

from foamwright.geometry import region as rg
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.model import Tool

LIMIT = 0.01
KERF = 0.2


def blade(size: float) -> Path:
    """Cubics, an arc and a line with four corners, one of them an inside one; about 2 x size."""
    s = size
    ends = [0j, 2 * s + 0j, 1.6 * s + 0.9j * s, 1.1 * s + 0.5j * s, 0.7j * s]
    return Path.of(
        [
            Cubic(ends[0], s * (0.5 - 0.4j), s * (1.4 + 0.3j), ends[1]),
            Arc(ends[1], ends[2], 0.2),
            Cubic(ends[2], s * (1.4 + 0.9j), s * (1.1 + 0.8j), ends[3]),
            Cubic(ends[3], s * (0.9 + 0.9j), s * (0.3 + 0.9j), ends[4]),
            Line(ends[4], ends[0]),
        ],
        True,
    )


def wave(size: float, lobes: int = 5) -> Path:
    """A smooth closed outline of cubics."""
    n = 4 * lobes
    step = 2 * math.pi / n

    def at(t: float) -> complex:
        return size * (1 + 0.15 * math.sin(lobes * t)) * cmath.exp(1j * t)

    def along(t: float) -> complex:
        bulge = 1 + 0.15 * math.sin(lobes * t), 0.15 * lobes * math.cos(lobes * t)
        return size * step / 3 * (bulge[1] + 1j * bulge[0]) * cmath.exp(1j * t)

    spots = [at(step * k) for k in range(n)]
    ways = [along(step * k) for k in range(n)]
    return Path.of(
        [
            Cubic(spots[k - 1], spots[k - 1] + ways[k - 1], spots[k] - ways[k], spots[k])
            for k in range(n)
        ],
        True,
    )


def jagged(size: float) -> Path:
    """Points a hair and a micron from each other, and a curve that stops at its end."""
    s = size
    points = [0j, s + 0j, s + 1e-9j, s + 1e-6j, s + 0.001j, 1.1 * s + 0.5j * s]
    lines: list[Segment] = [Line(a, b) for a, b in pairwise(points)]
    top = s * (0.4 + 0.9j)
    lines.append(Cubic(points[-1], points[-1], s * (0.9 + 0.9j), top))
    lines.append(Cubic(top, s * (0.1 + 0.9j), 0.3j * s, 0j))
    return Path.of(lines, True)


ELLIPSE = Path.circle(0, 1).transformed(Affine.scaling(50, 30))
THIN = Path.circle(0, 1).transformed(Affine.scaling(5, 1))
TARGETS = {
    "blade": blade(40),
    "tiny blade": blade(1.5),
    "huge blade": blade(1500),
    "wave": wave(30, lobes=2),
    "tiny wave": wave(1.0, lobes=2),
    "huge ellipse": Path.circle(0, 1).transformed(Affine.scaling(1000, 600)),
    "ellipse": ELLIPSE,
    "thin ellipse": THIN,
    "jagged": jagged(50),
    "tiny jagged": jagged(2),
    "opening": blade(40).reversed(),
    "round opening": Path.circle(0, 8).reversed(),
}


def laser_off(target: Path, tool: Tool) -> float:
    piece = as_piece(target)
    svg, height, findings = written(piece, tool)
    assert not [f for f in findings if f.is_fault and f.code != "C504"], findings
    contours = [piece.outline, *(o.path for o in piece.openings)]
    return freed_edge_off(contours, written_paths(svg, height), tool.kerf / 2)


@pytest.mark.parametrize("name", TARGETS)
@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_a_laser_frees_the_target(name, curves):
    assert laser_off(TARGETS[name], Tool("laser", kerf=KERF, curves=curves)) <= LIMIT


@pytest.mark.parametrize("kerf", [0.05, 1.0, 3.0])
def test_a_laser_of_any_kerf(kerf):
    assert laser_off(blade(40), Tool("laser", kerf=kerf)) <= LIMIT


@pytest.mark.parametrize("name", ["blade", "wave", "tiny wave", "ellipse", "jagged", "opening"])
@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_an_oscillating_knife_frees_the_target(name, curves):
    tool = Tool("oscillating-knife", overrun=2.0, far_face_max=100.0, curves=curves)
    piece = as_piece(TARGETS[name], margin=8.0)
    svg, height, findings = written(piece, tool, margin=8.0)
    assert not [f for f in findings if f.is_fault]
    paths = written_paths(svg, height)
    contours = [piece.outline, *(o.path for o in piece.openings)]
    assert Edge(paths).off(places(contours)[0]).max() <= LIMIT
    assert_harmless(places(paths)[0], contours)


def assert_harmless(points, contours):
    """Every point is within the limit of the target's edge, or out in the scrap."""
    stray = points[Edge(contours).off(points) > LIMIT]
    inside = np.zeros(len(stray), dtype=bool)
    for c in contours:
        inside ^= winds(stray, c)
    assert not inside.any(), stray[inside]


@pytest.mark.parametrize("name", ["blade", "wave", "ellipse", "opening"])
@pytest.mark.parametrize(("curves", "offset"), [("arcs", 0.25), ("arcs", 1.0), ("lines", 0.5)])
def test_the_tip_of_a_drag_knife_frees_the_target(name, curves, offset):
    tool = Tool("drag-knife", blade_offset=offset, curves=curves)
    piece = as_piece(TARGETS[name], margin=15.0)
    svg, height, findings = written(piece, tool, margin=15.0)
    assert not [f for f in findings if f.is_fault or f.code == "C512"], findings
    contours = [piece.outline, *(o.path for o in piece.openings)]
    paths = written_paths(svg, height)
    heading = cmath.phase(paths[0].segments[0].tangent(0.0)) + 2.5  # the run-in must align it
    traces = []
    for path in paths:
        tip, heading = drive(path, offset, heading, step=0.05)
        traces.append(tip)
    tips = np.concatenate(traces)
    cut = Edge.through(tips)
    assert cut.off(places(contours)[0]).max() <= LIMIT
    assert_harmless(tips, contours)


def needle() -> Path:
    """Three cubics and a line that leave the tip almost together: 0.008 mm apart 0.08 mm on."""
    left, tip, low = 1.4554 + 0.0756j, 1.6942 + 1.8486j, 0.2145 + 1.1089j
    bow = [left, 1.303265 + 0.344662j, 1.209014 + 0.598072j, 1.175487 + 0.828189j]
    bow += [1.141961 + 1.058307j, 1.169501 + 1.262785j, 1.257279 + 1.435461j]
    bow += [1.345056 + 1.608136j, 1.492175 + 1.747247j, tip]
    cubics = [Cubic(*bow[k : k + 4]) for k in (0, 3, 6)]
    return Path.of([*cubics, Line(tip, low), Line(low, left)], True).counter_clockwise()


def test_a_thin_spike_keeps_its_tip():
    piece = as_piece(needle())
    svg, height, _ = written(piece, Tool("laser", kerf=KERF))
    assert tip_lost([piece.outline], written_paths(svg, height), KERF / 2) <= LIMIT


# What must be exact in the text


def numbers(svg: str) -> list[str]:
    (data,) = re.findall(r'<path d="([^"]*)"', svg)
    return data.split()


def test_a_circle_is_three_arcs_exact_in_the_text():
    svg, height, _ = written(as_piece(Path.circle(0, 20)), Tool("laser", kerf=KERF))
    words = numbers(svg)
    assert sum(w.startswith("A") for w in words) == 3
    assert {w for w in words if w.startswith("A")} == {"A20.1"}
    (path,) = written_paths(svg, height)
    assert np.abs(np.abs(places([path])[0] - complex(25, 25)) - 20.1).max() < 2e-6


def test_a_circle_of_cubics_is_three_arcs():
    round_cubics = Path.of([c for s in Path.circle(0, 20).segments for c in s.cubics()], True)
    svg, _, _ = written(as_piece(round_cubics), Tool("laser", kerf=KERF))
    assert sum(w.startswith("A") for w in numbers(svg)) == 3


def test_a_straight_run_is_one_line():
    def straight(a: complex, b: complex) -> Cubic:
        return Cubic(a, a + (b - a) * 0.2, a + (b - a) * 0.9, b)

    corners = [0j, 80 + 0j, 80 + 50j, 50j]
    sides = [straight(a, b) for a, b in zip(corners, [*corners[1:], 0j], strict=True)]
    svg, _, _ = written(as_piece(Path.of(sides, True)), Tool("laser", applies=frozenset({"kerf"})))
    assert [w[0] for w in numbers(svg) if w[0].isalpha()] == ["M", "L", "L", "L", "Z"]


@pytest.mark.parametrize("name", ["blade", "tiny blade", "huge blade", "opening", "jagged"])
@pytest.mark.parametrize("curves", ["arcs", "lines"])
def test_corners_are_sharp_in_the_text(name, curves):
    tool = Tool("laser", kerf=KERF, curves=curves, applies=frozenset({"kerf"}))
    piece = as_piece(TARGETS[name])
    svg, height, _ = written(piece, tool)
    joints = np.array([s.start for p in written_paths(svg, height) for s in p.segments])
    for contour in [piece.outline, *(o.path for o in piece.openings)]:
        for corner in contour.corner_points():
            assert np.abs(joints - corner).min() <= 1e-6


def test_inside_corners_of_a_cut_are_sharp_where_the_walls_cross():
    opening = Path.polygon([0, 30, 30 + 20j, 20j]).reversed()
    svg, height, _ = written(as_piece(opening), Tool("laser", kerf=KERF))
    joints = np.array([s.start for p in written_paths(svg, height) for s in p.segments])
    for corner in (10.1 + 10.1j, 39.9 + 10.1j, 39.9 + 29.9j, 10.1 + 29.9j):
        assert np.abs(joints - corner).min() <= 1e-6


# Any outline


@st.composite
def outlines(draw: st.DrawFn) -> Path | None:
    """A closed path of lines, arcs and cubics, 2 mm to 2 m across, some points nearly the same."""
    size = 10 ** draw(st.floats(0, 3))
    n = draw(st.integers(3, 12))
    spots: list[complex] = []
    for k in range(n):
        spots.append(size * draw(st.floats(0.3, 1)) * cmath.rect(1, 2 * math.pi * k / n))
        if draw(st.integers(0, 5)) == 0:
            hair = draw(st.sampled_from([1e-9, 1e-6, 1e-3]))
            spots.append(spots[-1] + 1j * hair * spots[-1] / abs(spots[-1]))
    made: list[Segment] = []
    for a, b in zip(spots, [*spots[1:], spots[0]], strict=True):
        bend, skew = draw(st.floats(-0.4, 0.4)), draw(st.floats(-0.8, 0.8))
        kind = draw(st.sampled_from("lac"))
        if kind == "l" or abs(bend) < 0.01:
            made.append(Line(a, b))
        elif kind == "a":
            made.append(Arc(a, b, bend))
        else:
            way = (b - a) / 3
            made.append(
                Cubic(a, a + way * cmath.rect(1, bend), b - way * cmath.rect(1, bend + skew), b)
            )
    path = Path.of(made, True)
    crosses = path.area <= 0 or rg.self_crossings(path, 1e-4 * size) or rg.self_touches(path, 1e-4)
    return None if crosses else path


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    outlines(), st.sampled_from([0.1, 0.2, 0.6]), st.sampled_from(["arcs", "lines"]), st.booleans()
)
def test_any_outline_is_freed_or_refused(path, kerf, curves, opening):
    if path is None:
        return
    piece = as_piece(path.reversed() if opening else path)
    svg, height, findings = written(piece, Tool("laser", kerf=kerf, curves=curves))
    if any(f.code == "C501" for f in findings):
        low_x, low_y, high_x, high_y = path.bounds
        assert min(high_x - low_x, high_y - low_y) < 20 * kerf
        return
    contours = [piece.outline, *(o.path for o in piece.openings)]
    assert freed_edge_off(contours, written_paths(svg, height), kerf / 2) <= LIMIT
