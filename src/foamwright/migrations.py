"""How a profile of an older version is read as one of the present: its data, step by step.

Each step takes plain data of one schema and gives those of the next; a file is never rewritten by
being read.  A file that states no schema is of the first.  Newer ones than this version's can't be
read: their keys may mean what nobody here knows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from foamwright.findings import Refused
from foamwright.profile_models import SCHEMA
from foamwright.strict_toml import Source, shown


def schema_of(source: Source) -> int:
    """The schema that a profile's file states. Raises Refused (J505, J547) where it has no such."""
    stated = source.data.get("schema", 1)
    if isinstance(stated, bool) or not isinstance(stated, int) or stated < 1:
        what = f"must be a whole number from 1 to {SCHEMA}, not {shown(repr(stated))}"
        raise Refused([source.fault("J505", ("schema",), what, "leave it out for the first")])
    if stated > SCHEMA:
        what = f"is of schema {stated}, and this version reads up to {SCHEMA}"
        raise Refused([source.fault("J547", ("schema",), what, "update foamwright")])
    return stated


def migrated(source: Source) -> Source:
    """The source as one of the present schema. Raises Refused as `schema_of` does."""
    data: Mapping[str, Any] = source.data
    for step in range(schema_of(source), SCHEMA):
        data = _STEPS[step](data)
    return replace(source, data=MappingProxyType({**data, "schema": SCHEMA}))


def _machine_for_measured(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """1 to 2: a measurement names its machine. One that doesn't is somebody's figure: published."""
    cuts = data.get("cut")
    if not isinstance(cuts, list):
        return data
    return {**data, "cut": [_published(c) if _is_unnamed(c) else c for c in cuts]}


def _is_unnamed(cut: Any) -> bool:
    return (
        isinstance(cut, Mapping)
        and cut.get("basis") == "measured"
        and "machine" not in cut
        and isinstance(cut.get("source"), str)
    )


def _published(cut: Mapping[str, Any]) -> Mapping[str, Any]:
    told = f"measured, nobody says on which machine: {cut['source']}"
    return {**cut, "basis": "published", "source": told[:200]}


_STEPS: Mapping[int, Callable[[Mapping[str, Any]], Mapping[str, Any]]] = MappingProxyType(
    {1: _machine_for_measured}
)
