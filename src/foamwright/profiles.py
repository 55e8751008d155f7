"""The shelf of profiles: where a material or machine is found, what it is based on, whence each
value.

Terms.  *Layer*: a folder with `materials/` and `machines/`; the nearest goes first: `job` (beside
the job), `user` (the user's own), `package`.  *Origin*: the layer and file of a value as a logical
path, `package:materials/card-1mm.toml`; never a path of this computer.

A profile takes what it lacks from the one that it is `based_on`; `based_on` its own id means the
same id in a farther layer.  Its composition is the union of its own and of all that it is based on
or whose packaged id it bears: words are added, never taken away.
Does not judge: `safety.py` does.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Generic, Literal, TypeAlias, TypeVar, cast

from foamwright.findings import Refused, fault
from foamwright.inherit import Found, Kind, inherit, other_method, own_faults, validated, words
from foamwright.measured import measured_cut, with_measures
from foamwright.migrations import migrated
from foamwright.profile_measured import OF_MACHINE, OF_STOCK
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile, aim_of
from foamwright.record import ProfileEntry, ValueEntry
from foamwright.shelf_folder import packaged_profiles
from foamwright.strict_toml import read_toml, shown
from foamwright.toml_lines import nearest

LayerName: TypeAlias = Literal["job", "user", "package", "file"]
Profile = TypeVar("Profile", MaterialProfile, MachineProfile)

#: The folder of each kind of profile on a shelf.
FOLDER: Mapping[Kind, str] = MappingProxyType({"material": "materials", "machine": "machines"})


KINDS: tuple[Kind, ...] = ("material", "machine")


@dataclass(frozen=True, slots=True)
class Layer:
    """A folder of profiles and the name that origins tell it by."""

    name: LayerName
    folder: Path

    def file(self, kind: Kind, profile_id: str) -> Path | None:
        """The profile's file here, ids compared without case; None where there is none."""
        folder = self.folder / FOLDER[kind]
        try:
            files = sorted(folder.glob("*.toml"))
        except OSError:
            return None
        return next((f for f in files if f.stem.casefold() == profile_id.casefold()), None)

    def ids(self, kind: Kind) -> tuple[str, ...]:
        folder = self.folder / FOLDER[kind]
        return tuple(sorted(f.stem for f in folder.glob("*.toml"))) if folder.is_dir() else ()


@dataclass(frozen=True, slots=True)
class Ancestor:
    """A profile that another is based on, or whose packaged id it bears."""

    id: str
    origin: str
    composition: tuple[str, ...] = ()


@dataclass(frozen=True)
class Loaded(Generic[Profile]):
    """A profile with all that it inherits.

    origins: of each key; the whole of a cut has that of `cut.<number>`, counted from 0.
    composition: the effective one of a material, which is also the profile's.
    """

    id: str
    kind: Kind
    profile: Profile
    origins: Mapping[str, str]
    lineage: tuple[Ancestor, ...] = ()
    composition: tuple[str, ...] = ()

    def origin(self, key: str) -> str:
        """Where a key's value comes from; `default` where no file gives it."""
        return self.origins.get(key, "default")


def with_word(loaded: Loaded[MaterialProfile], word: str, origin: str) -> Loaded[MaterialProfile]:
    """A material with one composition word more."""
    if word in loaded.composition:
        return loaded
    words = (*loaded.composition, word)
    profile = loaded.profile.model_copy(update={"composition": words})
    told = f"{loaded.origin('composition')} + {origin}"
    origins = MappingProxyType({**loaded.origins, "composition": told})
    return replace(loaded, profile=profile, composition=words, origins=origins)


@dataclass(frozen=True, slots=True)
class Listed:
    """One file of the shelf. hidden: a nearer layer has the same id.  fault: why it can't load."""

    kind: Kind
    id: str
    name: str
    origin: str
    hidden: bool = False
    fault: str = ""


@dataclass(frozen=True)
class Shelf:
    """Layers, nearest first. base: the folder that a path to a profile is relative to."""

    layers: tuple[Layer, ...]
    base: Path = field(default_factory=Path)

    @classmethod
    def of(cls, job_folder: Path | None = None, base: Path | None = None) -> Shelf:
        """The layers that a job in this folder sees."""
        beside = [Layer("job", job_folder / "profiles")] if job_folder is not None else []
        own = [Layer("user", user_folder()), Layer("package", packaged_profiles())]
        return cls((*beside, *own), base or job_folder or Path())

    def chain(self, kind: Kind, reference: str) -> tuple[Found, ...]:
        """The files that make up a profile, nearest first. Raises Refused."""
        return self._chain(kind, self._first(kind, reference))

    def file_of(self, kind: Kind, reference: str) -> Path | None:
        """The nearest file of this id, or the file that is named; None where there is none."""
        if is_path(reference):
            return self.base / reference
        return next((f for x in self.layers if (f := x.file(kind, reference))), None)

    @property
    def folders(self) -> tuple[Path, ...]:
        """The layers' folders, nearest first, for rules that every shelf may add to."""
        return tuple(layer.folder for layer in self.layers)

    def material(self, reference: str) -> Loaded[MaterialProfile]:
        """A material by its id or its file. Raises Refused with every fault of it."""
        return cast(Loaded[MaterialProfile], self._load("material", reference))

    def machine(self, reference: str) -> Loaded[MachineProfile]:
        """A machine by its id or its file. Raises Refused with every fault of it."""
        return cast(Loaded[MachineProfile], self._load("machine", reference))

    def missing(self, kind: Kind, reference: str) -> str:
        """What to tell of an id that is on no shelf; empty where it is on one, or a path."""
        if is_path(reference) or any(x.file(kind, reference) for x in self.layers):
            return ""
        return "; ".join(self._unknown(kind, reference))

    def _unknown(self, kind: Kind, reference: str) -> tuple[str, str]:
        known = sorted({i for x in self.layers for i in x.ids(kind)})
        near = nearest(reference, known)
        mend = f"did you mean {near}" if near else f"known are {', '.join(known)}"
        return f"no {kind} {shown(reference)} is on the shelf", mend

    def list(self) -> tuple[Listed, ...]:
        """Every profile of every layer, a kind after the other, nearest layer first."""
        return tuple(x for kind in FOLDER for x in self._list(kind))

    def _list(self, kind: Kind) -> Iterator[Listed]:
        seen: set[str] = set()
        for number, layer in enumerate(self.layers):
            for profile_id in layer.ids(kind):
                hidden = profile_id.casefold() in seen
                name, said = profile_id, ""
                try:
                    name = self._finish(kind, self._read(kind, profile_id, number)).profile.name
                except Refused as e:
                    said = e.findings[0].line()
                seen.add(profile_id.casefold())
                yield Listed(kind, profile_id, name, _origin(layer, kind, profile_id), hidden, said)

    def _load(self, kind: Kind, reference: str) -> Loaded[Any]:
        return self._finish(kind, self._first(kind, reference))

    def _first(self, kind: Kind, reference: str) -> Found:
        if is_path(reference):
            file = self.base / reference
            return Found(file.stem, -1, f"file:{file.name}", migrated(read_toml(file)))
        if self.missing(kind, reference):
            raise Refused([fault("J511", "profiles", *self._unknown(kind, reference))])
        return self._read(kind, reference, 0)

    def _read(self, kind: Kind, profile_id: str, first: int) -> Found:
        """The nearest file of this id from the layer numbered `first` on; there must be one."""
        for number, layer in enumerate(self.layers[first:], first):
            file = layer.file(kind, profile_id)
            if file is not None:
                origin = _origin(layer, kind, file.stem)
                return Found(file.stem, number, origin, migrated(read_toml(file)))
        raise Refused([fault("J511", "profiles", f"no {kind} {shown(profile_id)} is there")])

    def _finish(self, kind: Kind, found: Found) -> Loaded[Any]:
        """The profile with all that it inherits, checked."""
        chain = self._chain(kind, found)
        faults = [x for link in chain for x in own_faults(kind, link)]
        borne = self._packaged(kind, chain)
        faults.extend(other_method(kind, chain, borne))
        if faults:
            raise Refused(faults)
        own = OF_STOCK if kind == "material" else OF_MACHINE
        data, origins = with_measures(*inherit(chain), own)
        lineage = tuple(Ancestor(x.id, x.origin, words(x)) for x in (*chain[1:], *borne))
        if kind == "material":
            union = dict.fromkeys(w for x in (*chain, *borne) for w in words(x))
            data["composition"] = list(union)
        profile = validated(kind, found, {**data, "id": found.id})
        composition = tuple(data.get("composition", ()))
        return Loaded(found.id, kind, profile, MappingProxyType(origins), lineage, composition)

    def _chain(self, kind: Kind, found: Found) -> tuple[Found, ...]:
        """The profile and what it is based on, nearest first."""
        chain: tuple[Found, ...] = (found,)
        while isinstance(base := chain[-1].source.data.get("based_on"), str):
            chain = (*chain, self._base(kind, base, chain))
        return chain

    def _base(self, kind: Kind, base: str, chain: Sequence[Found]) -> Found:
        link = chain[-1]
        first = link.layer + 1 if base.casefold() == link.id.casefold() else 0
        if not any(layer.file(kind, base) for layer in self.layers[first:]):
            told = self._unknown(kind, base)
            if self.missing(kind, base) == "":
                told = f"no farther shelf has a {kind} {shown(base)}", "name another base"
            raise Refused([link.source.fault("J511", ("based_on",), *told)])
        found = self._read(kind, base, first)
        if any(x.origin == found.origin for x in chain):
            names = " <- ".join(x.id for x in (*chain, found))
            what = f"profiles are based on each other in a circle ({names})"
            raise Refused([link.source.fault("J512", ("based_on",), what, "break the circle")])
        return found

    def _packaged(self, kind: Kind, chain: Sequence[Found]) -> tuple[Found, ...]:
        """Packaged profiles (with their bases) whose ids these bear, that aren't in the chain."""
        last = len(self.layers) - 1
        if self.layers[last].name != "package":
            return ()
        borne: dict[str, Found] = {}
        for link in chain:
            if self.layers[last].file(kind, link.id) is not None:
                packaged = self._chain(kind, self._read(kind, link.id, last))
                borne |= {x.origin: x for x in packaged}
        there = {x.origin for x in chain}
        return tuple(x for origin, x in borne.items() if origin not in there)


def user_folder() -> Path:
    """The user's own shelf: FOAMWRIGHT_PROFILES, else the system's place for user data."""
    named = os.environ.get("FOAMWRIGHT_PROFILES")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("foamwright", appauthor=False)) / "profiles"


def is_path(reference: str) -> bool:
    """Whether a profile is named by its file rather than by an id."""
    return reference.endswith(".toml") or "/" in reference or "\\" in reference


def _origin(layer: Layer, kind: Kind, profile_id: str) -> str:
    return f"{layer.name}:{FOLDER[kind]}/{profile_id}.toml"


def resolve_settings(
    material: Loaded[MaterialProfile], machine: Loaded[MachineProfile], cut: CutSettings
) -> tuple[ProfileEntry, ProfileEntry]:
    """Every value that a cut uses, with its origin, for the record; the cut's as `cut.kerf`."""
    values = list(_values(material, skip=("cut", "measured", "result")))
    values += cut_values(material, machine, cut)
    score = material.profile.found_for(cut.method, machine.id, machine.profile.tool, "score")
    if score is not None:
        told = cut_values(material, machine, score)
        values += [v.model_copy(update={"key": f"score{v.key[3:]}"}) for v in told]
    gear = _values(machine, skip=("measured", "blade_log"))
    return (
        ProfileEntry(kind="material", id=material.id, values=tuple(values)),
        ProfileEntry(kind="machine", id=machine.id, values=tuple(gear)),
    )


def cut_values(
    material: Loaded[MaterialProfile], machine: Loaded[MachineProfile], cut: CutSettings
) -> tuple[ValueEntry, ...]:
    """The values of a cut with their origins."""
    number = [aim_of(c) for c in material.profile.cut].index(aim_of(cut))
    own = material.profile.cut[number]
    measured = {
        f.key: material.origin(f"measured.{f.numbers[-1]}")
        for f in measured_cut(own, material.profile, machine.profile)
        if f.numbers
    }
    if measured:
        last = list(measured.values())[-1]
        told = ("kerf_x", "kerf_y", "basis", "bases", "source")
        measured = {**dict.fromkeys(told, last), **measured}
    return tuple(
        ValueEntry(
            key=f"cut.{k}",
            value=v,
            origin=measured.get(k) or _cut_origin(material, cut, number, k),
        )
        for k, v in cut.model_dump(mode="json", exclude_none=True).items()
        if v not in (None, [], {})
    )


def _cut_origin(loaded: Loaded[Any], cut: CutSettings, number: int, key: str) -> str:
    return loaded.origin(f"cut.{number}") if key in cut.model_fields_set else "default"


def _values(loaded: Loaded[Any], skip: Sequence[str] = ()) -> Iterator[ValueEntry]:
    dump: Callable[..., dict[str, Any]] = loaded.profile.model_dump
    left_out = {"id", *skip}
    for key, value in dump(mode="json", by_alias=True, exclude=left_out).items():
        if value is not None:
            yield ValueEntry(key=key, value=value, origin=loaded.origin(key))
    if loaded.lineage:
        ids = list(dict.fromkeys(x.id for x in loaded.lineage))
        yield ValueEntry(key="lineage", value=ids, origin=loaded.origin("based_on"))
