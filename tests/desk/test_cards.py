"""Cards are the job file in other clothes: reading them and writing them back loses nothing."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.desk.cards import (
    Card,
    Cards,
    PermitCard,
    PieceCard,
    SeamCard,
    SizeCard,
    StockCard,
    cards_of,
)
from foamwright.desk.rewriting import new_text, with_cards
from foamwright.job import load_job

from ..conftest import EXAMPLES
from .heron import JOB

HERON = JOB.decode()


def changed(card: Any, **values: Any) -> Any:
    return card.model_copy(update=values)


def with_piece(cards: Cards, number: int, **values: Any) -> Cards:
    pieces = list(cards.pieces)
    pieces[number] = changed(pieces[number], **values)
    return changed(cards, pieces=tuple(pieces))


def bare(cards: Cards) -> Cards:
    """Without the names that the text has: what a card asks for."""
    return changed(
        cards,
        pieces=tuple(changed(p, was="") for p in cards.pieces),
        seams=tuple(changed(s, was="") for s in cards.seams),
    )


@pytest.mark.parametrize("name", sorted(p.name for p in EXAMPLES.iterdir() if p.is_dir()))
def test_unchanged_cards_leave_every_example_as_it_is(name: str) -> None:
    text = (EXAMPLES / name / "job.toml").read_text("utf-8")
    assert with_cards(text, cards_of(text)) == text


def test_the_heron_is_told_as_cards() -> None:
    cards = cards_of(HERON)
    assert cards.head.name == "Heron legs"
    assert [p.name for p in cards.pieces][:3] == ["sole", "upper", "leg"]
    sole, upper = cards.pieces[0], cards.pieces[1]
    assert (sole.count, sole.mirrored, sole.material) == (1, 1, "pu-foam-25mm")
    assert upper.allowance == {"default": "6 mm"}
    assert sole.also == ("1 notch", "1 mark", "keeps rod-hole as drawn")
    assert cards.seams[0].joins == ("leg.bottom", "upper.ankle")


def test_a_changed_key_leaves_all_other_data_and_comments() -> None:
    text = with_cards(HERON, with_piece(cards_of(HERON), 0, count=3, material="pu-foam-12mm"))
    before, after = tomllib.loads(HERON), tomllib.loads(text)
    before["piece"][0] |= {"count": 3, "material": "pu-foam-12mm"}
    assert after == before
    assert "# a left and a right" in text
    assert "foam is glued edge to edge" in text


def test_a_piece_that_is_renamed_keeps_its_seams_carried_lengths_and_fit(tmp_path: Path) -> None:
    cards = cards_of(HERON)
    leg = next(n for n, p in enumerate(cards.pieces) if p.name == "leg")
    size = SizeCard(kind="fit", piece="leg", way="length", to="12 in")
    cards = changed(with_piece(cards, leg, name="shank"), head=changed(cards.head, size=size))
    carry = '\n[[piece.carry]]\nedge = "ankle"\nfrom = "leg.bottom"\n\n[piece.allowance]'
    text = with_cards(HERON.replace("\n[piece.allowance]", carry, 1), cards)
    data = tomllib.loads(text)
    assert [s["joins"] for s in data["seam"]] == [
        ["shank.bottom", "upper.ankle"],
        ["shank.front", "shank.back"],
    ]
    assert data["piece"][1]["carry"] == [{"edge": "ankle", "from": "shank.bottom"}]
    assert data["job"]["fit"] == {"piece": "shank", "length": "12 in"}
    (tmp_path / "job.toml").write_text(text, "utf-8")
    load_job(tmp_path / "job.toml")


def test_pieces_and_seams_come_and_go(tmp_path: Path) -> None:
    cards = cards_of(HERON)
    gauge = PieceCard(name="gauge-2", outline="heron.svg#gauge", material="card-1mm", count=2)
    kept = tuple(p for p in cards.pieces if p.name != "upper")
    seam = SeamCard(name="shin", joins=("core.shin-front", "core.shin-back"), flat=True)
    text = with_cards(HERON, changed(cards, pieces=(*kept, gauge), seams=(cards.seams[1], seam)))
    again = cards_of(text)
    assert [p.name for p in again.pieces] == [*(p.name for p in kept), "gauge-2"]
    assert [(s.name, s.flat) for s in again.seams] == [("leg-back", True), ("shin", True)]
    (tmp_path / "job.toml").write_text(text, "utf-8")
    assert load_job(tmp_path / "job.toml").piece[-1].count == 2


def test_two_pieces_of_one_name_stay_two() -> None:
    """A fault that the job's reader tells, and that a maker mends by giving the name back."""
    cards = cards_of(HERON)
    text = with_cards(HERON, with_piece(cards, 0, name="upper"))
    again = cards_of(text)
    assert [p.name for p in again.pieces][:2] == ["upper", "upper"]
    assert len({p.was for p in again.pieces}) == len(again.pieces)
    back = tomllib.loads(with_cards(text, with_piece(again, 0, name="sole")))
    before = tomllib.loads(HERON)
    assert back["piece"] == before["piece"]


def test_an_edge_and_an_allowance_of_its_own() -> None:
    cards = with_piece(
        cards_of(HERON),
        0,
        edges={"1-to-2": ("1", "2")},
        allowance={"default": "5 mm", "1-to-2": ""},
    )
    sole = tomllib.loads(with_cards(HERON, cards))["piece"][0]
    assert sole["edges"] == {"1-to-2": ["1", "2"]}
    assert sole["allowance"] == {"default": "5 mm"}
    gone = with_piece(cards_of(HERON), 1, allowance={})
    assert "allowance" not in tomllib.loads(with_cards(HERON, gone))["piece"][1]


def test_permits_are_written_with_dates_and_what_is_no_date_stays_text() -> None:
    permit = PermitCard(
        material="pu-foam-12mm",
        machine="desk-laser-600",
        issued_by="Site officer",
        reference="RA-17",
        date="2026-11-02",
        expires="soon",
    )
    cards = changed(cards_of(HERON), permits=(permit,))
    text = with_cards(HERON, cards)
    written = tomllib.loads(text)["permit"][0]
    assert written["date"].isoformat() == "2026-11-02"
    assert written["expires"] == "soon"
    assert "data_sheet" not in written
    assert cards_of(text).permits == (permit,)
    assert "permit" not in tomllib.loads(with_cards(text, cards_of(HERON)))


def test_stock_on_hand() -> None:
    stock = StockCard(material="card-1mm", width="300 mm", length="200 mm", count=2)
    text = with_cards(HERON, changed(cards_of(HERON), stock=(stock,)))
    assert tomllib.loads(text)["stock"] == [
        {"material": "card-1mm", "width": "300 mm", "length": "200 mm", "count": 2}
    ]


@pytest.mark.parametrize(
    ("keys", "kind", "told"),
    [
        ("", "drawn", ""),
        ("scale = 2", "factor", ""),
        ('fit = { piece = "sole", length = 9.5 }', "fit", ""),
        ('fit = { edge = "leg.bottom", length = "5 in" }', "kept", "fitted to leg.bottom"),
        ("scale_across = 1.1", "kept", "apart across and along"),
    ],
)
def test_sizes(keys: str, kind: str, told: str) -> None:
    text = HERON.replace('units   = "in" ', f'{keys}\nunits   = "in" ')
    size = cards_of(text).head.size
    assert size.kind == kind
    assert told in size.told
    if kind == "fit":
        assert (size.piece, size.way, size.to) == ("sole", "length", "9.5 in")
    drawn = changed(cards_of(text), head=changed(cards_of(text).head, size=SizeCard()))
    head = tomllib.loads(with_cards(text, drawn))["job"]
    assert not {"scale", "scale_across", "fit"} & head.keys()


def test_sizes_by_table_are_kept() -> None:
    text = (EXAMPLES / "owls" / "job.toml").read_text("utf-8")
    size = cards_of(text).head.size
    assert size.kind == "kept"
    assert size.told.startswith("sizes by the job file: ")
    renamed = changed(cards_of(text), head=changed(cards_of(text).head, name="Other owls"))
    assert tomllib.loads(with_cards(text, renamed))["size"] == tomllib.loads(text)["size"]


def test_unknown_keys_and_endless_text_are_turned_away() -> None:
    with pytest.raises(ValueError, match="extra"):
        Cards.model_validate({"head": {"name": "x", "shell": "rm"}})
    with pytest.raises(ValueError, match="200"):
        Cards.model_validate({"head": {"name": "x" * 1000}})
    assert issubclass(Cards, Card)


WORDS = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=20)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(WORDS, WORDS, st.integers(0, 9), st.sampled_from(["6 mm", '1/4 in"', "a\\b", "'''", "é½"]))
def test_whatever_a_maker_types_comes_back(job: str, name: str, count: int, width: str) -> None:
    """Quotes, backslashes and letters of any script are data, never TOML."""
    piece = PieceCard(
        name=name, outline=f"{name}.svg#{name}", count=count, allowance={"default": width}
    )
    start = cards_of(new_text(job))
    cards = changed(
        start, pieces=(piece, changed(piece, name=f"{name}2", edges={"a": ("1", name)}))
    )
    text = with_cards(new_text(job), cards)
    assert bare(cards_of(text)) == bare(cards)
    assert cards_of(text).head.name == job
