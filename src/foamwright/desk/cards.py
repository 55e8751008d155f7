"""Cards: what the page shows and sets of a job file, and the job file's text with that changed.

Terms.  *Cards* are a few keys of the job: its head, pieces, seams, permits.  *Was* is the name
that a piece or seam has in the text as it stands, made distinct; a card without one is new.
Whatever the cards don't speak of (notches, marks, sizes by table, comments) stays in the text as it
is.

Lengths are text, as people write them: the job's own reader judges them, not this.
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal, TypeAlias

import tomlkit
from pydantic import BaseModel, ConfigDict, Field
from tomlkit.items import AoT, Table

from foamwright.job import DEFAULT_UNITS
from foamwright.job_pattern_checks import SCALES

#: The longest text that a field of a card may hold, characters.
LONGEST = 200
#: Most pieces, seams, permits that a job on the desk may have.
MOST = 500

Doc: TypeAlias = Any


class Card(BaseModel):
    """Nothing unknown, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_max_length=LONGEST)


class SizeCard(Card):
    """drawn: as drawn; factor: so many times; fit: a piece gets so long or so wide; kept: what the
    job file says otherwise, told in `told`.
    """

    kind: Literal["drawn", "factor", "fit", "kept"] = "drawn"
    factor: float = Field(default=1.0, allow_inf_nan=False)
    piece: str = ""
    way: Literal["length", "width"] = "length"
    to: str = ""
    told: str = ""


class HeadCard(Card):
    name: str
    units: str = DEFAULT_UNITS
    machine: str = ""
    drawing_units: str = ""
    size: SizeCard = SizeCard()


class PieceCard(Card):
    """machine empty: the job's.  allowance: by edge, `default` for all others; also: what else the
    job file asks of the piece, in words.
    """

    was: str = ""
    name: str
    outline: str
    drawn: Literal["stitch-line", "cut-line"] = "stitch-line"
    material: str = ""
    machine: str = ""
    count: int = Field(default=1, ge=0, le=100_000)
    mirrored: int = Field(default=0, ge=0, le=100_000)
    allowance: dict[str, str] = Field(default_factory=dict, max_length=MOST)
    edges: dict[str, tuple[str, str]] = Field(default_factory=dict, max_length=MOST)
    also: tuple[str, ...] = ()


class SeamCard(Card):
    """joins: `piece.edge` twice, by the names that the pieces have in the text as it stands."""

    was: str = ""
    name: str
    joins: tuple[str, str]
    ease: str = ""
    flat: bool = False


class PermitCard(Card):
    """Dates as 2026-11-02; what is no date stays text, and the job's reader tells."""

    material: str = ""
    machine: str = ""
    issued_by: str = ""
    reference: str = ""
    date: str = ""
    expires: str = ""
    data_sheet: str = ""


class StockCard(Card):
    """Stock on hand, in place of what the material's profile has. count 0: as many as needed."""

    material: str = ""
    width: str = ""
    length: str = ""
    count: int = Field(default=0, ge=0, le=100_000)
    kind: Literal["", "roll", "sheet"] = ""


class Cards(Card):
    head: HeadCard
    pieces: tuple[PieceCard, ...] = Field(default=(), max_length=MOST)
    seams: tuple[SeamCard, ...] = Field(default=(), max_length=MOST)
    permits: tuple[PermitCard, ...] = Field(default=(), max_length=MOST)
    stock: tuple[StockCard, ...] = Field(default=(), max_length=MOST)


# ---------------------------------------------------------------------------- text to cards


def cards_of(text: str) -> Cards:
    """The cards of a job's text. The text must have passed the job's reader, or come from here."""
    data = tomllib.loads(text)
    head = data.get("job", {})
    units = str(head.get("units", DEFAULT_UNITS))
    return Cards(
        head=HeadCard(
            name=head.get("name", ""),
            units=units,
            machine=head.get("machine", ""),
            drawing_units=head.get("drawing_units", ""),
            size=_size_of(data, units),
        ),
        pieces=tuple(_piece_of(p, was, units) for p, was in _with_was(data.get("piece", ()))),
        seams=tuple(_seam_of(s, was, units) for s, was in _with_was(data.get("seam", ()))),
        permits=tuple(
            PermitCard(**{k: str(v) for k, v in p.items()}) for p in data.get("permit", ())
        ),
        stock=tuple(_stock_of(x, units) for x in data.get("stock", ())),
    )


def _with_was(tables: Sequence[Mapping[str, Any]]) -> Iterator[tuple[Mapping[str, Any], str]]:
    """Each table with what tells it from the others: its name, or where that is taken or empty,
    the name and its number.
    """
    taken: set[str] = set()
    for number, table in enumerate(tables):
        name = str(table.get("name", ""))
        was = f"{name}\n{number}" if name in taken or not name else name
        taken.add(was)
        yield table, was


def _length(value: Any, units: str) -> str:
    """A length as text; a bare number with the unit that it is in."""
    return value if isinstance(value, str) else f"{value:g} {units}"


def _size_of(data: Mapping[str, Any], units: str) -> SizeCard:
    head = data.get("job", {})
    if data.get("size"):
        names = ", ".join(str(s.get("name")) for s in data["size"])
        return SizeCard(kind="kept", told=f"sizes by the job file: {names}"[:LONGEST])
    fit = head.get("fit")
    if fit is not None:
        way = [k for k in ("length", "width") if k in fit]
        if "piece" in fit and len(way) == 1:
            to = _length(fit[way[0]], units)
            return SizeCard.model_validate(
                {"kind": "fit", "piece": fit["piece"], "way": way[0], "to": to}
            )
        of = fit.get("edge") or fit.get("piece")
        return SizeCard(kind="kept", told=f"fitted to {of} by the job file"[:LONGEST])
    if any(head.get(k, 1) != 1 for k in SCALES[1:]):
        return SizeCard(kind="kept", told="scaled apart across and along by the job file")
    factor = float(head.get("scale", 1.0))
    return SizeCard() if factor == 1 else SizeCard(kind="factor", factor=factor)


#: Keys of a piece that a card can only tell of: one of them, several of them.
_ALSO = (
    ("notch", "notch", "notches"),
    ("relief", "bend relief", "bend reliefs"),
    ("bevel", "bevelled edge", "bevelled edges"),
    ("mark", "mark", "marks"),
    ("carry", "carried length", "carried lengths"),
)


def _piece_of(piece: Mapping[str, Any], was: str, units: str) -> PieceCard:
    return PieceCard(
        was=was,
        name=piece.get("name", ""),
        outline=piece.get("outline", ""),
        drawn=piece.get("drawn", "stitch-line"),
        material=piece.get("material", ""),
        machine=piece.get("machine", ""),
        count=piece.get("count", 1),
        mirrored=piece.get("mirrored", 0),
        allowance={k: _length(v, units) for k, v in piece.get("allowance", {}).items()},
        edges=piece.get("edges", {}),
        also=tuple(_also(piece)),
    )


def _also(piece: Mapping[str, Any]) -> Iterable[str]:
    for key, one, several in _ALSO:
        number = len(piece.get(key, ()))
        if number:
            yield f"{number} {one if number == 1 else several}"
    if piece.get("core"):
        yield f"the core of {piece['core'].get('of')}"[:LONGEST]
    if piece.get("mirror_of"):
        yield f"the other hand of {piece['mirror_of']}"[:LONGEST]
    if piece.get("half"):
        yield "opened from a half"
    if piece.get("even"):
        yield "evened out"
    if piece.get("fixed"):
        yield f"keeps {', '.join(piece['fixed'])} as drawn"[:LONGEST]
    if piece.get("bridges"):
        yield "held by bridges"
    if piece.get("mark_stitch_line"):
        yield "stitch line marked"
    if any(piece.get(k, 1) != 1 for k in SCALES):
        yield "a scale of its own"


def _seam_of(seam: Mapping[str, Any], was: str, units: str) -> SeamCard:
    ease = _length(seam["ease"], units) if "ease" in seam else ""
    return SeamCard(
        was=was,
        name=seam.get("name", ""),
        joins=tuple(seam["joins"]),
        ease=ease,
        flat=seam.get("flat", False),
    )


def _stock_of(stock: Mapping[str, Any], units: str) -> StockCard:
    sizes = {k: _length(stock[k], units) for k in ("width", "length") if k in stock}
    plain = {k: stock[k] for k in ("material", "count", "kind") if k in stock}
    return StockCard.model_validate({**sizes, **plain})


# ---------------------------------------------------------------------------- cards to text


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


__all__ = ["Cards", "cards_of", "new_text", "with_cards"]
