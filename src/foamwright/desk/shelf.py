"""What may be chosen on the cards: the shelf's materials and machines, and how each pair stands.

Says what the profiles and the hazard rules say, in a few words; the pipeline judges.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from foamwright.asked import use_of_pair
from foamwright.derive import settings_for
from foamwright.findings import Refused
from foamwright.hazards import Rules, Verdict, load_rules
from foamwright.profile_models import MachineProfile, MaterialProfile
from foamwright.profiles import Loaded, Shelf
from foamwright.safety import verdicts

#: Words of a composition by which a maker sorts stock; what has none of these is cloth.
_FOAM = frozenset({"eva", "chloroprene"})
_FUR = frozenset({"acrylic-pile", "modacrylic"})
_BOARD = frozenset({"card", "corrugated-card", "paper", "cork"})
_LEATHER = frozenset({"chrome-leather", "vegetable-leather"})
_OTHER = frozenset({"unknown", "abs", "polycarbonate", "hdpe", "glass-fibre"})
#: How a pair is told beside its name; what no source speaks against is not told at all.
_TOLD = {
    Verdict.FORBIDDEN: "forbidden",
    Verdict.PERMIT: "only with a permit",
    Verdict.CAUTION: "with caution",
    Verdict.OK: "",
}


def kind_of(composition: Iterable[str]) -> str:
    """`foam`, `fur`, `board`, `leather`, `other` or `cloth`."""
    words = frozenset(composition)
    if words & _FOAM or any(w.endswith("-foam") for w in words):
        return "foam"
    groups = (("fur", _FUR), ("board", _BOARD), ("leather", _LEATHER), ("other", _OTHER))
    return next((kind for kind, of in groups if words & of), "cloth")


def shelf_data(shelf: Shelf) -> dict[str, Any]:
    """Materials, machines and pairs, as plain data; profiles with faults are left out."""
    materials = [_loaded(shelf, "material", i) for i in _ids(shelf, "material")]
    machines = [_loaded(shelf, "machine", i) for i in _ids(shelf, "machine")]
    gear = [m for m in machines if m is not None]
    rules = load_rules(shelf.folders)
    return {
        "materials": [_material(m) for m in materials if m is not None],
        "machines": [_machine(m) for m in gear],
        "pairs": {
            m.id: {g.id: pair_told(m, g, rules) for g in gear} for m in materials if m is not None
        },
    }


def _ids(shelf: Shelf, kind: str) -> list[str]:
    return [x.id for x in shelf.list() if x.kind == kind and not x.hidden and not x.fault]


def _loaded(shelf: Shelf, kind: str, profile_id: str) -> Loaded[Any] | None:
    try:
        return shelf.material(profile_id) if kind == "material" else shelf.machine(profile_id)
    except Refused:
        return None


def _material(loaded: Loaded[MaterialProfile]) -> dict[str, Any]:
    profile = loaded.profile
    return {
        "id": loaded.id,
        "name": profile.name,
        "kind": kind_of(loaded.composition),
        "composition": list(loaded.composition),
        "thickness_mm": profile.thickness,
        "stock": [{"kind": s.kind, "width": s.width, "length": s.length} for s in profile.stock],
        "nap": profile.nap,
        "stretch": profile.stretch,
    }


def _machine(loaded: Loaded[MachineProfile]) -> dict[str, Any]:
    return {"id": loaded.id, "name": loaded.profile.name, "method": loaded.profile.method}


def pair_told(
    material: Loaded[MaterialProfile], machine: Loaded[MachineProfile], rules: Rules
) -> str:
    """How a material stands on a machine, in a few words; empty: nothing speaks against it."""
    found = verdicts(use_of_pair(material, machine), rules)
    worst = found[0].verdict if found else Verdict.OK
    if worst is Verdict.FORBIDDEN or machine.profile.method == "hand":
        return _TOLD[worst]  # what is cut by hand needs no settings
    try:
        settings_for(machine.profile, material.profile)
    except Refused as why:
        return "no settings" if why.findings[0].code == "J514" else "does not fit"
    return _TOLD[worst]
