"""Real DXF files of other programs: none raises, and another reader agrees on length and box.

The second reader is GDAL's DXF driver (through pyogrio).  It draws dimensions, fills and hidden
layers too and gives every spline 40 points, so files with those are compared otherwise or not.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from dxf_files import codes, faults, in_mm
from tests.second_readers import by_gdal

from foamwright.stages.acquire.dxf_open import INSUNITS, stated_insunits

#: Files that hold nothing drawn in model space but text, dimensions, fills, solids or blocks.
NOTHING_TO_CUT = frozenset(
    (
        *("blocks", "header", "mleader", "mtext-test", "tables", "dimension-vertical", "empty"),
        *("points", "polyfacemesh", "texts", "threeDFaces", "text", "tray-easy1"),
    )
)
#: A spline with five knots where eight are needed.
BROKEN = frozenset(("rational_spline",))
#: Files of lines, arcs, circles, ellipses and polylines only, in blocks or not, all of it seen.
PLAIN = (
    *("1001", "1x1rectangle", "accumulatortest", "angle_test", "arc1", "arc15", "arc16", "arc17"),
    *("array-rotated", "arrayed-holes", "attribute", "blocks1", "blocks2", "broken_loop"),
    *("broken_pair", "buffer_regions", "circlesellipsesarcs", "closedlwpolylinebug", "ellipse"),
    *("ellipticalarcs", "ellipticalarcs2", "extendeddata", "gear"),
    *("issue21", "issue29", "issue39", "issue52", "layers", "lines", "loose", "lwpolylines"),
    *("single_arc", "sliding-base", "squareandcircle", "texts-in-block", "three_layers", "types"),
    *("vslot-2020_1", "wrench"),
    *(f"elliptical-arc{k}" for k in range(1, 15)),
)


def named(shared: Path, name: str) -> Path:
    (file,) = (f for f in corpus(shared) if f.stem == name and drawn_in(f))
    return file


def corpus(shared: Path) -> list[Path]:
    return sorted((shared / "corpora" / "dxf").glob("*/*.dxf"))


def drawn_in(file: Path) -> bool:
    """Whether the file has a section for drawn entities at all."""
    return b"ENTITIES" in file.read_bytes()


def test_every_file_is_read_or_refused(shared: Path) -> None:
    files = corpus(shared)
    assert len(files) > 90
    for file in files:
        shapes, findings, unit = in_mm(file)
        if file.stem in NOTHING_TO_CUT or not drawn_in(file):
            assert (shapes, faults(findings)) == ((), ["R304"]), file.name
        elif file.stem in BROKEN:
            assert faults(findings) == ["R307"], file.name
        else:
            assert faults(findings) == [], file.name
            assert shapes, file.name
        assert unit, file.name
        for s in shapes:
            assert np.isfinite(s.path.bounds).all()
            joints = pairwise(s.path.segments)
            assert all(abs(a.end - b.start) < 1e-9 * max(1, abs(a.end)) for a, b in joints)


@pytest.mark.parametrize("name", PLAIN)
def test_gdal_agrees(shared: Path, name: str) -> None:
    file = named(shared, name)
    length, box = by_gdal(file)
    shapes, _, _ = in_mm(file, tolerance=0.0)
    boxes = np.array([s.path.bounds for s in shapes])
    ours = (*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))
    size = max(box[2] - box[0], box[3] - box[1])
    assert sum(s.path.length for s in shapes) == pytest.approx(length, rel=1e-5)
    assert ours == pytest.approx(box, abs=1e-6 * size)


@pytest.mark.parametrize(
    "name", ["issue27a", "issue27b", "issue27c", "issue53", "splineA", "squircle2"]
)
def test_splines_have_their_true_length(shared: Path, name: str) -> None:
    """Rational and plain, against the library's flattening of each one alone."""
    file = named(shared, name)
    unit = INSUNITS[stated_insunits(file.read_bytes()) or 0][1]
    flat = [
        np.array([complex(p.x, p.y) for p in e.flattening(1e-6, 16)])
        for e in ezdxf.readfile(file).modelspace()
    ]
    length = sum(np.abs(np.diff(points)).sum() for points in flat) * unit
    shapes, _, _ = in_mm(file)
    assert sum(s.path.length for s in shapes) == pytest.approx(length, rel=1e-5)


@pytest.mark.parametrize(
    ("name", "outlines"),
    [
        ("1001", 5),
        ("gear", 2),
        ("genshi", 1),
        ("issue53", 16),
        ("sliding-base", 9),
        ("wrench", 2),
    ],
)
def test_cut_parts_become_closed_outlines(shared: Path, name: str, outlines: int) -> None:
    shapes, _, _ = in_mm(named(shared, name))
    assert [s.path.closed for s in shapes] == [True] * outlines


def test_closed_lines_of_two_points_are_lines(shared: Path) -> None:
    """Each block holds a rectangle and a closed polyline that goes 0.5 mm there and back."""
    for name in ("insert", "insert_r14"):
        length, _ = by_gdal(named(shared, name))
        shapes, _, _ = in_mm(named(shared, name))
        assert [s.path.closed for s in shapes] == [False, True, False, True]
        assert sum(s.path.length for s in shapes) == pytest.approx(length - 2 * 0.5)


def test_the_gears_gaps_are_told(shared: Path) -> None:
    _, (told,), _ = in_mm(named(shared, "gear"))
    assert told.code == "R109"
    assert "4 gaps" in told.what
    assert "0.000134 mm" in told.what


def test_broken_loops_stay_open(shared: Path) -> None:
    """A gap of 0.1 mm is not bridged within 0.05, one of 0.04 is."""
    (loop,), findings, _ = in_mm(named(shared, "broken_loop"))
    assert not loop.path.closed
    assert findings == []
    _, findings, _ = in_mm(named(shared, "broken_pair"))
    assert codes(findings) == ["R109"]


def test_a_fill_has_the_box_and_area_of_a_second_reader(shared: Path) -> None:
    """GDAL's polygon of the same fill, its arcs as chords of 0.1 degrees or so."""
    (file,) = (f for f in corpus(shared) if f.stem == "testHatch")
    shapes, _, _ = in_mm(file)
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.1"})
    (polygon,) = shapely.from_wkb(pyogrio.raw.read(file)[2])
    (fill,) = shapes
    assert fill.kind == "fill"
    assert fill.path.bounds == pytest.approx(polygon.bounds, abs=1e-6)
    assert abs(fill.path.area) == pytest.approx(polygon.area, rel=5e-4)
