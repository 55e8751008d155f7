"""The preview of a drawing: a picture of what was read, and plainly no cut file."""

from __future__ import annotations

import dataclasses

import pytest
from lxml import etree

from foamwright.findings import fault, note, warning
from foamwright.geometry.path import Path
from foamwright.model import Drawing
from foamwright.stages.save.preview import SIGNATURE, preview_svg
from tests.stages.save.programs import piece

NS = "{http://www.w3.org/2000/svg}"
HOSTILE = '<img src=x onerror="alert(1)">\x00\x1b[31m'


def drawing(name: str = "tab") -> Drawing:
    made = dataclasses.replace(piece(name), points={"ankle": 40 + 30j})
    return Drawing("tab.svg", (made, piece("second", 200 + 100j)), "mm")


def test_size_is_the_drawing_s_with_a_border() -> None:
    root = etree.fromstring(preview_svg(drawing(), []).encode())
    # pieces from (20, 20) to (275, 130): sides 255 and 110, the border 3 % of the larger
    border = 0.03 * 255
    assert root.get("width") == f"{255 + 2 * border:.3f}".rstrip("0").rstrip(".") + "mm"
    assert root.get("height") == f"{110 + 2 * border:.3f}".rstrip("0").rstrip(".") + "mm"
    assert root.get("viewBox", "").split()[2:] == [
        root.get(k, "").removesuffix("mm") for k in ("width", "height")
    ]


def test_corners_are_numbered_and_points_and_pieces_named() -> None:
    root = etree.fromstring(preview_svg(drawing(), []).encode())
    words = [t.text for t in root.iter(f"{NS}text")]
    corners = [str(k) for k in range(1, len(piece().outline.corners) + 1)]
    assert corners == ["1", "2"]  # the half round end meets its sides smoothly
    assert words == [*corners, "ankle", "tab", *corners, "second"]
    (mark,) = (t for t in root.iter(f"{NS}text") if t.text == "ankle")
    # (40, 30) seen from the near left corner (20, 20) and the upper edge 130, plus the border;
    # the letters stand beside it by 1 / 200 of the larger side
    border, beside = 0.03 * 255, 255 / 200
    assert float(mark.get("x", "")) == pytest.approx(20 + border + beside, abs=1e-3)
    assert float(mark.get("y", "")) == pytest.approx(100 + border - beside, abs=1e-3)


def test_findings_are_told_and_the_words_that_say_what_it_is() -> None:
    found = [fault("R101", "tab", "open <here>"), note("R109", "tab", "a gap & so on")]
    root = etree.fromstring(preview_svg(drawing(), found).encode())
    assert SIGNATURE in (root.findtext(f"{NS}title") or "")
    told = root.findtext(f"{NS}desc") or ""
    assert "open <here>" in told
    assert "a gap & so on" in told


def test_a_drawing_without_pieces_gives_a_picture_all_the_same() -> None:
    root = etree.fromstring(preview_svg(Drawing("x.svg", (), "mm"), []).encode())
    assert list(root.iter(f"{NS}path")) == []


@pytest.mark.parametrize("where", ["piece", "file", "finding"])
def test_hostile_words_are_only_text(where: str) -> None:
    made = drawing(HOSTILE if where == "piece" else "tab")
    if where == "file":
        made = dataclasses.replace(made, file=HOSTILE)
    found = [fault("R101", HOSTILE, HOSTILE)] if where == "finding" else []
    root = etree.fromstring(preview_svg(made, found).encode())
    tags = {e.tag.removeprefix(NS) for e in root.iter()}
    assert tags <= {"svg", "title", "desc", "rect", "g", "path", "text", "circle"}
    assert all(not a.startswith("on") for e in root.iter() for a in e.attrib)


# findings on the picture

FLAG_INK = {"note": "#0072B2", "warning": "#B35900", "fault": "#A00000"}


def flagged(text: str) -> dict[str, list[complex]]:
    """By number, the places of the rings that stand under a flag, from the lower left corner."""
    root = etree.fromstring(text.encode())
    (group,) = (g for g in root.iter(f"{NS}g") if g.get("text-anchor") == "middle")
    found: dict[str, list[complex]] = {}
    at = 0j
    for e in group:
        if e.tag == f"{NS}circle":
            at = complex(float(e.get("cx", "")), float(e.get("cy", "")))
        elif e.tag == f"{NS}text":
            found.setdefault(e.text or "", []).append(at)
    return found


def test_each_place_of_a_finding_bears_its_number_and_the_list_tells_it() -> None:
    """The drawing's lower left corner (20, 20) lies at the border's width from the left edge."""
    gap = note("R109", "tab.svg", "2 gaps closed", spots=[20 + 20j, 275 + 130j])
    lost = warning("R107", "tab.svg", "a mark that lies in no piece", spots=[100 + 60j])
    bare = fault("R301", "tab.svg", "is broken")
    text = preview_svg(drawing(), [bare, gap, lost])
    root = etree.fromstring(text.encode())
    border, above = 0.03 * 255, 6 * 0.011 * 255
    places = flagged(text)
    assert sorted(places) == ["1", "2"]
    expected = [complex(border, above + 110), complex(border + 255, above)]
    assert places["1"] == [pytest.approx(p, abs=1e-3) for p in expected]
    assert places["2"] == [pytest.approx(complex(border + 80, above + 70), abs=1e-3)]
    rows = [t for t in root.iter(f"{NS}text") if t.get("fill") in FLAG_INK.values()]
    assert [(t.text, t.get("fill")) for t in rows] == [
        ("1: note R109 tab.svg: 2 gaps closed", FLAG_INK["note"]),
        ("2: warning R107 tab.svg: a mark that lies in no piece", FLAG_INK["warning"]),
        ("3 (no place): fault R301 tab.svg: is broken", FLAG_INK["fault"]),
    ]
    height = float(root.get("height", "").removesuffix("mm"))
    assert all(above + 110 < float(t.get("y", "")) < height for t in rows)


def test_findings_at_one_place_stand_above_each_other() -> None:
    found = [note("R109", "x", "a gap", spots=[50j]), fault("R102", "x", "a loop", spots=[50j])]
    places = flagged(preview_svg(drawing(), found))
    assert places["1"] == places["2"]
    text = preview_svg(drawing(), found)
    numbers = [
        float(t.get("y", ""))
        for t in etree.fromstring(text.encode()).iter(f"{NS}text")
        if t.text in ("1", "2") and t.get("fill") == "#ffffff"
    ]
    assert numbers[0] - numbers[1] > 2 * 0.011 * 255


def test_what_was_refused_is_drawn_and_wild_numbers_are_not() -> None:
    loop = Path.polygon([0j, 40 + 40j, 40 + 0j, 40j])
    far = Path.polygon([0j, 1e30 + 0j], closed=False)
    made = Drawing("x.svg", (), "mm", strays=(loop, far))
    text = preview_svg(made, [fault("R102", "x", "crosses", spots=[20 + 20j, complex(1e30, 0)])])
    root = etree.fromstring(text.encode())
    grey = [p for p in root.iter(f"{NS}path") if p.get("stroke") == "#999999"]
    assert len(grey) == 1
    assert root.get("width") == f"{40 + 2 * 0.03 * 40:.1f}mm"
    assert list(flagged(text)) == ["1"]


def test_a_long_list_ends_with_where_to_read_on() -> None:
    found = [note("R109", "x", f"gap {k}") for k in range(300)]
    root = etree.fromstring(preview_svg(drawing(), found).encode())
    rows = [t.text for t in root.iter(f"{NS}text")]
    assert rows[-1] == "and more: see what the command tells"
    assert sum("R109" in (r or "") for r in rows) == 199
