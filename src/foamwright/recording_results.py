"""Recording what became of a cut folder, and how far a blade has gone.

A folder's record tells which pieces were cut of which material on which machine, and how long
their edges are; only a record that nobody edited is taken, and each once, unless it was cut again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from foamwright.errors import CommandError
from foamwright.findings import Refused, fault, refuse_on_fault
from foamwright.geometry.pathdata import parse_path_data
from foamwright.names import readable
from foamwright.profile_measured import BladeEntry, ResultEntry
from foamwright.profile_models import MachineProfile
from foamwright.profiles import Loaded, Shelf
from foamwright.record import Record, checksum_of
from foamwright.recording import Words, place_for, unfit
from foamwright.shelf_writing import add_entries

#: Figures of a record's checksum that tell it from any other.
MARK = 16
OUTCOMES = ("not_through", "singed", "dragged")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a folder's pieces. bad: by outcome, names of copies; all others were clean."""

    folder: Path
    bad: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    again: bool = False
    said: Words = field(default_factory=Words)


@dataclass(frozen=True, slots=True)
class Told:
    """What was written of one machine: pieces by outcome, and metres of its blade."""

    machine: str
    clean: int
    bad: Mapping[str, tuple[str, ...]]
    metres: float | None
    files: tuple[Path, ...]


def record_outcome(shelf: Shelf, material_id: str, outcome: Outcome) -> tuple[Told, ...]:
    """Writes a result for each machine that cut this material, and its blade's metres.

    Raises Refused, CommandError.
    """
    made = read_record(outcome.folder)
    material = shelf.material(material_id)
    sheets = {s.number: s.machine for s in made.sheets if s.material == material.id}
    if not sheets:
        there = ", ".join(dict.fromkeys(s.material for s in made.sheets))
        raise CommandError(f"{outcome.folder} cuts no {material.id}; it cuts {there}")
    copies = {p.copy_name: sheets[p.sheet] for p in made.pieces if p.sheet in sheets}
    _check_names(outcome, copies)
    _check_once(outcome, material, made)
    told = []
    for machine_id in dict.fromkeys(sheets.values()):
        mine = [c for c, m in copies.items() if m == machine_id]
        told.append(_write(shelf, material, machine_id, made, mine, outcome))
    return tuple(told)


def read_record(folder: Path) -> Record:
    """A folder's record, as it was written. Raises Refused (V001, V002)."""
    where = "record.json"
    try:
        raw = json.loads((folder / where).read_bytes())
        made = Record.model_validate(raw)
    except (OSError, ValueError) as e:
        said = e.strerror if isinstance(e, OSError) else "no record of a cut"
        raise Refused(
            [fault("V001", where, f"can't be read ({said})", "name a cut folder")]
        ) from None
    if checksum_of(raw) != made.checksum:
        raise Refused([fault("V002", where, "was edited", "record a folder as it was cut")])
    return made


def _check_names(outcome: Outcome, copies: Mapping[str, str]) -> None:
    named = [c for names in outcome.bad.values() for c in names]
    for name in named:
        if name not in copies:
            raise CommandError(f"{name}: no such copy; there are {', '.join(list(copies)[:30])}")


def _check_once(outcome: Outcome, material: Loaded[Any], made: Record) -> None:
    mark = made.checksum[:MARK]
    if not outcome.again and any(r.record == mark for r in material.profile.result):
        what = f"the result of {made.job!r} is recorded already"
        mend = "say --again where it was cut once more"
        raise Refused([fault("J541", readable(str(outcome.folder)), readable(what), mend)])


def _write(
    shelf: Shelf,
    material: Loaded[Any],
    machine_id: str,
    made: Record,
    copies: Sequence[str],
    outcome: Outcome,
) -> Told:
    mark = made.checksum[:MARK]
    bad = {k: tuple(c for c in outcome.bad.get(k, ()) if c in copies) for k in OUTCOMES}
    clean = len(set(copies) - {c for names in bad.values() for c in names})
    result = {
        "job": readable(made.job),
        "record": mark,
        "machine": machine_id,
        "clean": clean,
        **{k: list(v) for k, v in bad.items() if v},
        **outcome.said.told,
    }
    file, folder, head = place_for(shelf, material)
    refuse_on_fault(unfit(ResultEntry, material.id, result))
    add_entries(file, folder, [("result", result)], head)
    knife = _method(made, machine_id) != "laser"
    if not knife:
        return Told(machine_id, clean, bad, None, (file,))
    metres = round(edge_metres(made, copies) * _passes(made, machine_id), 3)
    log = {"metres": metres, "job": readable(made.job), "record": mark, **outcome.said.told}
    gear = shelf.machine(machine_id)
    blade = _write_log(shelf, gear, log)
    return Told(machine_id, clean, bad, metres, (file, blade))


def _write_log(shelf: Shelf, machine: Loaded[MachineProfile], log: Mapping[str, Any]) -> Path:
    file, folder, head = place_for(shelf, machine)
    refuse_on_fault(unfit(BladeEntry, machine.id, log))
    add_entries(file, folder, [("blade_log", log)], head)
    return file


def record_blade(
    shelf: Shelf, machine_id: str, said: Words, metres: float | None, changed: str | None
) -> Path:
    """Writes metres that a blade has gone, or that it was changed (for which; may be empty)."""
    machine = shelf.machine(machine_id)
    if machine.profile.method == "laser":
        raise CommandError(f"{machine_id} is a laser: it has no blade")
    log: dict[str, Any] = {}
    if changed is not None:
        log |= {"changed": True, **({"blade": readable(changed)} if changed else {})}
    if metres is not None:
        log["metres"] = metres
    return _write_log(shelf, machine, {**log, **said.told})


def _method(made: Record, machine_id: str) -> str:
    return next((str(f.tool.get("method")) for f in made.files if f.machine == machine_id), "")


def _passes(made: Record, machine_id: str) -> int:
    tools = [f.tool for f in made.files if f.machine == machine_id]
    return int(tools[0].get("passes", 1)) if tools else 1


def edge_metres(made: Record, copies: Sequence[str]) -> float:
    """Metres of outlines, openings and slits of these copies: the way of a blade in one pass."""
    wanted = set(copies)
    paths = [
        path
        for p in made.pieces
        if p.copy_name in wanted
        for data in (p.target, *p.slits)
        for path in parse_path_data(data)
    ]
    return sum(p.length for p in paths) / 1000
