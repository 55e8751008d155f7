"""What a bench has written into a profile: measurements, what became of cuts, and a blade's way.

Terms.  *Measured*: one value with how it was found; entries are a log, newest last, and the newest
that fits is in force, so that no earlier value is lost.  *Result*: what became of a cut folder's
pieces.  *Blade*: metres that a blade has gone, or that it was changed.
Values stand as they are written, `0.182 mm`; `measured.py` puts them in the place of a cut's own.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, Field, TypeAdapter, ValidationError

from foamwright.fields import LONGEST, Name, Size, Table
from foamwright.findings import Finding
from foamwright.model import Method
from foamwright.strict_toml import Source
from foamwright.toml_lines import nearest

Operation: TypeAlias = Literal["cut", "score"]
#: What is measured of a material itself, whatever cuts it.
OF_STOCK = ("thickness", "backing")
#: What is measured of a material under a machine: keys of its `[[cut]]`.
OF_CUT = (
    "kerf", "kerf_x", "kerf_y", "kerf_exit", "speed", "depth", "pass_depth", "edge_angle",
    "blade_width", "clearance", "force", "power", "focus", "air", "blade",
)  # fmt: skip
#: What is told and serves no cut: how far a knife's cut leans over the stock's thickness.
TOLD = ("lean",)
#: What is measured of a machine.
OF_MACHINE = (
    "blade_offset", "edge_angle", "blade_width", "blade_height", "waist", "cut_speed_max",
    "travel_speed", "acceleration",
)  # fmt: skip
Count = Annotated[int, Field(strict=True, ge=0, le=1_000_000)]
#: An amount as it is written: a number with its unit, a bare number, or words.
Written = Annotated[str | float, Field(union_mode="left_to_right")]


class Said(Table):
    """Who said it and when, in the operator's words."""

    date: datetime.date
    by: Name | None = None
    note: Annotated[str, Field(max_length=2000)] | None = None


class MeasuredEntry(Said):
    """One `[[measured]]`. what: the key that it gives; thickness: of the stock it was found in.

    spread: standard deviation of single readings.  left_out: readings that were judged outliers.
    before: the value in force until then, and its basis.
    """

    what: Name
    value: Written
    basis: Literal["measured"] = "measured"
    method: Method | None = None
    machine: Name | None = None
    tool: Name | None = None
    operation: Operation = "cut"
    thickness: Size | None = None
    n: Count | None = None
    spread: Written | None = None
    standard_uncertainty: Written | None = None
    expanded_uncertainty: Written | None = None
    coverage_factor: float | None = None
    resolution: Written | None = None
    readings: tuple[Written, ...] = ()
    left_out: tuple[Written, ...] = ()
    before: Written | None = None
    before_basis: Name | None = None

    @property
    def source(self) -> str:
        """One line: when, on what, how many readings."""
        parts = [f"measured {self.date}"]
        parts += [f"on {self.machine}"] if self.machine else []
        parts += [f"with {self.tool}"] if self.tool else []
        parts += [f"{self.n} readings"] if self.n else []
        if self.expanded_uncertainty is not None:
            parts.append(f"± {self.expanded_uncertainty} (95 %)")
        return ", ".join(parts)


class ResultEntry(Said):
    """One `[[result]]`: what became of a cut folder's pieces. record: its checksum's start."""

    job: Name
    record: Name
    machine: Name
    clean: Count = 0
    not_through: tuple[Name, ...] = ()
    singed: tuple[Name, ...] = ()
    dragged: tuple[Name, ...] = ()


class BladeEntry(Said):
    """One `[[blade_log]]` of a machine: metres gone, or a blade that was put in (changed)."""

    metres: Annotated[float, Field(ge=0, le=LONGEST)] = 0.0
    job: Name | None = None
    record: Name | None = None
    changed: bool = False
    blade: Name | None = None


def metres_gone(log: tuple[BladeEntry, ...]) -> float:
    """Metres since the blade was last changed."""
    last = max((i for i, e in enumerate(log) if e.changed), default=-1)
    return sum(e.metres for e in log[last:] if not e.changed) if last >= 0 else _all(log)


def _all(log: tuple[BladeEntry, ...]) -> float:
    return sum(e.metres for e in log)


def measured_faults(
    kind: Literal["material", "machine"], source: Source, cut: type[BaseModel], own: type[BaseModel]
) -> Iterator[Finding]:
    """J513 for entries that can't be meant, each with its line. cut, own: models of the values."""
    listed = source.data.get("measured")
    for number, entry in enumerate(listed if isinstance(listed, list) else ()):
        if isinstance(entry, Mapping):
            yield from _entry_faults(kind, source, number, entry, cut, own)
    cuts = source.data.get("cut")
    for number, table in enumerate(cuts if isinstance(cuts, list) else ()):
        if isinstance(table, Mapping) and _is_measured(table) and "machine" not in table:
            what = "measured values are one machine's, and its machine is missing"
            yield source.fault("J513", ("cut", number), what, "name the machine")


def _is_measured(cut: Mapping[str, Any]) -> bool:
    bases = cut.get("bases")
    each = bases.values() if isinstance(bases, Mapping) else ()
    return "measured" in (cut.get("basis"), *each)


def _entry_faults(
    kind: str, source: Source, number: int, entry: Mapping[str, Any],
    cut: type[BaseModel], own: type[BaseModel],
) -> Iterator[Finding]:  # fmt: skip
    what, path = str(entry.get("what")), ("measured", number)
    known = OF_MACHINE if kind == "machine" else (*OF_STOCK, *OF_CUT, *TOLD)
    if what not in known:
        near = nearest(what, known)
        mend = f"did you mean {near}" if near else f"known are {', '.join(known)}"
        yield source.fault("J513", (*path, "what"), f"{what} is nothing measured here", mend)
        return
    if kind == "material" and what not in OF_STOCK:
        for key in ("machine", "method"):
            if key not in entry:
                said = f"{what} is measured on a machine, and its {key} is missing"
                yield source.fault("J513", (*path, key), said, "add it")
    if what not in TOLD:
        model = own if kind == "machine" or what in OF_STOCK else cut
        for why in value_faults(model, what, entry.get("value")):
            yield source.fault("J513", (*path, "value"), why, "write it with its unit")


def value_faults(model: type[BaseModel], key: str, value: Any) -> Iterator[str]:
    """Why a value can't be this key's; nothing where it can."""
    try:
        parsed(model, key, value)
    except ValidationError as e:
        for error in e.errors(include_url=False):
            yield str(error.get("ctx", {}).get("error", error["msg"]))


def parsed(model: type[BaseModel], key: str, value: Any) -> Any:
    """The value as the key's own field takes it: mm, mm/s, degrees, words.

    Raises pydantic's ValidationError.
    """
    return _adapter(model, key).validate_python(value, context={"units": ""})


@cache
def _adapter(model: type[BaseModel], key: str) -> TypeAdapter[Any]:
    field = model.model_fields[key]
    kind: Any = field.annotation
    for part in field.metadata:
        kind = Annotated[kind, part]
    return TypeAdapter(kind)
