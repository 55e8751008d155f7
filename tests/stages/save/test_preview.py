"""The preview of a drawing: a picture of what was read, and plainly no cut file."""

from __future__ import annotations

import dataclasses

import pytest
from lxml import etree

from foamwright.findings import fault, note
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
