"""Checking a whole shelf: what doesn't load, what can hardly be meant, what is not trusted yet.

Faults are what would stop a job; warnings and notes are what a shop should know of its shelf.
Writes nothing and judges no job.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from foamwright.checklist import load_checklist
from foamwright.derive import blade_due
from foamwright.findings import Finding, Refused, fault, note, warning
from foamwright.hazards import Rules, load_rules
from foamwright.inherit import Kind
from foamwright.measured import given, serves
from foamwright.migrations import schema_of
from foamwright.profile_measured import OF_STOCK, TOLD, MeasuredEntry
from foamwright.profile_models import SCHEMA, CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import KINDS, Listed, Loaded, Shelf
from foamwright.strict_toml import read_toml, shown
from foamwright.toml_lines import nearest

#: Numbers beyond which a value can hardly be meant (common practice, no source), mm and mm/s; the
#: blade's offset after a blade seller's and a user's figures (0.175 to 1.0 mm).
HARDLY: Mapping[str, tuple[float, float]] = {
    "kerf": (0.0, 3.0),
    "kerf_x": (0.0, 3.0),
    "kerf_y": (0.0, 3.0),
    "speed": (0.1, 5000.0),
    "thickness": (0.02, 300.0),
    "blade_offset": (0.1, 1.5),
    "travel_speed": (5.0, 5000.0),
    "cut_speed_max": (1.0, 5000.0),
    "acceleration": (10.0, 100_000.0),
}


def check_shelf(shelf: Shelf) -> tuple[Finding, ...]:
    """Every finding on every profile of every layer, and on its hazard rules and checklists."""
    found: list[Finding] = []
    rules = _rules(shelf, found)
    materials: dict[str, Loaded[MaterialProfile]] = {}
    machines: dict[str, Loaded[MachineProfile]] = {}
    for listed in shelf.list():
        found += _schema(shelf, listed)
        if listed.hidden:
            continue
        try:
            if listed.kind == "material":
                materials[listed.id] = shelf.material(listed.id)
            else:
                machines[listed.id] = shelf.machine(listed.id)
        except Refused as e:
            found += [_at(listed, f) for f in e.findings]
    both: tuple[Mapping[str, Loaded[Any]], ...] = (materials, machines)
    for kind, ids in zip(KINDS, both, strict=True):
        found += [f for x in ids.values() for f in _one(x)]
        found += _alike(kind, ids)
    found += _strangers(materials, machines, rules)
    found += [f for m in materials.values() for f in _elsewhere(m, materials, machines)]
    return tuple(dict.fromkeys(found))


def _rules(shelf: Shelf, found: list[Finding]) -> Rules:
    try:
        rules = load_rules(shelf.folders)
        load_checklist(rules, shelf.folders)
    except Refused as e:
        found += e.findings
        return load_rules()
    return rules


def _schema(shelf: Shelf, listed: Listed) -> Iterator[Finding]:
    """J546: read as the present schema all the same; the file keeps its own."""
    layer = next(x for x in shelf.layers if x.name == listed.origin.partition(":")[0])
    file = layer.file(listed.kind, listed.id)
    try:
        schema = schema_of(read_toml(file)) if file is not None else SCHEMA
    except Refused:
        return  # loading it tells
    if schema < SCHEMA:
        what = f"is of schema {schema} and read as schema {SCHEMA}"
        yield note("J546", listed.origin, what, f"look at it and write schema = {SCHEMA}")


def _at(listed: Listed, finding: Finding) -> Finding:
    return fault(finding.code, f"{listed.origin}: {finding.where}", finding.what, finding.mend)


def _one(loaded: Loaded[Any]) -> Iterator[Finding]:
    """Numbers that can hardly be meant, and a blade that is due."""
    tables = [("", loaded.profile)]
    if isinstance(loaded.profile, MaterialProfile):
        tables += [(f"[[cut]] {i}: ", c) for i, c in enumerate(loaded.profile.cut, 1)]
    for head, table in tables:
        for key, (low, high) in HARDLY.items():
            value = getattr(table, key, None)
            if isinstance(value, int | float) and value and not low <= value <= high:
                what = (
                    f"{head}{key} of {value:g} can hardly be meant ({low:g} to {high:g} is usual)"
                )
                yield warning("J545", f"{loaded.kind} {loaded.id}", what, "mind its unit")
    if isinstance(loaded.profile, MachineProfile):
        yield from blade_due(loaded.profile)


def _alike(kind: Kind, loaded: Mapping[str, Loaded[Any]]) -> Iterator[Finding]:
    """J545 for ids that differ by little more than how they are written, and for one name twice."""
    plain = {i: i.casefold().replace("_", "-").replace("-", "") for i in loaded}
    for one, other in itertools.combinations(loaded, 2):
        where = f"{kind} {one}"
        if plain[one] == plain[other]:
            what = f"its id is all but that of {other} ({loaded[other].origin('name')})"
            yield warning("J545", where, what, "rename one of the two")
        elif loaded[one].profile.name == loaded[other].profile.name:
            what = f"{other} has the same name, {shown(loaded[one].profile.name)}"
            yield warning("J545", where, what, "name one of them otherwise")


def _strangers(
    materials: Mapping[str, Loaded[MaterialProfile]],
    machines: Mapping[str, Loaded[MachineProfile]],
    rules: Rules,
) -> Iterator[Finding]:
    """Words on no list, and machines that no shelf has."""
    known = {m.casefold() for m in machines}
    for loaded in materials.values():
        where = f"material {loaded.id}"
        for word in loaded.composition:
            if word not in rules.words:
                near = nearest(word, rules.words)
                mend = f"did you mean {near}" if near else "use a word of hazards.toml"
                what = f"{shown(word)} is no composition word: forbidden on a laser"
                yield warning("S001", where, what, mend)
        named = [c.machine for c in loaded.profile.cut]
        named += [e.machine for e in loaded.profile.measured]
        for name in dict.fromkeys(named):
            if name and name.casefold() not in known:
                near = nearest(name, machines)
                mend = f"did you mean {near}" if near else ""
                yield warning("J511", where, f"no machine {shown(name)} is on the shelf", mend)


def _elsewhere(
    loaded: Loaded[MaterialProfile],
    materials: Mapping[str, Loaded[MaterialProfile]],
    machines: Mapping[str, Loaded[MachineProfile]],
) -> Iterator[Finding]:
    """J544: what is an estimate for one machine and was measured on another, or in the material
    that this one is based on or that is based on it.
    """
    family = {a.id for a in loaded.lineage} | {loaded.id}
    family |= {m.id for m in materials.values() if loaded.id in {a.id for a in m.lineage}}
    log = [(m, e) for m in materials.values() if m.id in family for e in m.profile.measured]
    for machine in machines.values():
        cut = loaded.profile.found_for(
            machine.profile.method, machine.id, machine.profile.tool, "cut"
        )
        if cut is None:
            continue
        for key in _estimates(cut, loaded.profile, machine.profile):
            newest = [(m, e) for m, e in log if (e.what, e.method) == (key, cut.method)]
            if newest:
                yield _untrusted(loaded, machine, key, *newest[-1])


def _estimates(
    cut: CutSettings, material: MaterialProfile, machine: MachineProfile
) -> Sequence[str]:
    """The keys of a cut that nobody has measured on this machine."""
    mine = {e.what for e in material.measured if serves(e, machine, cut)}
    keys = [k for k in given(cut) if cut.basis_of(k) == "estimate" and k not in mine]
    return [k for k in keys if k not in (*OF_STOCK, *TOLD)]


def _untrusted(
    loaded: Loaded[MaterialProfile],
    machine: Loaded[MachineProfile],
    key: str,
    there: Loaded[MaterialProfile],
    entry: MeasuredEntry,
) -> Finding:
    of = "" if there.id == loaded.id else f" of {there.id}"
    what = (
        f"{key} is an estimate, older than {entry.value}{of} measured on {entry.machine} "
        f"on {entry.date}; a value of one machine never serves another"
    )
    mend = "cut a coupon here and record it"
    return note("J544", f"{loaded.id} on {machine.id}", what, mend)
