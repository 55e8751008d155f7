"""Every repair and fault of a drawing has a numbered finding with its place, as a spot in mm.

The spots are what `inspect --preview` flags and `--json` tells.
"""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import pytest
from click.testing import CliRunner
from lxml import etree
from svg_texts import svg

from foamwright.cli import main
from foamwright.findings import Finding
from foamwright.stages.acquire import read_drawing

LINE = 'fill="none" stroke="black"'
PLATE = '<rect id="plate" x="10" y="10" width="80" height="60"/>'
NS = "{http://www.w3.org/2000/svg}"

#: What is drawn besides or instead of the plate, the code, and the first place, y up from 100.
SVG: dict[str, tuple[str, str, complex]] = {
    "loose ends": (f'<path {LINE} d="M120 10h50v60h-50v-59.97"/>', "R109", 120 + 89.985j),
    "a fill without an end": ('<path d="M120 10h50v60h-50v-40"/>', "R118", 120 + 80j),
    "an outline drawn twice": (
        '<g id="a"><rect x="120" y="10" width="9" height="9"/></g>'
        '<g id="b"><path d="M120 10h5h4v9h-9z"/></g>',
        *("R105", 120 + 90j),
    ),
    "lines drawn twice": (f'<path {LINE} d="M20 20h20"/><path {LINE} d="M40 20h-20"/>', "R401", 0j),
    "points on their neighbours": ('<path d="M120 10h40l0 0v60h-40z"/>', "R315", 160 + 90j),
    "a part without length": ('<path d="M120 10h40v60h-40zM130 20z"/>', "R114", 130 + 80j),
    "a speck": ('<path d="M120 10h.01v.01h-.01z"/>', "R114", 120 + 90j),
    "a sliver": ('<path d="M120 10h40v.002h-40z"/>', "R120", 120 + 90j),
    "wrong winding": ('<path d="M120 10h40v60h-40zM130 20h9v9h-9z"/>', "R119", 130 + 80j),
    "an outline that touches itself": (
        '<path d="M120 10h50v60h-20l5 -60l-15 60h-20z"/>',
        *("R115", 155 + 90j),
    ),
    "an opening that touches": ('<path d="M10 20h9v9h-9z"/>', "R115", 0j),
    "a crossing": ('<path d="M120 10L160 50V10L120 50z"/>', "R102", 140 + 70j),
    "an open outline": (f'<path {LINE} d="M120 10h50v60"/>', "R101", 170 + 30j),
    "two that cross": ('<path d="M80 20h20v9h-20z"/>', "R104", 0j),
    "no area": ('<path d="M120 10h40h-40z"/>', "R103", 120 + 90j),
    "no size": ('<rect x="120" y="10" width="0" height="5"/>', "R103", 120 + 90j),
    "a slit in no piece": ('<path data-role="slit" d="M120 10h9"/>', "R106", 120 + 90j),
    "a mark in no piece": ('<path data-role="mark" d="M120 10h9"/>', "R107", 124.5 + 90j),
    "a slit too long": ('<path data-role="slit" d="M80 20h20"/>', "R110", 90 + 80j),
    "two grain lines": (
        '<path data-role="grain" d="M20 20v9"/><path data-role="grain" d="M40 20h8"/>',
        *("R111", 44 + 80j),
    ),
    "two of one name": (
        '<g id="points"><circle id="p" cx="20" cy="20" r=".3"/>'
        '<circle id="p" cx="40" cy="20" r=".3"/></g>',
        *("R108", 40 + 80j),
    ),
    "an error in path data": ('<path d="M120 10h40v60 X"/>', "R202", 160 + 30j),
    "a use of nothing": ('<use href="#no" transform="translate(120 10)"/>', "R206", 120 + 90j),
    "a wide stroke": ('<path stroke="#000" stroke-width="3" d="M120 10h9v9z"/>', "R212", 120 + 90j),
}


def told_of(file: Path, code: str) -> Finding:
    _, told = read_drawing(file)
    found = [f for f in told if f.code == code]
    assert found, [f.line() for f in told]
    return found[0]


@pytest.mark.parametrize("what", SVG)
def test_what_is_wrong_in_an_svg_has_its_place(what: str, tmp_path: Path) -> None:
    body, code, place = SVG[what]
    file = tmp_path / "x.svg"
    file.write_text(svg(PLATE + body), "utf-8")
    found = told_of(file, code)
    assert found.spots
    if place:
        assert found.spots[0] == pytest.approx(place, abs=0.02)


def dxf(file: Path) -> Path:
    """Lines without length, a point drawn twice, a wide line, a height, an edge drawn twice."""
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_lwpolyline([(10, 10), (90, 10), (90, 10), (90, 70), (10, 70)], close=True)
    space.add_line((20, 20), (20, 20))
    space.add_lwpolyline([(20, 30), (40, 30)], dxfattribs={"const_width": 2.0})
    space.add_circle((50, 50, 7), 5)
    space.add_line((20, 60), (40, 60))
    space.add_line((40, 60), (20, 60))
    space.add_spline([(60, 20), (70, 25), (80, 20)])
    document.saveas(file)
    return file


@pytest.mark.parametrize(
    ("code", "place"),
    [
        ("R402", 20 + 20j),
        ("R314", 20 + 30j),
        ("R312", 55 + 50j),
        ("R404", 20 + 60j),
        ("R311", 60 + 20j),
    ],
)
def test_what_is_wrong_in_a_dxf_has_its_place(code: str, place: complex, tmp_path: Path) -> None:
    found = told_of(dxf(tmp_path / "x.dxf"), code)
    assert found.spots[0] == pytest.approx(place, abs=0.01)


def test_the_picture_flags_them_all_and_json_tells_the_places(tmp_path: Path) -> None:
    """What stands on the page at once, each by its number under its code in the list."""
    rows = ["loose ends", "a crossing", "an open outline", "a speck", "a mark in no piece"]
    moved = [f'<g transform="translate({40 * k} 100)">{SVG[r][0]}</g>' for k, r in enumerate(rows)]
    file, picture = tmp_path / "x.svg", tmp_path / "p.svg"
    page = 'width="400mm" height="200mm" viewBox="0 0 400 200"'
    file.write_text(svg(PLATE + "".join(moved), page), "utf-8")
    words = ["inspect", str(file), "--preview", str(picture), "--json"]
    told = json.loads(CliRunner().invoke(main, words).stdout)["findings"]
    root = etree.fromstring(picture.read_bytes())
    texts = [t.text for t in root.iter(f"{NS}text")]
    for finding in told:
        assert finding["spots"], finding
        (number,) = [t.split(":")[0] for t in texts if t and f" {finding['code']} " in t]
        assert texts.count(number) >= 1
    assert {f["code"] for f in told} == {SVG[r][1] for r in rows}
