"""The shipped shelf: what is on it, that each value says how it is known, that it can be cut."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.derive import settings_for, tool_for
from foamwright.findings import Refused
from foamwright.hazards import load_rules
from foamwright.profile_models import MachineProfile, MaterialProfile
from foamwright.profiles import Layer, Loaded, Shelf
from foamwright.safety import Verdict
from foamwright.shelf_folder import packaged_profiles

from .jobs import job

SHELF = Shelf((Layer("package", packaged_profiles()),))
MATERIALS = [x.id for x in SHELF.list() if x.kind == "material"]
MACHINES = [x.id for x in SHELF.list() if x.kind == "machine"]
#: What the trade's range is to hold, and a word of its composition.
RANGE = {
    "pu-foam-6mm": "polyurethane-foam", "pu-foam-12mm": "polyurethane-foam",
    "pu-foam-25mm": "polyurethane-foam", "reticulated-foam-12mm": "polyurethane-foam",
    "eva-2mm": "eva", "eva-5mm": "eva", "eva-10mm": "eva",
    "polyethylene-foam-10mm": "polyethylene-foam", "fleece-2mm": "polyester",
    "faux-fur-short-pile": "acrylic-pile", "faux-fur-long-pile": "acrylic-pile",
    "wool-felt-3mm": "wool", "acrylic-felt-1mm": "acrylic", "stabilised-cotton": "cotton",
    "muslin": "cotton", "ribbed-pile": "polyester", "card-1mm": "card",
    "corrugated-card": "corrugated-card", "vegetable-leather-2mm": "vegetable-leather",
    "vinyl-cloth": "vinyl",
}  # fmt: skip


def pairs() -> Iterator[tuple[Loaded[MaterialProfile], Loaded[MachineProfile]]]:
    for material in MATERIALS:
        for machine in MACHINES:
            yield SHELF.material(material), SHELF.machine(machine)


def test_the_trades_range_is_there() -> None:
    assert RANGE.keys() <= set(MATERIALS)
    assert {
        m: SHELF.material(m).composition
        for m in RANGE
        if RANGE[m] not in SHELF.material(m).composition
    } == {}
    methods = [SHELF.machine(m).profile.method for m in MACHINES]
    assert {m: methods.count(m) for m in methods} == {
        "laser": 2, "drag-knife": 2, "oscillating-knife": 1, "hand": 1,
    }  # fmt: skip


@pytest.mark.parametrize("profile_id", MATERIALS + MACHINES)
def test_each_value_says_how_it_is_known_and_why(profile_id: str) -> None:
    """An estimate has a reason, a published value a source; nothing packaged is measured."""
    kind = "material" if profile_id in MATERIALS else "machine"
    loaded = SHELF.material(profile_id) if kind == "material" else SHELF.machine(profile_id)
    profile = loaded.profile
    tables = [profile, *(profile.cut if isinstance(profile, MaterialProfile) else ())]
    for table in tables:
        assert table.source, profile_id
        bases = {table.basis, *table.bases.values()}
        assert "measured" not in bases
        if "estimate" in bases:
            assert re.search(r"no published|no source|no other|estimate", table.source), (
                table.source
            )
    shown = CliRunner().invoke(main, ["profile", "show", profile_id]).stdout
    assert profile.source.split()[0] in shown


def test_no_kerf_is_published_where_none_was_found() -> None:
    """For foam, fleece, fur and knives no published kerf was found."""
    for material in MATERIALS:
        for cut in SHELF.material(material).profile.cut:
            if cut.basis_of("kerf") == "published" and (cut.kerf is not None or cut.at):
                assert cut.method == "laser"
                assert material in ("museum-board", "corrugated-card")


@pytest.mark.parametrize("material", MATERIALS)
def test_each_material_can_be_cut_on_a_machine_of_the_shelf(material: str) -> None:
    cutting = []
    for stuff, gear in pairs():
        if stuff.id != material or gear.profile.method == "hand":
            continue
        try:
            cut = settings_for(gear.profile, stuff.profile)
            tool_for(gear.profile, stuff.profile, cut)
        except Refused as why:
            reasons = {f.code for f in why.findings}
            if not reasons <= {"J514", "J521", "J522"}:
                raise
            continue
        cutting.append(gear.id)
    assert cutting


def test_no_shipped_settings_are_for_what_is_forbidden() -> None:
    rules = load_rules()
    for material in MATERIALS:
        loaded = SHELF.material(material)
        for cut in loaded.profile.cut:
            verdicts = {rules.ruling(w, cut.method).verdict for w in loaded.composition}
            assert Verdict.FORBIDDEN not in verdicts, (material, cut.method)


@pytest.mark.parametrize(
    "material", [m for m in MATERIALS if m not in ("card-1mm", "museum-board")]
)
def test_each_is_planned_with_the_first_machine_that_takes_it(
    material: str, tmp_path: Path
) -> None:
    machine = "roll-drag-knife-600"
    if any(c.method == "oscillating-knife" for c in SHELF.material(material).profile.cut):
        machine = "flatbed-knife-1200"
    plate = '<g id="plate"><path d="M10 10 H70 V50 H10 Z"/></g>'
    planned = pipeline.plan(job(tmp_path, material, machine, body=plate).request)
    assert not [f for f in planned.findings if f.is_fault]
