"""What `profile` prints: the shelf, a profile layer by layer, what a bench has written into it.

As `report.py`: tables for people, data for programs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from foamwright.changes import Change
from foamwright.errors import CommandError
from foamwright.findings import Refused
from foamwright.hazards import METHODS, Rules
from foamwright.inherit import Found
from foamwright.measured import given
from foamwright.names import readable
from foamwright.profile_measured import metres_gone
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import Listed, Loaded, Shelf, cut_values
from foamwright.record import ValueEntry
from foamwright.recording import Recorded
from foamwright.report import Beams
from foamwright.safety import Use, verdicts
from foamwright.tables import new_table, plain, safe, said, terminal

#: Logs of a profile: told in their own tables.
LOGS = ("measured", "result", "blade_log")


def find_profile(shelf: Shelf, profile_id: str) -> Loaded[Any]:
    """A material or machine by id or file. Raises CommandError where neither is on the shelf."""
    missing = [shelf.missing(kind, profile_id) for kind in ("material", "machine")]
    if all(missing):
        near = [m for m in missing if "did you mean" in m]
        raise CommandError("; ".join(near or missing))
    if missing[0]:
        return shelf.machine(profile_id)
    try:
        return shelf.material(profile_id)
    except Refused:
        if missing[1] or not profile_id.endswith(".toml"):
            raise
        return shelf.machine(profile_id)


def show_shelf(listed: Sequence[Listed]) -> None:
    """Materials, then machines, each with the shelf that it stands on."""
    for kind in ("material", "machine"):
        rows = new_table(kind, "name", "shelf")
        for item in (x for x in listed if x.kind == kind):
            name = item.fault or item.name
            hidden = " (hidden by a nearer one)" if item.hidden else ""
            shelf = item.origin.partition(":")[0]
            rows.add_row(safe(item.id), safe(name) + hidden, safe(shelf))
        terminal().print(rows)
        terminal().print()


def profile_data(
    loaded: Loaded[Any],
    chain: Sequence[Found],
    beams: Beams = (),
    forced: Sequence[ValueEntry] = (),
) -> dict[str, Any]:
    """The profile's values and origins, and each layer's own, nearest first.

    in_force: the cut's values for one machine, where one was asked for.
    """
    return {
        "id": loaded.id,
        "kind": loaded.kind,
        "values": loaded.profile.model_dump(mode="json", exclude_none=True, by_alias=True),
        "origins": dict(loaded.origins),
        "layers": [{"id": x.id, "origin": x.origin, "values": _json(x.source.data)} for x in chain],
        "lineage": [plain(a) for a in loaded.lineage],
        "in_force": [plain(v) for v in forced],
        "blade": blade_data(loaded.profile) if loaded.kind == "machine" else None,
        "beam_to_expect": [{"cut": number, **plain(faces)} for number, faces in beams],
    }


def _json(value: Any) -> Any:
    """TOML's own values as JSON has them: dates as text."""
    if isinstance(value, Mapping):
        return {str(k): _json(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_json(v) for v in value]
    return value if isinstance(value, str | int | float | bool) or value is None else str(value)


def in_force(shelf: Shelf, material: Loaded[Any], machine_id: str) -> tuple[ValueEntry, ...]:
    """A material's cut as it serves on one machine. Raises Refused."""
    from foamwright.derive import settings_for

    if material.kind != "material":
        raise CommandError("--machine goes with a material")
    machine = shelf.machine(machine_id)
    return cut_values(material, machine, settings_for(machine.profile, material.profile))


def show_profile(
    loaded: Loaded[Any],
    chain: Sequence[Found],
    beams: Beams = (),
    forced: Sequence[ValueEntry] = (),
) -> None:
    """A profile's values with their basis and origin, and what each takes the place of.

    beams: what each cut's optics let expect.  forced: the cut in force on one machine.
    """
    terminal().print(f"{loaded.kind} {safe(loaded.id)}")
    if loaded.profile.source:
        terminal().print(f"{loaded.profile.basis}: {safe(loaded.profile.source)}")
    rows = new_table("key", "value", "basis", "from")
    for key, value, basis, origin in _value_rows(loaded):
        rows.add_row(safe(key), safe(value), basis, safe(origin))
        for there, hidden in _hidden(chain, key, origin):
            rows.add_row("  instead of", safe(said(_json(hidden))), "", safe(there))
    for number, faces in beams:
        width = f"{faces.entry:.2f} mm where it goes in, {faces.exit:.2f} mm where it comes out"
        told = f"{width}; no kerf: a coupon measures that"
        rows.add_row(f"cut.{number}: beam to expect", told, "calculated", "")
    terminal().print(rows)
    _show_forced(forced)
    _show_logs(loaded)


def _hidden(chain: Sequence[Found], key: str, origin: str) -> Iterable[tuple[str, Any]]:
    """What farther files give for a key whose value comes from a nearer one."""
    origins = [x.origin for x in chain]
    after = origins.index(origin) + 1 if origin in origins else len(chain)
    for found in chain[after:]:
        if key in found.source.data and key not in ("schema", "based_on"):
            yield found.origin, found.source.data[key]


def _value_rows(loaded: Loaded[Any]) -> Iterable[tuple[str, str, str, str]]:
    values = loaded.profile.model_dump(mode="json", exclude_none=True, by_alias=True)
    known = loaded.profile
    left_out = ("id", "basis", "bases", "source", *LOGS)
    for key, value in values.items():
        if key in left_out:
            continue
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for number, entry in enumerate(value):
                yield from _table_rows(loaded, key, number, entry)
        else:
            origin = loaded.origin(key)
            known_by = "" if origin == "default" or key in NAMES else known.basis_of(key)
            yield key, said(value), known_by, origin


#: Keys that say what a profile is called and how it hangs together: nothing to measure.
NAMES = ("schema", "based_on", "name", "composition", "composition_basis")


def _table_rows(
    loaded: Loaded[Any], key: str, number: int, entry: dict[str, Any]
) -> Iterable[tuple[str, str, str, str]]:
    origin = loaded.origin(f"{key}.{number}")
    if origin == "default":
        origin = loaded.origin(key)
    cut = loaded.profile.cut[number] if key == "cut" else None
    for inner, part in entry.items():
        if inner in ("basis", "bases") or part in ([], {}):
            continue
        basis = cut.basis_of(inner) if cut is not None and _is_value(cut, inner) else ""
        untold = cut is not None and inner not in cut.model_fields_set
        yield f"{key}.{number + 1}.{inner}", said(part), basis, "default" if untold else origin


def _is_value(cut: CutSettings, key: str) -> bool:
    return key in given(cut) or key in ("at", "bridges")


def _show_forced(forced: Sequence[ValueEntry]) -> None:
    if not forced:
        return
    told = {v.key: v.value for v in forced}
    bases = told.get("cut.bases") or {}
    rows = new_table("in force on this machine", "value", "basis", "from")
    for entry in forced:
        key = entry.key.removeprefix("cut.")
        if key in ("basis", "bases", "at", "source"):
            continue
        plainly = key in ("method", "machine", "tool", "operation")
        default = plainly or entry.origin == "default"
        basis = "" if default else bases.get(key, told.get("cut.basis", "estimate"))
        rows.add_row(safe(key), safe(said(entry.value)), safe(str(basis)), safe(entry.origin))
    terminal().print()
    terminal().print(rows)
    if told.get("cut.source"):
        terminal().print(safe(f"known from: {told['cut.source']}"), soft_wrap=True)


def _show_logs(loaded: Loaded[Any]) -> None:
    profile = loaded.profile
    if profile.measured:
        rows = new_table("measured", "value", "n", "spread", "±", "on", "date", "in words")
        for e in profile.measured:
            operation = "" if e.operation == "cut" else e.operation
            on = " ".join(x for x in (e.machine, e.tool, operation) if x)
            cells = (e.what, e.value, e.n or "", e.spread or "", e.expanded_uncertainty or "", on)
            words = "; ".join(x for x in (e.by, e.note) if x)
            rows.add_row(*(safe(str(c)) for c in cells), str(e.date), safe(words))
        terminal().print()
        terminal().print(rows)
    if isinstance(profile, MaterialProfile) and profile.result:
        bad = ("not_through", "singed", "dragged")
        heads = (b.replace("_", " ") for b in bad)
        rows = new_table("cut", "machine", "date", "clean", *heads, "in words")
        for r in profile.result:
            words = "; ".join(x for x in (r.by, r.note) if x)
            counts = (r.job, r.machine, r.date, r.clean, *(len(getattr(r, b)) for b in bad), words)
            rows.add_row(*(safe(str(c)) for c in counts))
        terminal().print()
        terminal().print(rows)
    if isinstance(profile, MachineProfile) and (profile.blade_life or profile.blade_log):
        terminal().print()
        terminal().print(safe(blade_data(profile)["told"]), soft_wrap=True)


def blade_data(machine: MachineProfile) -> dict[str, Any]:
    """How far the blade has gone, and how far it is to go."""
    gone = metres_gone(machine.blade_log)
    life = None if machine.blade_life is None else machine.blade_life / 1000
    changed = [e.date for e in machine.blade_log if e.changed]
    since = f" since {changed[-1]}" if changed else ""
    told = f"blade: {gone:.1f} m gone{since}"
    if life is not None:
        basis = machine.basis_of("blade_life")
        due = "due now" if gone >= life else f"due in {life - gone:.0f} m"
        told += f" of {life:g} m ({basis}); {due}"
    return {"gone_m": gone, "life_m": life, "due": life is not None and gone >= life, "told": told}


def show_changes(changed: Sequence[Change]) -> None:
    """What changed in the profiles since the folder's last cut; nothing where nothing did."""
    if not changed:
        return
    terminal().print("Changed in the profiles since this folder was last cut:")
    rows = new_table("profile", "key", "was", "now", "from")
    for c in changed:
        rows.add_row(*(safe(x) for x in (c.profile, c.key, c.was or "-", c.now or "-", c.origin)))
    terminal().print(rows)
    terminal().print()


def recorded_data(done: Recorded) -> dict[str, Any]:
    found = done.estimate
    return {
        "key": done.key,
        "value": done.value,
        "estimate": None if found is None else _json(plain(found) | _endless(found.freedom)),
        "before": done.before,
        "before_basis": done.before_basis,
        "file": str(done.file),
    }


def _endless(freedom: float) -> dict[str, Any]:
    """Endless degrees of freedom have no number in JSON."""
    return {"freedom": None} if freedom == float("inf") else {}


def recorded_line(done: Recorded) -> str:
    """The value with its uncertainty, and beside the one before, on a line."""
    found = done.estimate
    if found is None:
        return readable(f"{done.key}: {done.value}; {done.compared}")
    unit = done.value.partition(" ")[2]
    spread = f"± {found.expanded:.2g} {unit} (k = {found.factor:.2f}, {found.n} readings)"
    return readable(f"{done.key}: {done.value} {spread}; {done.compared}")


def hazard_rows(rules: Rules) -> list[dict[str, str]]:
    """Every composition word with its verdict by method."""
    return [
        {"word": w, **{m: rules.ruling(w, m).verdict.value for m in METHODS}} for w in rules.words
    ]


def material_rows(shelf: Shelf, rules: Rules) -> list[dict[str, str]]:
    """Every material of the shelf that loads, with the verdict of its worst word by method."""
    found = []
    for listed in shelf.list():
        if listed.kind == "material" and not listed.hidden and not listed.fault:
            material = shelf.material(listed.id)
            basis = material.profile.composition_basis
            told = {"material": listed.id}
            for method in METHODS:
                use = Use(listed.id, material.composition, basis, "any", method)
                told[method] = verdicts(use, rules)[0].verdict.value
            found.append(told)
    return found


def show_hazards(shelf: Shelf, rules: Rules) -> None:
    """The matrices of composition words and of materials with the methods."""
    for head, rows in (("word", hazard_rows(rules)), ("material", material_rows(shelf, rules))):
        shown = new_table("composition" if head == "word" else head, *METHODS)
        for row in rows:
            shown.add_row(safe(row[head]), *(row[m] for m in METHODS))
        terminal().print(shown)
        terminal().print()
    terminal().print("forbidden: nothing lifts it; permit: only with the site's permit in the job;")
    terminal().print(
        "ok: no rule of the sources speaks against it, which is no statement of safety"
    )
