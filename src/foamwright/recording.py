"""Recording what was measured: readings to a value with its uncertainty, into a profile's log.

The profile that is nearest gets the entry: a packaged one is never touched, it gets a file of its
own on the user's shelf that is based on it.  Earlier values stay where they are.
What became of a cut folder, and how far a blade went, is `recording_results.py`.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, TypeAlias

from pydantic import ValidationError

from foamwright.derive import settings_for
from foamwright.errors import CommandError
from foamwright.findings import Finding, Refused, fault, refuse_on_fault, warning
from foamwright.inherit import MODEL, Kind
from foamwright.names import readable
from foamwright.profile_measured import (
    OF_CUT,
    OF_MACHINE,
    OF_STOCK,
    TOLD,
    MeasuredEntry,
    Operation,
    Said,
    measured_faults,
)
from foamwright.profile_models import SCHEMA, CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import FOLDER, Loaded, Shelf, user_folder
from foamwright.readings import WORDS, Place, amounts, unit_of
from foamwright.shelf_writing import add_entries
from foamwright.strict_toml import Source, faults_of
from foamwright.toml_lines import nearest
from foamwright.uncertainty import Estimate, ReadingsError, estimate, outliers

#: Less than any value that must be more than nought.
TINY = 1e-9
#: What to do with readings that don't belong: stop and tell, or one of these.
Outliers: TypeAlias = Literal["stop", "keep", "drop"]


@dataclass(frozen=True, slots=True)
class Words:
    """Who says it, when, and in which words."""

    date: datetime.date = field(default_factory=datetime.date.today)
    by: str | None = None
    note: str | None = None

    @property
    def told(self) -> dict[str, Any]:
        told = {"date": self.date, "by": self.by, "note": self.note}
        return {k: readable(v) if isinstance(v, str) else v for k, v in told.items() if v}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be recorded of one profile.

    readings: of each place, as typed.  resolution: the gauge's step.  machine, tool, operation:
    under what it was measured; thickness: of the stock, by default the material's.
    """

    profile: str
    places: tuple[tuple[Place, tuple[str, ...]], ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    machine: str | None = None
    tool: str | None = None
    operation: Operation = "cut"
    thickness: str | None = None
    resolution: str | None = None
    outliers: Outliers = "stop"
    said: Words = field(default_factory=Words)


@dataclass(frozen=True, slots=True)
class Recorded:
    """A value as it was written. before: the value in force until then, in words, and its basis."""

    key: str
    value: str
    estimate: Estimate | None
    before: str | None
    before_basis: str | None
    compared: str
    file: Path
    findings: tuple[Finding, ...] = ()


def record(shelf: Shelf, kind: Kind, asked: Asked) -> tuple[Recorded, ...]:
    """Writes every value asked for at once, or none. Raises Refused, CommandError."""
    loaded = _load(shelf, kind, asked)
    machine = _machine(shelf, kind, asked)
    _check_keys(kind, asked)
    if kind == "machine":
        _check_method(loaded.profile, asked)
    file, folder, head = place_for(shelf, loaded)
    made = [_one(loaded, machine, asked, p, r, file) for p, r in asked.places]
    made += [_worded(loaded, machine, asked, k, w, file) for k, w in asked.words.items()]
    refuse_on_fault(_unfit(kind, file, [entry for entry, _ in made]))
    add_entries(file, folder, [("measured", entry) for entry, _ in made], head)
    return tuple(done for _, done in made)


def _unfit(kind: Kind, file: Path, entries: Sequence[Mapping[str, Any]]) -> Iterator[Finding]:
    """Faults for which the shelf would refuse these entries, and with them the whole profile."""
    for entry in entries:
        yield from unfit(MeasuredEntry, str(entry["what"]), entry)
    source = Source(file.name, {"measured": entries})
    yield from measured_faults(kind, source, CutSettings, MODEL[kind])


def unfit(model: type[Said], where: str, entry: Mapping[str, Any]) -> Iterator[Finding]:
    """Faults of an entry of a log, in the form in which it would be read back."""
    try:
        model.model_validate(entry, context={"units": ""})
    except ValidationError as e:
        yield from faults_of(e, Source(where, entry), model)


def _load(shelf: Shelf, kind: Kind, asked: Asked) -> Loaded[Any]:
    if kind == "material":
        return shelf.material(asked.profile)
    return shelf.machine(asked.profile)


def _machine(shelf: Shelf, kind: Kind, asked: Asked) -> Loaded[MachineProfile] | None:
    keys = {p.key for p, _ in asked.places} | set(asked.words)
    if kind == "machine":
        return None
    if asked.machine is not None:
        return shelf.machine(asked.machine)
    if keys - set(OF_STOCK):
        wants = ", ".join(sorted(keys - set(OF_STOCK)))
        raise CommandError(f"{wants}: name the --machine that it was measured on")
    return None


def _check_keys(kind: Kind, asked: Asked) -> None:
    known = OF_MACHINE if kind == "machine" else (*OF_STOCK, *OF_CUT, *TOLD)
    for key in (*(p.key for p, _ in asked.places), *asked.words):
        if key not in known:
            near = nearest(key, known)
            mend = f"did you mean {near}" if near else f"known are {', '.join(known)}"
            raise CommandError(f"--key {key}: nothing that is measured of a {kind}; {mend}")
    for place, _ in asked.places:
        if place.key in WORDS:
            raise CommandError(f"{place.key} is words: give --value, no readings")
    for key in asked.words:
        if key not in WORDS:
            raise CommandError(f"{key} is measured: give readings, no --value")


def _check_method(machine: MachineProfile, asked: Asked) -> None:
    """A laser has no blade, and a knife no beam."""
    for place, _ in asked.places:
        if (place.key == "waist") != (machine.method == "laser") and place.key not in _ANY_MACHINE:
            raise CommandError(f"{place.key}: {machine.id} is a {machine.method} and has none")


#: What every machine has.
_ANY_MACHINE = ("cut_speed_max", "travel_speed", "acceleration")


def place_for(shelf: Shelf, loaded: Loaded[Any]) -> tuple[Path, Path, str]:
    """Where a profile's entries go: its file, the folder to lock, and a new file's head."""
    kind: Kind = loaded.kind
    nearest_layer = next((x for x in shelf.layers if x.file(kind, loaded.id)), None)
    if nearest_layer is not None and nearest_layer.name != "package":
        file = nearest_layer.file(kind, loaded.id)
        if file is not None:
            return file, nearest_layer.folder, ""
    head = (
        f"# What this bench measured of {loaded.id}; all else follows the packaged profile.\n"
        f'schema   = {SCHEMA}\nbased_on = "{loaded.id}"\n'
    )
    folder = user_folder()
    return folder / FOLDER[kind] / f"{loaded.id}.toml", folder, head


def _one(
    loaded: Loaded[Any],
    machine: Loaded[MachineProfile] | None,
    asked: Asked,
    place: Place,
    texts: Sequence[str],
    file: Path,
) -> tuple[dict[str, Any], Recorded]:
    """The entry of one place's readings, and what is told of it."""
    where = place.name or place.key
    read = amounts(texts, place.unit, where)
    step = 0.0
    if asked.resolution is not None:
        (step,) = amounts([asked.resolution], place.unit, "resolution")
    far = outliers(read, step)
    told = _outlying(where, texts, far, asked.outliers)
    kept = [v for i, v in enumerate(read) if i not in far or asked.outliers == "keep"]
    found = _estimated(where, place, kept, step)
    before, basis = value_before(loaded, machine, asked, place.key)
    unit = unit_of(place.key)
    digits = _digits(found.standard)
    entry = {
        **_head(loaded, machine, asked, place.key),
        "value": _written(found.value, digits, unit),
        "basis": "measured",
        "n": found.n,
        "spread": _amount(found.spread, digits, unit),
        "standard_uncertainty": _amount(found.standard, digits, unit),
        "expanded_uncertainty": _amount(found.expanded, digits, unit),
        "coverage_factor": round(found.factor, 3),
        **({"resolution": readable(asked.resolution)} if asked.resolution else {}),
        "readings": [readable(t) for t in texts],
        **({"left_out": [texts[i] for i in far]} if far and asked.outliers == "drop" else {}),
        **_before(before, basis, digits, unit),
        **asked.said.told,
    }
    compared = _compared(found, before, basis, digits, unit)
    shown = _amount(found.value, digits, unit)
    done = Recorded(
        place.key, shown, found, _words(before, digits, unit), basis, compared, file, told
    )
    return entry, done


def _outlying(
    where: str, texts: Sequence[str], far: Sequence[int], what_then: Outliers
) -> tuple[Finding, ...]:
    """J542 for readings that don't belong. Raises Refused where nobody said what to do."""
    made = fault if what_then == "stop" else warning
    mend = {
        "stop": "read them again, or say --outliers keep or --outliers drop",
        "keep": "kept in the value",
        "drop": "left out of the value, and told in its entry",
    }[what_then]
    found = tuple(
        made(
            "J542", where, f"reading {i + 1}, {readable(texts[i])}, lies far from the others", mend
        )
        for i in far
    )
    if what_then == "stop" and found:
        raise Refused(found)
    return found


def _estimated(where: str, place: Place, read: Sequence[float], step: float) -> Estimate:
    values = [place.value(v) for v in read]
    steep = max((place.steepness(v) for v in read), default=1.0)
    try:
        found = estimate(values, step * steep)
    except ReadingsError as e:
        raise Refused([fault("J541", where, str(e), "read it again")]) from None
    least = -math.inf if place.key == "lean" else 0.0 if place.key.startswith("kerf") else TINY
    if found.value < least:
        what = f"the readings give {found.value:g}, which {place.key} can't be"
        raise Refused([fault("J541", where, what, "look whether the right place was measured")])
    return found


def _head(
    loaded: Loaded[Any], machine: Loaded[MachineProfile] | None, asked: Asked, key: str
) -> dict[str, Any]:
    """What the entry is of, and under what it was found."""
    head: dict[str, Any] = {"what": key}
    if machine is None or key in OF_STOCK:
        return head
    thickness = loaded.profile.thickness
    if asked.thickness is not None:
        (thickness,) = amounts([asked.thickness], "mm", "--thickness")
    head |= {"method": machine.profile.method, "machine": machine.id}
    tool = asked.tool or machine.profile.tool
    head |= {"tool": readable(tool)} if tool else {}
    return {**head, "operation": asked.operation, "thickness": f"{thickness:.6g} mm"}


def value_before(
    loaded: Loaded[Any], machine: Loaded[MachineProfile] | None, asked: Asked, key: str
) -> tuple[Any, str | None]:
    """The value in force and its basis; None where there is none."""
    if machine is None or key in OF_STOCK:
        value = getattr(loaded.profile, key, None)
        return value, None if value is None else loaded.profile.basis_of(key)
    cut = _cut_before(loaded.profile, machine.profile, asked)
    if cut is None:
        return None, None
    own = getattr(cut, key, None)
    if own is None and key in ("kerf_x", "kerf_y"):
        key, own = "kerf", cut.kerf
    return own, None if own is None else cut.basis_of(key)


def _cut_before(
    material: MaterialProfile, machine: MachineProfile, asked: Asked
) -> CutSettings | None:
    gear = machine.model_copy(update={"tool": asked.tool}) if asked.tool else machine
    if asked.operation == "score":
        return material.found_for(gear.method, gear.id, gear.tool, "score")
    try:
        return settings_for(gear, material)
    except Refused:
        return material.found_for(gear.method, gear.id, gear.tool, "cut")


def _before(value: Any, basis: str | None, digits: int, unit: str) -> dict[str, Any]:
    told = _words(value, digits, unit)
    return {} if told is None else {"before": told, "before_basis": basis or "estimate"}


def _words(value: Any, digits: int, unit: str) -> str | None:
    if value is None:
        return None
    return _amount(value, digits, unit) if isinstance(value, int | float) else str(value)


def _compared(found: Estimate, before: Any, basis: str | None, digits: int, unit: str) -> str:
    """The value beside that before, in one line."""
    if not isinstance(before, int | float):
        return "there was none before"
    change = found.value - before
    way = "more" if change > 0 else "less"
    beyond = "beyond" if abs(change) > found.expanded else "within"
    size = _amount(abs(change), digits, unit)
    return f"{size} {way} than the {_amount(before, digits, unit)} before ({basis}), {beyond} its ±"


def _digits(standard: float) -> int:
    """Decimals that show two figures of an uncertainty (GUM 7.2.6), four where it is nought."""
    return 4 if standard <= 0 else min(9, max(0, 1 - math.floor(math.log10(standard))))


def _written(value: float, digits: int, unit: str) -> str | float:
    """As a profile has it: angles are bare numbers."""
    return round(value, digits) if unit == "degrees" else _amount(value, digits, unit)


def _amount(value: float, digits: int, unit: str) -> str:
    return f"{value:.{digits}f} {unit}"


def _worded(
    loaded: Loaded[Any],
    machine: Loaded[MachineProfile] | None,
    asked: Asked,
    key: str,
    words: str,
    file: Path,
) -> tuple[dict[str, Any], Recorded]:
    """The entry of a setting in words: what the machine was set to when it cut well."""
    before, basis = value_before(loaded, machine, asked, key)
    value = readable(words.strip())
    if not value or len(value) > 200:
        raise CommandError(f"{key}: give it in 1 to 200 characters")
    entry = {
        **_head(loaded, machine, asked, key),
        "value": value,
        "basis": "measured",
        **({"before": str(before), "before_basis": basis} if before is not None else {}),
        **asked.said.told,
    }
    compared = f"{before} before ({basis})" if before is not None else "there was none before"
    return entry, Recorded(
        key, value, None, None if before is None else str(before), basis, compared, file
    )
