"""A job's text with changed cards in it; all else stays as it is written.

Whatever the cards don't speak of (notches, marks, sizes by table, comments) is kept by tomlkit.
Does not judge what the cards say: the job's own reader does.
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeAlias

import tomlkit
from tomlkit.items import AoT, Table

from foamwright.desk import brought
from foamwright.desk.cards import Card, Cards, HeadCard, PieceCard, SeamCard, cards_of
from foamwright.job import DEFAULT_UNITS
from foamwright.job_checks import drawing_and_piece
from foamwright.job_drafts import DRAFT
from foamwright.job_pattern_checks import SCALES

#: A TOML document: tomlkit's own types are too loose to help.
Doc: TypeAlias = Any


def new_text(name: str) -> str:
    """A job without a piece."""
    return (
        "# A Foamwright job, begun on the desk.\n"
        "schema = 1\n\n[job]\n"
        f"name  = {tomlkit.string(name).as_string()}\n"
        f'units = "{DEFAULT_UNITS}"                    # for bare numbers\n'
    )


def with_cards(text: str, cards: Cards) -> str:
    """The job's text as the cards have it; what they don't change stays as it is written."""
    before = cards_of(text)
    if _wanted(cards) == _wanted(before):
        return text
    doc = tomlkit.parse(text)
    renamed = {p.was: p.name for p in cards.pieces if p.was}
    _put_pieces(doc, before, cards.pieces)
    _put_head(doc, before.head, cards.head)
    _rename(doc, renamed)
    _put_seams(doc, before, cards.seams, renamed)
    _put_nameless(doc, "permit", before.permits, cards.permits)
    _put_nameless(doc, "stock", before.stock, cards.stock)
    made = tomlkit.dumps(doc)
    tomllib.loads(made)  # what the job's reader will be given
    return made


def _wanted(cards: Cards) -> Cards:
    """The cards without what they only tell."""
    pieces = tuple(p.model_copy(update={"also": ()}) for p in cards.pieces)
    size = cards.head.size.model_copy(update={"told": ""})
    head = cards.head.model_copy(update={"size": size})
    return cards.model_copy(update={"pieces": pieces, "head": head})


def _put(table: Any, key: str, value: Any) -> None:
    """Sets a key, or takes it out where the value is empty."""
    if value in ("", None):
        if key in table:
            table.remove(key)
    else:
        table[key] = value


def _changes(old: Card, new: Card, keys: Iterable[str]) -> Iterable[tuple[str, Any]]:
    for key in keys:
        if getattr(old, key) != getattr(new, key):
            yield key, getattr(new, key)


def _tables(doc: Doc, key: str) -> AoT:
    """The document's `[[key]]` tables, made where there are none."""
    if key not in doc:
        doc[key] = tomlkit.aot()
    found: AoT = doc[key]
    return found


def _put_head(doc: Doc, old: HeadCard, new: HeadCard) -> None:
    head = doc["job"]
    for key, value in _changes(old, new, ("name", "units", "machine", "drawing_units")):
        _put(head, key, value)
    size = new.size
    if size.kind == "kept" or size == old.size:
        return
    for key in (*SCALES, "fit"):
        _put(head, key, "")
    if size.kind == "factor":
        head["scale"] = size.factor
    if size.kind == "fit":
        fit = tomlkit.inline_table()
        fit.update({"piece": size.piece, size.way: size.to})
        head["fit"] = fit


def _rename(doc: Doc, renamed: Mapping[str, str]) -> None:
    """Other tables' words for pieces that got another name."""
    pieces = list(doc.get("piece", ()))
    fits = [t["fit"] for t in (doc["job"], *doc.get("size", ())) if "fit" in t]
    registers = doc.get("register", ())
    cores = [p["core"] for p in pieces if "core" in p]
    carries = [c for p in pieces for c in p.get("carry", ())]
    for key, tables in (
        ("mirror_of", pieces),
        ("of", cores),
        ("from", carries),
        ("piece", fits),
        ("edge", fits),
        ("from", registers),
        ("to", registers),
    ):
        for table in tables:
            if key in table and (now := _edge(str(table[key]), renamed)) != table[key]:
                table[key] = now


def _edge(edge: str, renamed: Mapping[str, str]) -> str:
    piece, dot, rest = edge.partition(".")
    return f"{renamed.get(piece, piece)}{dot}{rest}"


def _put_pieces(doc: Doc, before: Cards, pieces: Iterable[PieceCard]) -> None:
    old = {p.was: p for p in before.pieces}
    new = {p.was: p for p in pieces if p.was}
    tables = _tables(doc, "piece")
    for number in reversed(range(len(before.pieces))):
        name = before.pieces[number].was
        if name not in new:
            del tables[number]
        else:
            _put_piece(tables[number], old[name], new[name])
    for piece in pieces:
        if not piece.was:
            tables.append(_new_piece(piece))
    if not len(tables):
        doc.remove("piece")


def _put_piece(table: Table, old: PieceCard, new: PieceCard) -> None:
    plain = ("name", "outline", "drawn", "material", "machine", "count", "mirrored")
    for key, value in _changes(old, new, plain):
        _put(table, key, value)
    _put_map(table, "allowance", old.allowance, {k: v for k, v in new.allowance.items() if v})
    edges = {k: list(v) for k, v in new.edges.items()}
    _put_map(table, "edges", {k: list(v) for k, v in old.edges.items()}, edges)


def _put_map(table: Table, key: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
    """The entries of a table in the piece: `[piece.allowance]`."""
    if new == old:
        return
    if not new:
        table.remove(key)
        return
    if key not in table:
        table[key] = tomlkit.table()
    inner: Any = table[key]
    for name in old.keys() - new.keys():
        inner.remove(name)
    for name, value in new.items():
        if old.get(name) != value:
            inner[name] = value


def _new_piece(piece: PieceCard) -> Table:
    table = tomlkit.table()
    table.add(tomlkit.nl())
    blank = PieceCard(name="", outline="", drawn="stitch-line")
    table["name"] = piece.name
    table["outline"] = piece.outline
    table["drawn"] = piece.drawn
    table["count"] = piece.count
    table["mirrored"] = piece.mirrored
    _put_piece(table, blank.model_copy(update={"name": piece.name}), piece)
    return table


def _put_seams(
    doc: Doc, before: Cards, seams: Iterable[SeamCard], renamed: Mapping[str, str]
) -> None:
    old = {s.was: s for s in before.seams}
    wanted = [
        s.model_copy(update={"joins": tuple(_edge(j, renamed) for j in s.joins)}) for s in seams
    ]
    new = {s.was: s for s in wanted if s.was}
    if not before.seams and not wanted:
        return
    tables = _tables(doc, "seam")
    for number in reversed(range(len(before.seams))):
        name = before.seams[number].was
        if name not in new:
            del tables[number]
        else:
            _put_seam(tables[number], old[name], new[name])
    for seam in wanted:
        if not seam.was:
            table = tomlkit.table()
            table.add(tomlkit.nl())
            _put_seam(table, SeamCard(name="", joins=("", "")), seam)
            tables.append(table)
    if not len(tables):
        doc.remove("seam")


def _put_seam(table: Table, old: SeamCard, new: SeamCard) -> None:
    for key, value in _changes(old, new, ("name", "joins", "ease", "flat")):
        _put(table, key, list(value) if key == "joins" else value)


def _put_nameless(doc: Doc, key: str, old: Sequence[Card], new: Sequence[Card]) -> None:
    """Permits and stock have no names: all of a kind are written anew where one differs."""
    if new == old:
        return
    if key in doc:
        doc.remove(key)
    for card in new:
        table = tomlkit.table()
        table.add(tomlkit.nl())
        for name, value in card.model_dump().items():
            _put(table, name, _day(value) if name in ("date", "expires") else value or "")
        _tables(doc, key).append(table)


def _day(text: str) -> datetime.date | str:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        return text


def with_harmless_outlines(text: str) -> str:
    """The job with its drawings called as they are called here; unchanged where they are already.

    Raises Unwelcome for a drawing of a kind that the desk doesn't know.
    """
    doc: Any = tomlkit.parse(text)
    changed = False
    for piece in doc["piece"]:
        file, name = drawing_and_piece(str(piece.get("outline", "")))
        if file not in ("", DRAFT) and (plain := brought.harmless(file)) != file:
            piece["outline"], changed = f"{plain}#{name}", True
    return tomlkit.dumps(doc) if changed else text
