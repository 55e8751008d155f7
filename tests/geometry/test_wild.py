"""Any outline at all: nothing crashes, and the budget holds or a named finding refuses.

What a disc leaves: out by r and back is the closing by a disc of r, in and out its opening; both
against Clipper2 and the GEOS buffer (Serra, Image Analysis and Mathematical Morphology, 1982).
"""

from __future__ import annotations

import math
import pathlib
import tempfile

import numpy as np
import pytest
import shapely
from hypothesis import assume, event, given
from hypothesis import strategies as st
from shapely.geometry.base import BaseGeometry as Region
from tests.geometry.chain import freed_edge_off, written
from tests.geometry.dense import SAGITTA, Edge, apart, places, written_paths
from tests.geometry.others import FINE, bounded, by_clipper, by_geos, geos_slack, sampled
from tests.geometry.wild import few, wild_outlines

from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset import Join, offset
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic
from foamwright.model import Tool
from foamwright.stages.acquire import LEAST_SIZE, read_drawing

TOL = 0.006
LIMIT = 0.01
KERF = 0.2
MARGIN = 5.0
#: What a beam may leave of a corner unless a job says otherwise, mm.
UNREACHED = 0.5
#: Sides of a quarter of a disc, and what the buffers' chords may tell too little, mm.
DISC, LEAST_LEFT = 64, 0.01
JOINS: tuple[Join, ...] = ("round", "mitre", "bevel")
#: Area that rounding leaves along each mm of an edge, mm2.
CRUMBS = 1e-5


def is_simple(path: Path) -> bool:
    """Whether a closed path neither crosses nor touches itself, by another library's eye."""
    ring = sampled(path, 0.0)
    return bool(shapely.LinearRing(np.column_stack([ring.real, ring.imag])).is_simple)


def assert_rightly_refused(path: Path, codes: set[str]) -> None:
    """By another library's eye: what is said to cross or touch itself does."""
    low_x, low_y, high_x, high_y = path.bounds
    if "R003" in codes:  # nothing is left of it but a speck
        assert max(high_x - low_x, high_y - low_y) < LEAST_SIZE
    if "R102" in codes:
        assert not is_simple(path)
    assert codes <= {"R003", "R102", "R115"}, codes


def assert_out_of_reach(contours: list[Path], codes: set[str]) -> None:
    """By GEOS's buffers: a disc of half a kerf leaves as much of what is beside a piece."""
    radius = KERF / 2
    outline, *holes = (bounded([sampled(c, radius)]) for c in contours)
    target = shapely.difference(outline, shapely.union_all(holes))
    window = shapely.box(*(target.bounds + np.array([-1, -1, 1, 1])))
    swollen = shapely.buffer(target, radius, quad_segs=DISC)
    closed = shapely.buffer(swollen, -radius, quad_segs=DISC)
    edge = shapely.points(shapely.get_coordinates(target.boundary))
    left = float(shapely.distance(edge, closed.boundary).max())
    ways = [shapely.get_num_geometries(window.difference(of)) for of in (target, swollen)]
    swallowed = [shapely.is_empty(shapely.buffer(h, LEAST_LEFT - radius)) for h in holes]
    assert codes <= {"C501", "C502", "C504"}, codes
    if "C504" in codes:
        assert left > UNREACHED - LEAST_LEFT
    if "C502" in codes:
        assert left > radius - LEAST_LEFT or ways[1] > ways[0]
    if "C501" in codes:
        assert any(swallowed)


def test_what_a_disc_reaches_is_told_from_what_it_does_not():
    # a slot that the beam can't enter, one that it can, and a wedge of 17 degrees: 0.1 mm / sin
    # 8.5 less 0.1 mm deep
    def cut(wide: float, deep: float, at_end: float) -> list[Path]:
        mouth = [complex(10 + wide / 2, 20), complex(10 + at_end / 2, 20 - deep)]
        mouth += [complex(10 - at_end / 2, 20 - deep), complex(10 - wide / 2, 20)]
        return [Path.polygon([0j, 20 + 0j, 20 + 20j, *mouth, 20j])]

    assert_out_of_reach(cut(0.15, 3.0, 0.14), {"C502"})
    assert_out_of_reach(cut(0.6, 2.0, 1e-3), {"C504"})
    with pytest.raises(AssertionError):
        assert_out_of_reach(cut(0.3, 3.0, 0.3), {"C502"})
    with pytest.raises(AssertionError):
        assert_out_of_reach(cut(4.0, 6.0, 1e-3), {"C504"})


@few(40)
@given(wild_outlines(), st.sampled_from([TOL, 0.05]))
def test_any_outline_is_fitted_within_its_tolerance(path: Path, tolerance: float) -> None:
    fitted = fit_arcs(path, tolerance)
    assert not any(isinstance(s, Cubic) for s in fitted.segments)
    assert apart([path], [fitted]) <= tolerance + SAGITTA
    assert set(path.corner_points()) <= set(fitted.corner_points())


@few(40)
@given(wild_outlines(), st.sampled_from([0.1, -0.1, 3.0, -3.0]), st.sampled_from(JOINS))
def test_any_outline_has_parallels(path: Path, distance: float, join: Join) -> None:
    made = offset(path, distance, TOL, join)
    assert all(not isinstance(s, Cubic) and p.closed for p in made for s in p.segments)
    if made and join == "round" and is_simple(path):
        away = Edge([path]).off(places(made)[0])
        assert np.abs(away - abs(distance)).max() <= TOL + SAGITTA


# What a disc leaves


def between(low: Region, made: Region, high: Region) -> None:
    """Asserts that a region has all of one and no more than another."""
    assert shapely.difference(low, made).area <= CRUMBS * (1 + low.length)
    assert shapely.difference(made, high).area <= CRUMBS * (1 + high.length)


@few(30)
@given(
    wild_outlines(sizes=(0.0, 3.0), retraced=False),
    st.sampled_from([0.1, 0.5, 3.0]),
    st.sampled_from([1, -1]),
    st.sampled_from([by_clipper, by_geos]),
)
def test_out_and_back_is_the_closing_and_in_and_out_the_opening(path, reach, way, library):
    path = path.counter_clockwise()
    ring = sampled(path, reach)
    assume(shapely.is_valid(bounded([ring])))
    there = way * reach
    made = [q for p in offset(path, there, TOL) for q in offset(p, -there, TOL)]
    ours = bounded([sampled(p, reach) for p in made])
    # each parallel may be off by the tolerance and no more, so that the exact result's bounds are
    # the results of a little less and a little more
    slack = TOL + 2 * FINE + (geos_slack(reach) if library is by_geos else 0.0)
    low, high = (
        library(library([ring], there + more, "round", 4.0), -there + more, "round", 4.0)
        for more in (-slack, slack)
    )
    between(bounded(low), ours, bounded(high))


# From the file to the freed edge


def svg_of(path: Path) -> str:
    """A file with the path, its numbers in full; the page is as large as it, with a margin."""
    low_x, low_y, high_x, high_y = path.bounds
    wide, high = high_x - low_x + 2 * MARGIN, high_y - low_y + 2 * MARGIN

    def at(p: complex) -> str:
        return f"{p.real - low_x + MARGIN!r},{high - (p.imag - low_y + MARGIN)!r}"

    data = [f"M{at(path.segments[0].start)}"]
    for s in path.segments:
        if isinstance(s, Cubic):
            data.append(f"C{at(s.control1)} {at(s.control2)} {at(s.end)}")
        elif isinstance(s, Arc):
            large, sweep = int(abs(s.sweep) > math.pi), int(s.bulge < 0)
            data.append(f"A{s.radius!r},{s.radius!r} 0 {large} {sweep} {at(s.end)}")
        else:
            data.append(f"L{at(s.end)}")
    size = f'width="{wide!r}mm" height="{high!r}mm" viewBox="0 0 {wide!r} {high!r}"'
    line = f'<path fill="none" stroke="#000" stroke-width="0.1" d="{" ".join(data)}Z"/>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{line}</svg>'


@few(40)
@given(wild_outlines(), st.sampled_from(["arcs", "lines"]))
def test_any_drawing_is_freed_or_refused_with_a_finding(path: Path, curves: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder) / "any.svg"
        file.write_text(svg_of(path), encoding="utf-8")
        drawing, findings = read_drawing(file, units="mm")
    faults = [f for f in findings if f.is_fault]
    if faults:
        event(f"refused: {faults[0].code}")
        assert_rightly_refused(path, {f.code for f in faults})
        return
    if not drawing.pieces:
        event(f"nothing to cut: {[f.code for f in findings]}")
        assert findings
        return
    (piece,) = drawing.pieces
    svg, height, findings = written(piece, Tool("laser", kerf=KERF, curves=curves), MARGIN)
    faults = [f for f in findings if f.is_fault]
    contours = [piece.outline, *(o.path for o in piece.openings)]
    if faults:
        event(f"refused: {faults[0].code}")
        assert_out_of_reach(contours, {f.code for f in faults})
        return
    event("freed")
    assert freed_edge_off(contours, written_paths(svg, height), KERF / 2) <= LIMIT
