"""Parallels of real and made outlines against Clipper2 and GEOS: Hausdorff distance and area.

The whole set of real outlines is in `tests/benchmarks/test_curves.py`.
"""

from __future__ import annotations

import pathlib
from itertools import islice

import pytest
from tests.benchmarks.outlines import Outline, drawn_outlines, glyph_outlines
from tests.geometry.others import differences, geos_slack
from tests.geometry.test_offset import OUTLINES

from foamwright.geometry.offset import offset
from foamwright.geometry.path import Path

TOL = 0.006
#: mm that ours and another library's parallel may lie apart.
APART = 0.01
MITRE_LIMIT = 4.0


@pytest.fixture(scope="module")
def glyphs() -> list[Outline]:
    return list(islice(glyph_outlines(of_each=1), 0, None, 2))


@pytest.fixture(scope="module")
def drawings(shared: pathlib.Path) -> list[Outline]:
    return list(islice(drawn_outlines(shared), 0, 80, 4))


def assert_alike(path: Path, distance: float, join: str = "round") -> None:
    made = offset(path, distance, TOL, join, MITRE_LIMIT)
    for name, d in differences(path, made, distance, TOL, join, MITRE_LIMIT).items():
        slack = geos_slack(distance) if name == "GEOS" else 0.0
        assert d.apart <= APART + slack, (name, d)
        assert d.tips <= APART, (name, d)
        assert abs(d.area) <= (TOL + slack) * d.length, (name, d)


@pytest.mark.parametrize("name", OUTLINES)
@pytest.mark.parametrize("distance", [0.1, -0.1, 2, -2, 12])
@pytest.mark.parametrize("opening", [False, True])
def test_made_outlines(name, distance, opening):
    path = OUTLINES[name]
    assert_alike(path.reversed() if opening else path, distance)


@pytest.mark.parametrize("name", ["ell", "star", "rounded", "scoop"])
def test_mitres_of_lines_and_arcs(name):
    assert_alike(OUTLINES[name], 6.0, "mitre")


@pytest.mark.parametrize("distance", [0.1, -0.1, 2, -2])
def test_glyphs(glyphs, distance):
    for outline in glyphs:
        assert_alike(outline.path, distance)


@pytest.mark.parametrize("distance", [0.1, -0.1, 2, -2])
def test_drawings(drawings, distance):
    for outline in drawings:
        assert_alike(outline.path, distance)
