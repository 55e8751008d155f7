"""Where the parsing libraries go wrong silently or fall over, as far as no other test shows it.

Most of what is known of them is tested with its subject: `test_svg`, `test_pathgrammar`,
`test_dxf_open`, `test_dxf_entities`, `test_dxf`.
"""

from __future__ import annotations

import math
from pathlib import Path

import ezdxf
import pytest
from dxf_files import codes as dxf_codes
from dxf_files import faults, read, tagged
from svg_texts import MM_PAGE, codes, one, shapes, svg

from foamwright.stages.acquire import read_drawing
from foamwright.stages.acquire.svg import read_svg_bytes

SQUARE = '<rect width="9" height="9"/>'


# SVG


@pytest.mark.parametrize(
    ("length", "user"),
    [("40Q", 10), ("1CM", 10), ("1In", 25.4), ("6pc", 25.4), ("72PT", 25.4), ("96px", 25.4)],
)
def test_units_of_attributes_whatever_their_case(length: str, user: float) -> None:
    path = one(f'<rect width="{length}" height="{length}"/>', 'width="200mm" height="100mm"').path
    assert path.length == pytest.approx(4 * user)


@pytest.mark.parametrize("paint", ["rgb(3.5,4.5,6)", "url(#none) red", "context-fill", "banana"])
def test_a_colour_that_nobody_knows_drops_no_shape(paint: str) -> None:
    assert one(f'<rect width="9" height="9" fill="{paint}"/>').path.length == pytest.approx(36)


def test_an_ellipse_of_one_radius_is_a_circle() -> None:
    """SVG 2, section 7.4: `auto` is the other radius."""
    for given in ('rx="5"', 'ry="5"', 'rx="5" ry="auto"'):
        path = one(f'<ellipse cx="50" cy="50" {given}/>').path
        assert abs(path.area) == pytest.approx(25 * math.pi, rel=1e-6)


def test_negative_radii_and_sizes_are_faults() -> None:
    for shape in ('circle r="-5"', 'ellipse rx="-5" ry="5"', 'rect width="5" height="-1"'):
        found, told = shapes(f"<{shape}/>")
        assert (found, codes(told)) == ((), ["R203"])


def test_a_hidden_root_is_told() -> None:
    for hidden in ('display="none"', 'style="display:none"'):
        found, told = shapes(SQUARE, f"{MM_PAGE} {hidden}")
        assert found == ()
        assert "1 x hidden element" in told[-1].what


def test_a_top_level_symbol_is_drawn_only_where_it_is_used() -> None:
    symbol = f'<symbol id="s">{SQUARE}</symbol>'
    assert shapes(symbol)[0] == ()
    found, _ = shapes(symbol + '<use href="#s"/><use href="#s" x="50"/>')
    assert [s.path.bounds[0] for s in found] == pytest.approx([0, 50])


def test_an_encoding_that_is_not_declared_is_refused_with_its_line() -> None:
    data = svg(f'<g id="Füße">{SQUARE}</g>').encode("latin-1")
    found, told, _ = read_svg_bytes(data, "x.svg")
    assert (found, codes(told)) == ((), ["R201"])
    declared = b'<?xml version="1.0" encoding="ISO-8859-1"?>' + data
    found, told, _ = read_svg_bytes(declared, "x.svg")
    assert codes(told) == []
    assert found[0].groups == ("Füße",)


@pytest.mark.parametrize("bad", ["matrix(1 0 0)", "rotate()", "scale(a)", "translate(1 2 3)"])
def test_bad_transform_arguments_are_one_fault(bad: str) -> None:
    assert codes(shapes(f'<g transform="{bad}">{SQUARE}</g>')[1]) == ["R204"]


# DXF


def test_entities_of_one_handle_are_all_read_or_the_file_is_refused(tmp_path: Path) -> None:
    """Where the file is broken besides, the mending reader comes in, which drops the later ones."""
    sides = [(0, 0, 9, 0), (9, 0, 9, 9), (9, 9, 0, 9), (0, 9, 0, 0)]
    lines = [[0, "LINE", 5, "AA", 8, "0", 10, a, 20, b, 11, c, 21, d] for a, b, c, d in sides]
    file = tagged(tmp_path / "a.dxf", *lines)
    found, told, _ = read(file, "mm")
    assert ([s.path.length for s in found], told) == ([pytest.approx(36)], [])
    file.write_text(file.read_text().replace("0\nEOF\n", ""))
    _, (told_then,), _ = read(file, "mm")
    assert (told_then.code, told_then.is_fault) == ("R301", True)
    assert "Removed entity LINE(#AA)" in told_then.what


def test_a_broken_binary_file_is_refused(tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_line((0, 0), (9, 9))
    file = tmp_path / "a.dxf"
    document.saveas(file, fmt="bin")
    assert dxf_codes(read(file)[1]) == []
    file.write_bytes(file.read_bytes()[:-300])
    assert faults(read(file)[1]) == ["R001"]


@pytest.mark.parametrize("bulge", ["1e12", "-1e12", "1e300"])
def test_a_bulge_without_end_ends(tmp_path: Path, bulge: str) -> None:
    line = [0, "LWPOLYLINE", 8, "0", 90, 2, 70, 1, 10, 0, 20, 0, 42, bulge, 10, 9, 20, 0]
    assert faults(read(tagged(tmp_path / "a.dxf", line), "mm")[1]) == ["R307"]


def test_a_drawing_of_metres_that_is_none_asks_for_the_unit(tmp_path: Path) -> None:
    """A header that says metres over numbers in millimetres: a leg of 400 m."""
    document = ezdxf.new("R2010", units=6)
    document.modelspace().add_lwpolyline([(0, 0), (400, 0), (400, 90), (0, 90)], close=True)
    file = tmp_path / "leg.dxf"
    document.saveas(file)
    _, (told,) = read_drawing(file)
    assert (told.code, told.is_fault) == ("R005", True)
    assert "--units" in told.mend
    found, more = read_drawing(file, "mm")
    assert [f.code for f in more] == ["R006"]
    assert found.pieces[0].outline.length == pytest.approx(980)
