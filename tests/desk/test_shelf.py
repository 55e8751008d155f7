"""What may be chosen: every profile of the package, and how each pair stands."""

from __future__ import annotations

import pytest

from foamwright.desk.shelf import kind_of, shelf_data
from foamwright.hazards import load_rules
from foamwright.profiles import Shelf


def test_the_packaged_shelf() -> None:
    told = shelf_data(Shelf.of())
    kinds = {m["id"]: m["kind"] for m in told["materials"]}
    assert kinds["pu-foam-25mm"] == "foam"
    assert kinds["fleece-2mm"] == "cloth"
    assert kinds["faux-fur-long-pile"] == "fur"
    assert kinds["card-1mm"] == "board"
    assert told["pairs"]["faux-fur-long-pile"]["desk-laser-600"] == "forbidden"
    assert told["pairs"]["pu-foam-12mm"]["desk-laser-600"] == "only with a permit"
    assert told["pairs"]["card-1mm"]["desk-laser-600"] == "with caution"
    assert told["pairs"]["pu-foam-25mm"]["desk-drag-knife-mat-300"] in (
        "no settings",
        "does not fit",
    )
    assert told["pairs"]["pu-foam-25mm"]["flatbed-knife-1200"] == ""
    assert told["pairs"]["pu-foam-25mm"]["hand-cutting"] == ""


def test_nothing_is_called_safe() -> None:
    words = {w for pair in shelf_data(Shelf.of())["pairs"].values() for w in pair.values()}
    assert words <= {
        "",
        "forbidden",
        "only with a permit",
        "with caution",
        "no settings",
        "does not fit",
    }


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (["polyester", "polyethylene-foam"], "foam"),
        (["eva"], "foam"),
        (["cotton", "polyester"], "cloth"),
        (["acrylic"], "cloth"),
        (["vegetable-leather"], "leather"),
        (["unknown"], "other"),
    ],
)
def test_kinds(words: list[str], kind: str) -> None:
    assert kind_of(words) == kind


def test_every_word_of_a_kind_is_on_the_closed_list() -> None:
    from foamwright.desk import shelf

    listed = load_rules().words
    for words in (shelf._FOAM, shelf._FUR, shelf._BOARD, shelf._LEATHER, shelf._OTHER):
        assert words <= listed.keys()
