"""Cards: what the page shows and sets of a job file.

Terms.  *Cards* are a few keys of the job: its head, pieces, seams, permits.  *Was* is the name
that a piece or seam has in the text as it stands, made distinct; a card without one is new.
`rewriting.py` writes changed cards into the text.

Lengths are text, as people write them: the job's own reader judges them, not this.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from foamwright.job import DEFAULT_UNITS
from foamwright.job_pattern_checks import SCALES

#: The longest text that a field of a card may hold, characters.
LONGEST = 200
#: Most pieces, seams, permits that a job on the desk may have.
MOST = 500


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
