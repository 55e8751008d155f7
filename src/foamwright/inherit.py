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
from foamwright.profile_measured import measured_faults
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile
from foamwright.strict_toml import Source, faults_of

Kind: TypeAlias = Literal["material", "machine"]

MODEL: Mapping[Kind, type[BaseModel]] = MappingProxyType(
    {"material": MaterialProfile, "machine": MachineProfile}
)
#: Keys of a profile that are tables of their own, inherited key by key.
_MERGED_TABLES = ("layers", "colours")
#: What a profile says of itself alone.
_OWN = ("based_on", "schema")
#: Logs, which grow down the chain.
_LOGS = ("measured", "result", "blade_log")


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
    yield from measured_faults(kind, found.source, CutSettings, MODEL[kind])


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
        told = link.source.data
        _drop_known(data, origins, told)
        for key, value in told.items():
            if key == "cut":
                _merge_cuts(data, origins, value, link.origin)
            elif key in _LOGS:
                _append(data, origins, key, value, link.origin)
            elif key in _MERGED_TABLES and isinstance(value, Mapping):
                data[key] = {**data.get(key, {}), **value}
                origins |= {f"{key}.{k}": link.origin for k in value}
            elif key not in _OWN or link is chain[0]:
                data[key] = value
            if key != "cut" and key not in _LOGS:
                origins[key] = link.origin
    return data, origins


def _append(data: dict[str, Any], origins: dict[str, str], key: str, log: Any, origin: str) -> None:
    """A nearer file's entries come after those of what it is based on, each with its origin."""
    kept: list[Any] = data.setdefault(key, [])
    for entry in log:
        origins[f"{key}.{len(kept)}"] = origin
        kept.append(entry)


def _drop_known(data: dict[str, Any], origins: dict[str, str], told: Mapping[str, Any]) -> None:
    """What was measured farther off gives way to what a nearer file says itself.

    A cut's value to a `[[cut]]` that has it for the same method and machine (or for all machines),
    a material's or machine's own to its key.
    """
    kept = [
        (entry, origins.pop(f"measured.{i}")) for i, entry in enumerate(data.pop("measured", []))
    ]
    for entry, origin in kept:
        if not _says_itself(told, entry):
            _append(data, origins, "measured", [entry], origin)


def _says_itself(told: Mapping[str, Any], entry: Mapping[str, Any]) -> bool:
    what = str(entry.get("what"))
    keys = {what, what.partition("_")[0]} if what.startswith("kerf") else {what}
    if keys & told.keys():
        return True
    return any(
        cut.get("method") == entry.get("method")
        and cut.get("machine") in (entry.get("machine"), None)
        and cut.get("operation", "cut") == entry.get("operation", "cut")
        and keys & (cut.keys() | {k for p in cut.get("at", ()) for k in p})
        for cut in told.get("cut", ())
    )


def _merge_cuts(data: dict[str, Any], origins: dict[str, str], cuts: Any, origin: str) -> None:
    """A nearer `[[cut]]` stands in the place of the one for the same method and machine.

    Whole, since its basis speaks for all its values.
    """
    kept: list[Any] = data.setdefault("cut", [])
    for cut in cuts:
        aim = _aim(cut)
        same = (i for i, c in enumerate(kept) if _aim(c) == aim)
        number = next(same, len(kept))
        kept[number : number + 1] = [cut]
        origins[f"cut.{number}"] = origin


def _aim(cut: Mapping[str, Any]) -> tuple[Any, ...]:
    keys = ("method", "machine", "tool")
    return (*(cut.get(k) for k in keys), cut.get("operation", "cut"))


def validated(kind: Kind, found: Found, data: dict[str, Any]) -> Any:
    """The profile of all inherited values. Raises Refused with what it still lacks."""
    source = Source(found.source.name, data, found.source.lines)
    try:
        return MODEL[kind].model_validate(data, context={"units": ""})
    except ValidationError as e:
        raise Refused(faults_of(e, source, MODEL[kind])) from None
