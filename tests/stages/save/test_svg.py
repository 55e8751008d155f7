"""The written SVG: the contract's lines, one by one, judged by an XML parser of its own."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lxml import etree

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.model import OPERATIONS, FileStyle
from foamwright.stages.save.svg import svg_text
from tests.stages.save.programs import (
    ALL_FOR_PEOPLE,
    OKABE_ITO,
    assert_golden,
    program,
    third_of_circle,
    with_cut,
)

NS = "{http://www.w3.org/2000/svg}"
PLAIN = FileStyle()
_ARC = re.compile(r"A(\S+) (\S+) 0 (\d) (\d) (\S+) (\S+)")
_MARKUP = '<img src=x onerror="alert(1)">'
HOSTILE = [
    f"{_MARKUP}/drawn/1",
    "]]></text><script>alert(1)</script>/drawn/1",
    'a" onload="x/drawn/1',
    "&lt;&amp;&#0;/drawn/1",
    "bell\x07 null\x00 escape\x1b[31m/drawn/1",
    "line\nbreak\r\n  0\nLINE/drawn/1",
    "\u202egnp.exe\u2066/drawn/1",
    "../../etc/passwd/drawn/1",
    "half \ud800 pair/drawn/1",
    "\ufffe\uffff/drawn/1",
    "日本語 Größe/drawn/1",
    "x" * 5000,
]


def tree(text: str) -> etree._Element:
    return etree.fromstring(text.encode("utf-8"))


def groups(text: str) -> list[etree._Element]:
    return list(tree(text))


def test_groups_stand_once_each_in_the_contract_s_order() -> None:
    found = groups(svg_text(program(("one/drawn/1",)), PLAIN))
    assert [g.get("id") for g in found] == list(OPERATIONS)
    assert [g.get("data-operation") for g in found] == list(OPERATIONS)
    assert all(g.tag == f"{NS}g" for g in found)


def test_paths_stand_in_cutting_order() -> None:
    made = program(("one/drawn/1", "two/drawn/1"), (200, 160))
    outer = groups(svg_text(made, PLAIN))[-1]
    starts = [re.match(r"M(\S+) (\S+)", p.get("d", "")) for p in outer]
    assert [(m[1], m[2]) for m in starts if m] == [("20", "140"), ("20", "80")]
    turned = replace(made, cuts=(*made.cuts[:-2], made.cuts[-1], made.cuts[-2]))
    outer = groups(svg_text(turned, PLAIN))[-1]
    assert [p.get("d", "")[:7] for p in outer] == ["M20 80 ", "M20 140"]


def test_bands_repeat_the_groups_with_ids_of_their_own() -> None:
    made = program(("one/drawn/1", "two/drawn/1", "three/drawn/1"), (200, 220), banded=True)
    found = groups(svg_text(made, PLAIN))
    ids = [g.get("id") for g in found]
    again = [[*OPERATIONS], [f"{o}-2" for o in OPERATIONS], [f"{o}-3" for o in OPERATIONS]]
    assert ids == [i for band in again for i in band]
    assert [g.get("data-operation") for g in found] == [*OPERATIONS] * 3
    assert all(len(g) == 1 for g in found)


def test_ids_stay_unique_whatever_the_shop_s_names() -> None:
    names = {"CUT_OUTER": "CUT_INNER-2", "PEN": "CUT_INNER-3", "STOCK": "SCORE-2"}
    style = FileStyle(layers=names, writes=("STOCK",))
    made = program(("one/drawn/1", "two/drawn/1"), (200, 220), banded=True)
    found = groups(svg_text(made, style))
    ids = [g.get("id") for g in found]
    assert len(set(ids)) == len(ids)
    assert ids[0] == "CUT_INNER-3"
    assert ids[5] == "CUT_INNER-2"
    inner = [g.get("id") for g in found if g.get("data-operation") == "CUT_INNER"]
    assert inner == ["CUT_INNER", "CUT_INNER-4"]
    assert [i for i in ids if i and i.startswith("SCORE")] == ["SCORE", "SCORE-3", "SCORE-2"]


def test_renamed_groups_keep_their_operation() -> None:
    style = FileStyle(layers={"CUT_OUTER": "THROUGH", "TEXT": "NAMES"}, writes=("TEXT",))
    found = groups(svg_text(program(), style))
    names = {g.get("data-operation"): g.get("id") for g in found}
    assert names["CUT_OUTER"] == "THROUGH"
    assert names["TEXT"] == "NAMES"
    assert names["CUT_INNER"] == "CUT_INNER"


def test_colours_are_the_palette_s_or_the_profile_s() -> None:
    found = groups(svg_text(program(), PLAIN))
    assert {g.get("id"): g.get("stroke") for g in found} == OKABE_ITO
    style = FileStyle(colours={"CUT_OUTER": "#FF0000"})
    found = groups(svg_text(program(), style))
    assert {g.get("id"): g.get("stroke") for g in found} == {**OKABE_ITO, "CUT_OUTER": "#FF0000"}


@pytest.mark.parametrize("writes", [(), ("TEXT",), ("STOCK",), ("CHECK",), ("TEXT", "CHECK")])
def test_groups_for_people_only_where_asked_for(writes: tuple[str, ...]) -> None:
    found = [g.get("data-operation") for g in groups(svg_text(program(), FileStyle(writes=writes)))]
    assert found == [*OPERATIONS, *writes]


def test_nothing_but_what_is_asked_for_stands_in_the_file() -> None:
    root = tree(svg_text(program(), ALL_FOR_PEOPLE))
    allowed = {
        f"{NS}svg": {"version", "width", "height", "viewBox"},
        f"{NS}g": {"id", "data-operation", "fill", "stroke", "stroke-width"},
        f"{NS}path": {"d"},
        f"{NS}text": {"x", "y", "font-size"},
    }
    for element in root.iter():
        assert element.tag in allowed, element.tag
        assert set(element.attrib) <= allowed[element.tag]
    assert not root.getroottree().docinfo.doctype


@pytest.mark.parametrize("size", [(200.0, 120.0), (1000.0, 93.4567891), (25.4 * 17, 0.1 + 1182.7)])
def test_size_in_millimetres_is_the_view(size: tuple[float, float]) -> None:
    root = tree(svg_text(program(size=size), PLAIN))
    assert root.get("viewBox") == (
        f"0 0 {root.get('width', '')[:-2]} {root.get('height', '')[:-2]}"
    )
    for key, wanted in zip(("width", "height"), size, strict=True):
        assert root.get(key, "").endswith("mm")
        assert float(root.get(key, "")[:-2]) == pytest.approx(wanted, abs=5e-7)


def test_the_check_line_measures_100_mm_in_the_scrap() -> None:
    check = groups(svg_text(program(), ALL_FOR_PEOPLE))[-1]
    (path,) = check
    x0, y0, x1, y1 = map(float, re.findall(r"[\d.]+", path.get("d", "")))
    assert (x1 - x0, y1 - y0) == (100.0, 0.0)
    assert (x0, y0) == (2.0, 118.0)  # the nearest row of the sheet, and the file's y runs down


def test_arcs_turn_by_at_most_120_degrees() -> None:
    text = svg_text(program(), PLAIN)
    arcs = 0
    for d in re.findall(r' d="([^"]+)"', text):
        here = complex(*map(float, re.match(r"M(\S+) (\S+)", d).groups()))  # type: ignore[union-attr]
        for step in re.findall(r"[LA][^LAZ]+", d):
            numbers = [float(v) for v in step[1:].split()]
            end = complex(numbers[-2], numbers[-1])
            if step[0] == "A":
                arcs += 1
                rx, ry, turn, large, _sweep = numbers[:5]
                assert (rx, turn, large) == (ry, 0, 0)
                angle = math.degrees(2 * math.asin(abs(end - here) / (2 * rx)))
                assert angle <= 120 + 1e-4
            here = end
    assert arcs == 3 + 3 + 2  # hole, eye, and the half round end in two


def test_an_arc_of_120_degrees_stays_one() -> None:
    text = svg_text(with_cut(third_of_circle()), PLAIN)
    assert len(_ARC.findall(text)) == 1


def test_the_sheet_is_turned_over_so_arcs_turn_the_other_way() -> None:
    # counter-clockwise with y up, from (80, 60) up to (50, 77.32): on the page upwards, so sweep 0
    text = svg_text(with_cut(third_of_circle(), (200.0, 100.0)), PLAIN)
    assert 'd="M80 40 A20 20 0 0 0 50 22.679492"' in text


def test_numbers_have_six_decimals_at_most_and_no_exponent() -> None:
    path = Path.polygon([1e-7 + 0j, complex(1 / 3, 2 / 3), complex(199.99999951, 1e-9)])
    text = svg_text(with_cut(path), PLAIN)
    numbers = re.findall(r"[-+]?[\d.]+(?:e[-+]?\d+)?", " ".join(re.findall(r' d="([^"]+)"', text)))
    assert all(re.fullmatch(r"-?\d+(\.\d{1,6})?", n) for n in numbers), numbers
    assert "-0 " not in text
    assert "0.333333 119.333333" in text


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    st.lists(
        st.complex_numbers(max_magnitude=5000, allow_nan=False), min_size=3, max_size=6, unique=True
    ),
    st.floats(-0.57, 0.57),
)
def test_coordinates_are_within_half_a_millionth(points: list[complex], bulge: float) -> None:
    ends = [*points[1:], points[0]]
    assume(all(abs(a - b) > 1e-5 for a, b in zip(points, ends, strict=True)))
    segments = [
        Arc(a, b, bulge) if bulge and k == 0 else Line(a, b)
        for k, (a, b) in enumerate(zip(points, ends, strict=True))
    ]
    text = svg_text(with_cut(Path(tuple(segments), True), (200.0, 100.0)), PLAIN)
    d = re.findall(r' d="([^"]+)"', text)[0]
    found = [[float(v) for v in s[1:].split()][-2:] for s in re.findall(r"[MLA][^MLAZ]+", d)]
    for (x, y), p in zip(found, points, strict=True):
        assert abs(x - p.real) <= 5.1e-7
        assert abs(100 - y - p.imag) <= 5.1e-7
    assert d.endswith("Z")


def test_a_curve_that_files_do_not_hold_is_refused() -> None:
    wave = Path.of([Cubic(10 + 10j, 20 + 30j, 30 - 10j, 40 + 10j)], False)
    with pytest.raises(GeometryError, match="neither line nor arc"):
        svg_text(with_cut(wave), PLAIN)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_only_text(name: str) -> None:
    text = svg_text(program((name,)), ALL_FOR_PEOPLE)
    root = tree(text)
    assert {e.tag for e in root.iter()} == {f"{NS}{t}" for t in ("svg", "g", "path", "text")}
    assert all(not a.startswith("on") for e in root.iter() for a in e.attrib)
    (shown,) = (e.text or "" for e in root.iter(f"{NS}text"))
    assert shown.isprintable()
    assert 0 < len(shown) <= 60
    plain = svg_text(program((name,)), PLAIN)
    assert plain == svg_text(program(("other/drawn/1",)), PLAIN)  # no name goes into a cut


def test_newlines_only() -> None:
    text = svg_text(program(("a\r\nb/drawn/1",)), ALL_FOR_PEOPLE)
    assert "\r" not in text
    assert text.endswith("</svg>\n")


_AGAIN = """
import sys
from foamwright.stages.save.svg import svg_text
from tests.stages.save.programs import ALL_FOR_PEOPLE, program
sys.stdout.buffer.write(svg_text(program(("a/drawn/1", "b/drawn/1"), (200, 180)),
                                 ALL_FOR_PEOPLE).encode())
"""


def test_the_same_bytes_in_another_process() -> None:
    here = svg_text(program(("a/drawn/1", "b/drawn/1"), (200, 180)), ALL_FOR_PEOPLE).encode()
    for seed in ("0", "12345"):
        assert run_seeded(_AGAIN, seed) == here


def run_seeded(code: str, seed: str) -> bytes:
    """What a Python of its own, with that hash seed and another time zone, writes."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=True,
        env={"PYTHONHASHSEED": seed, "PYTHONPATH": ":".join(sys.path), "TZ": "Asia/Tokyo"},
    )
    assert done.stderr == b""
    return done.stdout


def test_golden() -> None:
    assert_golden("tab.svg", svg_text(program(), ALL_FOR_PEOPLE))
