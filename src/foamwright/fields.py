"""Kinds of values that job files and profiles hold, for pydantic: lengths, speeds, strict tables.

After validation lengths are mm, speeds mm/s, accelerations mm/s2.  The validation context's `units`
is the unit of a bare length; an empty one means that a bare number is refused; without a context
(values made in code) a bare number is mm.
"""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    model_validator,
)

from foamwright.units import parse_length, parse_rate

#: Longest length that a job or profile can mean, mm: 1 km, far beyond any roll.
LONGEST = 1e6


class Table(BaseModel):
    """A table of a file: no unknown keys, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


def bare_unit(info: ValidationInfo) -> str:
    """The unit of a bare number under this validation; empty: there is none."""
    return str((info.context or {}).get("units", "mm"))


def _length(value: Any, info: ValidationInfo) -> float:
    _number_or_text(value)
    size = parse_length(value, bare_unit(info))
    if abs(size) > LONGEST:
        raise ValueError(f"{value} is longer than anything cut here (1 km)")
    return size


def _number_or_text(value: Any) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError("a number with a unit belongs here, such as 12.7 mm")


def _not_negative(size: float) -> float:
    if size < 0:
        raise ValueError("must not be negative")
    return size


def _positive(size: float) -> float:
    if size <= 0:
        raise ValueError("must be more than nought")
    return size


#: A length in mm, of either sign.
Length = Annotated[float, BeforeValidator(_length)]
#: A length of 0 mm or more.
Width = Annotated[Length, AfterValidator(_not_negative)]
#: A length of more than 0 mm.
Size = Annotated[Length, AfterValidator(_positive)]


def _speed(value: Any, info: ValidationInfo) -> float:
    _number_or_text(value)
    return _positive(parse_rate(value, 1, bare_unit(info)))


def _acceleration(value: Any, info: ValidationInfo) -> float:
    _number_or_text(value)
    return _positive(parse_rate(value, 2, bare_unit(info)))


#: A speed of more than 0, mm/s after validation.
Speed = Annotated[float, BeforeValidator(_speed)]
#: An acceleration of more than 0, mm/s2 after validation.
Acceleration = Annotated[float, BeforeValidator(_acceleration)]


def _as_text(value: Any) -> Any:
    plain_number = isinstance(value, int | float) and not isinstance(value, bool)
    return f"{value:g}" if plain_number else value


#: Text that may be written as a bare number (a corner's number, a machine's own setting).
Text = Annotated[str, BeforeValidator(_as_text), Field(min_length=1, max_length=200)]


def _name(text: str) -> str:
    if not text.strip():
        raise ValueError("must not be empty")
    if not text.isprintable():
        raise ValueError("must not hold line breaks or control characters")
    return text


#: A name that a person gave: one printable line.
Name = Annotated[str, Field(max_length=200), AfterValidator(_name)]


class BridgeKeys(Table):
    """Holding bridges round an outline: how many, or how far apart at most, mm (one of the two).

    width: of the stock that each leaves standing, mm.
    """

    count: Annotated[int, Field(strict=True, ge=0, le=1000)] | None = None
    spacing: Size | None = None
    width: Size | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.count is None) == (self.spacing is None):
            raise ValueError("give count, or spacing, for holding bridges")
        return self
