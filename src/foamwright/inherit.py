"""How a profile inherits from those that it is based on, and each file's own faults.

A *chain* is a profile's file and the files of its bases, nearest first.
Does not know where files are found: `profiles.py` does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import Any, Literal, TypeAlias

from pydantic import BaseModel, ValidationError

from foamwright.findings import Finding, Refused
from foamwright.profile_laser import laser_faults
from foamwright.profile_models import MachineProfile, MaterialProfile
from foamwright.strict_toml import Source, faults_of

Kind: TypeAlias = Literal["material", "machine"]

MODEL: Mapping[Kind, type[BaseModel]] = MappingProxyType(
    {"material": MaterialProfile, "machine": MachineProfile}
)
#: Keys of a profile that are tables of their own, inherited key by key.
_MERGED_TABLES = ("layers", "colours")
#: What a profile says of itself alone.
_OWN = ("based_on", "schema")


@dataclass(frozen=True)
class Found:
    """A profile's file as read, before it inherits."""

    id: str
    layer: int
    origin: str
    source: Source


def words(found: Found) -> tuple[str, ...]:
    """The composition words of one file."""
    listed = found.source.data.get("composition", ())
    return tuple(w for w in listed if isinstance(w, str)) if isinstance(listed, list) else ()


def own_faults(kind: Kind, found: Found) -> Iterator[Finding]:
    """Faults of one file by itself; what it lacks and inherits is no fault of it."""
    data = dict(found.source.data)
    if "id" in data:
        yield found.source.fault("J503", ("id",), "unknown key", "the file's name is the id")
        del data["id"]
    try:
        MODEL[kind].model_validate(data, context={"units": ""})
    except ValidationError as e:
        yield from faults_of(e, found.source, MODEL[kind], partial="based_on" in data)
    yield from laser_faults(kind, found.source)


def other_method(kind: Kind, chain: Sequence[Found], borne: Sequence[Found]) -> Iterator[Finding]:
    """A machine keeps the method of its bases and of the packaged ids that it and they bear."""
    if kind != "machine":
        return
    telling = [x for x in (*chain, *borne) if "method" in x.source.data]
    for mine, theirs in pairwise(telling):
        method = theirs.source.data["method"]
        if mine.source.data["method"] != method:
            what = f"{theirs.id} is a {method} in {theirs.origin}"
            mend = "give your own machine an id of its own, and don't base it on this one"
            yield mine.source.fault("J513", ("method",), what, mend)


def inherit(chain: Sequence[Found]) -> tuple[dict[str, Any], dict[str, str]]:
    """All values of a chain of profiles, nearest going first, with their origins."""
    data: dict[str, Any] = {}
    origins: dict[str, str] = {}
    for link in reversed(chain):
        for key, value in link.source.data.items():
            if key == "cut":
                _merge_cuts(data, origins, value, link.origin)
            elif key in _MERGED_TABLES and isinstance(value, Mapping):
                data[key] = {**data.get(key, {}), **value}
                origins |= {f"{key}.{k}": link.origin for k in value}
            elif key not in _OWN or link is chain[0]:
                data[key] = value
            if key != "cut":
                origins[key] = link.origin
    return data, origins


def _merge_cuts(data: dict[str, Any], origins: dict[str, str], cuts: Any, origin: str) -> None:
    """A nearer `[[cut]]` stands in the place of the one for the same method and machine.

    Whole, since its basis speaks for all its values.
    """
    kept: list[Any] = data.setdefault("cut", [])
    for cut in cuts:
        aim = (cut.get("method"), cut.get("machine"))
        same = (i for i, c in enumerate(kept) if (c.get("method"), c.get("machine")) == aim)
        number = next(same, len(kept))
        kept[number : number + 1] = [cut]
        origins[f"cut.{number}"] = origin


def validated(kind: Kind, found: Found, data: dict[str, Any]) -> Any:
    """The profile of all inherited values. Raises Refused with what it still lacks."""
    source = Source(found.source.name, data, found.source.lines)
    try:
        return MODEL[kind].model_validate(data, context={"units": ""})
    except ValidationError as e:
        raise Refused(faults_of(e, source, MODEL[kind])) from None
