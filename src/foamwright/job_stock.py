"""The keys for stock and for how pieces are laid on it, of jobs and profiles.

What a job's keys must agree on between each other is in `job_stock_checks.py`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field, PlainValidator

from foamwright.fields import Length, Name, Size, Table, Width

Degrees = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-360, le=360)]
Money = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=1e9)]
StockCount = Annotated[int, Field(strict=True, ge=1, le=100_000)]
Spot: TypeAlias = tuple[Length, Length]


def _turns(value: Any) -> tuple[float, ...] | str:
    """Raises ValueError with the reason."""
    if value == "free":
        return "free"
    angles = value if isinstance(value, list | tuple) else ()
    if angles and all(_is_angle(v) for v in angles):
        return tuple(float(v) for v in angles)
    raise ValueError('is "free", or angles in degrees in brackets, such as [0, 90]')


def _is_angle(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= 360


#: Turns from the upright (grain up the sheet), degrees, or any turn.
Turns = Annotated[tuple[float, ...] | str, PlainValidator(_turns)]


class LayKeys(Table):
    """`[piece.lay]`: how the copies of a piece are laid, within what their material allows.

    angle: the one turn from the upright that they must have; turns: those they may have.  at: where
    the near left corner of the only copy's box lies, from that of the stock.  together: "pair" for
    each copy and its mirror image on one sheet, another word for all copies that bear it.
    """

    turns: Turns | None = None
    angle: Degrees | None = None
    at: Spot | None = None
    together: Name | None = None


class SplitKeys(Table):
    """`[[piece.split]]`: where a copy that no stock bears is cut in two, along the straight line
    through two named points of it; allowance: beyond the line on both parts.
    """

    between: tuple[Name, Name]
    allowance: Width = 0.0


class ZoneKeys(Table):
    """A part of the stock that pieces are kept off: two corners of a box from the stock's near left
    corner, or a drawn outline, `flaws.svg#knot`.
    """

    from_: Spot | None = Field(default=None, alias="from")
    to: Spot | None = None
    outline: Name | None = None


class ZoneSpec(ZoneKeys):
    """pieces: the only ones that are kept off; none: all are."""

    pieces: tuple[Name, ...] = ()


class ClampKeys(Table):
    """A box of the bed, from the stock's near left corner, where something holds the stock."""

    from_: Spot = Field(alias="from")
    to: Spot


class StockKeys(Table):
    """count: on hand, None: as many as needed.  price: of one sheet or of a roll's whole length.
    trim: may be cut down to what the machine reaches.
    """

    count: StockCount | None = None
    price: Money | None = None
    trim: bool = True


class StockSpec(StockKeys):
    """Stock on hand; overrides the material's. outline: a drawn one, whose openings are flaws."""

    material: Name
    kind: Literal["roll", "sheet", "offcut"] | None = None
    name: Name | None = None
    width: Size | None = None
    length: Size | None = None
    outline: Name | None = None
    zone: tuple[ZoneSpec, ...] = ()
