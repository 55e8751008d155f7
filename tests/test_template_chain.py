"""[piece.sew_then_cut] through the whole chain: a block cut, a template drawn, both proven."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Refused
from foamwright.geometry.pathdata import parse_path_data
from foamwright.job import load_job
from foamwright.papering import draw_pieces, find_materials
from foamwright.planning import draft_patterns, load, read_drawings
from tests import jobs

#: A hand of two fingers with a hollow between them, its wrist at the bottom.
HAND = """<g id="plate"><path d="M10 70 V10 H25 V40 A4 4 0 0 0 33 40 V10 H48 V70 Z"/></g>"""
KEYS = """
[piece.edges]
wrist = ["1", "2"]
[piece.sew_then_cut]
margin = "10 mm"
open = ["wrist"]
"""


def hand(folder: Path, keys: str = KEYS, machine: str = "flatbed-knife-1200") -> jobs.Written:
    made = jobs.job(folder, "fleece-2mm", machine, more=keys, body=HAND)
    text = made.file.read_text("utf-8").replace('drawn = "cut-line"\n', "", 1)
    made.file.write_text(text, "utf-8")
    return made


def test_the_block_is_cut_and_the_template_drawn(tmp_path: Path) -> None:
    pipeline.cut(hand(tmp_path / "job").request, tmp_path / "cut")
    record = json.loads((tmp_path / "cut" / "record.json").read_text("utf-8"))
    assert record["verification"]["passed"]
    (piece,) = record["pieces"]
    (outline,) = parse_path_data(piece["target"])
    assert outline.area == pytest.approx((38 + 20) * (60 + 20))
    for entry in record["files"]:
        drawn = {c["contour"]: c["operation"] for c in entry["contours"]}
        assert drawn["outline"] == "CUT_OUTER"
        assert (
            drawn["mark:stitch-line"] == drawn["mark:open-wrist"] == drawn["mark:clip-1"] == "PEN"
        )


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('margin = "10 mm"', 'margin = "2 mm"', "J505"),
        ('open = ["wrist"]', 'open = ["wirst"]', "J508"),
        ('open = ["wrist"]', 'opne = ["wrist"]', "J503"),
        ("[piece.edges]", '[piece.allowance]\ndefault = "6 mm"\n[piece.edges]', "J509"),
        ("[piece.edges]", "mark_stitch_line = true\n[piece.edges]", "J509"),
        ("[piece.edges]", 'drawn = "cut-line"\n[piece.edges]', "J509"),
    ],
)
def test_what_is_wrong_with_its_keys_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, code: str
) -> None:
    assert old in KEYS
    with pytest.raises(Refused) as stop:
        load_job(hand(tmp_path, KEYS.replace(old, new)).file)
    assert {f.code for f in stop.value.findings} == {code}
    assert all(" line " in f.where for f in stop.value.findings)


def test_an_open_edge_that_is_not_there_is_told_at_its_line(tmp_path: Path) -> None:
    with pytest.raises(Refused) as stop:
        pipeline.plan(hand(tmp_path, KEYS.replace('"2"]', '"9"]')).request)
    told = {f.code: f.where for f in stop.value.findings if f.is_fault}
    assert told["A348"].endswith("plate sew_then_cut")
    assert " line " in told["A348"]


def test_on_paper_the_block_and_the_template_are_drawn_too(tmp_path: Path) -> None:
    asked = load(hand(tmp_path).request)
    drawn, _ = read_drawings(asked)
    materials, _ = find_materials(asked)
    drafts, _ = draft_patterns(asked, drawn, {"plate": materials["fleece-2mm"].thickness})
    ((piece,), found) = draw_pieces(asked, drafts, (), materials)
    assert not found
    assert piece.piece.outline.area == pytest.approx((38 + 20) * (60 + 20))
    assert not piece.stitches  # drawn as a mark, without the open edge
    assert {m.name for m in piece.piece.marks} == {"stitch-line", "open-wrist", "clip-1"}
