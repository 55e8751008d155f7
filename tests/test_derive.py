"""Plain values for the stages, from profiles."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.integrate import solve_ivp

from foamwright.derive import (
    footprint_of,
    limits_for,
    run_in_length,
    settings_for,
    style_for,
    tool_for,
)
from foamwright.findings import Refused
from foamwright.job import StockSpec
from foamwright.laying import stock_for
from foamwright.model import Footprint, Stock, Tool, TrueFace
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import Layer, Shelf
from foamwright.shelf_folder import packaged_profiles


def _cut(method: str, **more: Any) -> CutSettings:
    return CutSettings.model_validate({"method": method, **more})


def _material(*cuts: CutSettings, **more: Any) -> MaterialProfile:
    plain: dict[str, Any] = {
        "id": "stuff",
        "name": "Stuff",
        "composition": ["card"],
        "composition_basis": "label",
        "thickness": 3.0,
        "stock": [{"kind": "sheet", "width": 500, "length": 400}],
        "cut": cuts,
    }
    return MaterialProfile.model_validate({**plain, **more})


def _machine(method: str, **more: Any) -> MachineProfile:
    plain: dict[str, Any] = {
        "id": "cutter",
        "name": "Cutter",
        "method": method,
        "reach": [600, 400],
        "feed": "flat",
        "max_thickness": 30,
        "applies": [],
        "marks_by": "pen",
    }
    return MachineProfile.model_validate({**plain, **more})


def _codes(machine: MachineProfile, material: MaterialProfile) -> list[str]:
    with pytest.raises(Refused) as e:
        tool_for(machine, material, material.cut[0])
    return [f.code for f in e.value.findings]


# ------------------------------------------------------------------------------------------- tools


@pytest.mark.parametrize(("thickness", "overrun"), [(3.0, 3.0), (12.7, 12.7), (25.0, 25.0)])
def test_a_blade_at_45_degrees_overruns_by_the_thickness(thickness: float, overrun: float) -> None:
    cut = _cut("oscillating-knife", edge_angle=45.0)
    tool = tool_for(_machine("oscillating-knife"), _material(cut, thickness=thickness), cut)
    assert tool.overrun == pytest.approx(overrun, abs=1e-8)


@settings(derandomize=True, deadline=None)
@given(st.floats(10, 89.9), st.floats(0.1, 30))
def test_the_overrun_is_where_the_inclined_edge_meets_the_bottom(beta: float, t: float) -> None:
    cut = _cut("oscillating-knife", edge_angle=beta)
    tool = tool_for(_machine("oscillating-knife"), _material(cut, thickness=t), cut)
    assert math.atan2(t, tool.overrun) == pytest.approx(math.radians(beta), abs=1e-6)


def test_fur_is_severed_through_its_backing_only() -> None:
    cut = _cut("oscillating-knife", edge_angle=45.0, depth=1.5)
    fur = _material(cut, thickness=40.0, backing=1.5)
    tool = tool_for(_machine("oscillating-knife"), fur, cut)
    assert tool.overrun == pytest.approx(1.5)
    laser = _cut("laser", kerf=0.2)
    assert _codes(_machine("laser"), _material(laser, thickness=40.0, backing=1.5)) == ["J521"]


def test_a_cuts_blade_goes_before_the_machines() -> None:
    cut = _cut("oscillating-knife", edge_angle=60.0, edges="double", blade_width=8.0)
    machine = _machine(
        "oscillating-knife", edge_angle=45.0, blade_width=2.0, edges="single", overlap=2.5
    )
    tool = tool_for(machine, _material(cut), cut)
    assert (tool.edges, tool.blade_width, tool.overlap) == ("double", 8.0, 2.5)
    assert tool.overrun == pytest.approx(3.0 / math.sqrt(3.0), abs=1e-8)
    assert tool_for(machine, _material(cut), _cut("oscillating-knife", edge_angle=80.0)).edges == (
        "single"
    )


def test_the_plunge_is_the_blades_section_at_the_face() -> None:
    cut = _cut("oscillating-knife", edge_angle=45.0, depth=4.0)
    wide = tool_for(_machine("oscillating-knife"), _material(cut), cut)
    assert wide.plunge == pytest.approx(4.0)
    narrow = _machine("oscillating-knife", blade_width=3.5)
    assert tool_for(narrow, _material(cut), cut).plunge == pytest.approx(3.5)


def test_an_upright_edge_is_as_wide_at_the_face_as_the_blade() -> None:
    material = _material(_cut("oscillating-knife", edge_angle=90, blade_width=6.0))
    machine = _machine("oscillating-knife")
    tool = tool_for(machine, material, material.cut[0])
    assert (tool.overrun, tool.section) == (0.0, 6.0)


@pytest.mark.parametrize(
    ("keys", "depths"),
    [
        ({}, ()),
        ({"depth": 3.5, "pass_depth": 1.5}, (1.5, 3.0, 3.5)),
        ({"depth": 3.0, "pass_depth": 1.5}, (1.5, 3.0)),
        ({"depth": 3.0, "pass_depth": 5.0}, ()),
        ({"depth": 3.3, "passes": 3}, (1.1, 2.2, 3.3)),
    ],
)
def test_a_knifes_passes_go_deeper_one_by_one(
    keys: dict[str, Any], depths: tuple[float, ...]
) -> None:
    material = _material(_cut("oscillating-knife", edge_angle=80, **keys))
    tool = tool_for(_machine("oscillating-knife"), material, material.cut[0])
    assert tool.pass_depths == pytest.approx(depths)
    assert tool.passes == max(1, len(depths))


def test_a_swivel_blades_passes_are_as_deep_unless_the_profile_says_otherwise() -> None:
    machine = _machine("drag-knife", blade_offset=0.5)
    material = _material(_cut("drag-knife", passes=2), _cut("drag-knife", machine="cutter"))
    assert tool_for(machine, material, material.cut[0]).pass_depths == ()
    assert tool_for(machine, material, material.cut[0]).passes == 2


@pytest.mark.parametrize("keys", [{"passes": 2, "pass_depth": 1.0}])
def test_depth_by_pass_and_a_count_of_passes_exclude_each_other(keys: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="pass_depth"):
        _cut("oscillating-knife", edge_angle=80, **keys)
    with pytest.raises(ValueError, match="pass_depth"):
        _cut("laser", kerf=0.1, pass_depth=1.0)


def test_stock_higher_than_the_blades_edge_is_refused_and_fur_by_its_backing() -> None:
    machine = _machine("drag-knife", blade_offset=0.5, blade_height=1.3)
    assert _codes(machine, _material(_cut("drag-knife"))) == ["J521"]
    for good in (
        _material(_cut("drag-knife"), backing=1.2),
        _material(_cut("drag-knife", blade_height=3.0)),
    ):
        assert tool_for(machine, good, good.cut[0]).method == "drag-knife"


def test_the_limit_at_the_far_face_is_the_cuts_the_machines_or_1_mm() -> None:
    machine = _machine("oscillating-knife", far_face_max=0.7)
    plain, own = (
        _material(_cut("oscillating-knife", edge_angle=80, **k))
        for k in ({}, {"far_face_max": 2.0})
    )
    assert tool_for(_machine("oscillating-knife"), plain, plain.cut[0]).far_face_max == 1.0
    assert tool_for(machine, plain, plain.cut[0]).far_face_max == 0.7
    assert tool_for(machine, own, own.cut[0]).far_face_max == 2.0


def test_what_alterations_know_of_a_blade() -> None:
    drag = Tool("drag-knife", blade_offset=0.5)
    assert footprint_of(drag) == Footprint(swing=0.5)
    unknown = Tool("drag-knife", applies=frozenset({"blade-offset"}))
    assert footprint_of(unknown).swing == 1.0
    flat = Tool("oscillating-knife", overrun=2.0, plunge=2.3, edges="double")
    assert footprint_of(flat) == Footprint(0.0, 4.6, 2.0, 2, 1.0)
    assert footprint_of(Tool("laser", kerf=0.2)) == Footprint()


def test_the_speed_is_the_least_of_those_given() -> None:
    cut = _cut("laser", kerf=0.2, speed=90.0)
    for fastest, speed in ((None, 90.0), (60.0, 60.0), (120.0, 90.0)):
        machine = _machine("laser", cut_speed_max=fastest)
        assert tool_for(machine, _material(cut), cut).cut_speed == speed


def test_a_flat_sheet_is_worked_from_its_far_side_where_the_material_asks() -> None:
    cut = _cut("laser", kerf=0.2)
    limp = _material(cut, far_first=150)
    assert tool_for(_machine("laser"), limp, cut).far_first == 150.0
    assert tool_for(_machine("laser"), _material(cut), cut).far_first is None
    assert tool_for(_machine("laser", feed="roll"), limp, cut).far_first is None
    for bad in (0, -5, "far", True):
        with pytest.raises(ValidationError, match="far_first"):
            _material(cut, far_first=bad)


def test_a_band_is_of_a_roll_only() -> None:
    cut = _cut("laser", kerf=0.2)
    assert tool_for(_machine("laser", band=250), _material(cut), cut).band is None
    assert tool_for(_machine("laser", feed="roll", band=250), _material(cut), cut).band == 250.0


@pytest.mark.parametrize(
    ("machine", "cut", "material", "codes"),
    [
        (_machine("laser"), _cut("laser"), {}, ["J523"]),
        (_machine("laser", max_thickness=2.9), _cut("laser", kerf=0.2), {}, ["J521"]),
        (_machine("laser"), _cut("laser", kerf=0.2, kerf_y=0.3), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf=0.2, kerf_x=0.2, kerf_y=0.2), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf_x=0.2), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf_x=0.0, kerf_y=0.2), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf_x=0.1, kerf_y=0.51), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf=0.2, kerf_exit=0.0), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf=0.0, kerf_exit=0.1), {}, ["J524"]),
        (_machine("laser"), _cut("laser", kerf_exit=0.1), {}, ["J523"]),
        (
            _machine("drag-knife", blade_offset=0.5),
            _cut("drag-knife", kerf_exit=0.1),
            {},
            ["J524"],
        ),
        (_machine("drag-knife"), _cut("drag-knife"), {}, ["J523"]),
        (_machine("drag-knife", blade_offset=0), _cut("drag-knife"), {}, ["J523"]),
        (_machine("drag-knife", blade_offset=0.5), _cut("drag-knife", kerf=0.1), {}, ["J524"]),
        (_machine("drag-knife", blade_offset=0.5), _cut("drag-knife", depth=2.9), {}, ["J525"]),
        (_machine("oscillating-knife"), _cut("oscillating-knife"), {}, ["J523"]),
        (
            _machine("oscillating-knife", edge_angle=45.0, blade_width=2.9),
            _cut("oscillating-knife"),
            {},
            ["J525"],
        ),
        (
            _machine("oscillating-knife", edge_angle=45.0, blade_width=5, edges="double"),
            _cut("oscillating-knife"),
            {},
            ["J525"],
        ),
        (
            _machine("drag-knife", max_thickness=1, needs_hold=["carrier"]),
            _cut("drag-knife", kerf=0.1, depth=2.0),
            {"hold": ["vacuum-film"]},
            ["J521", "J522", "J524", "J523", "J525"],
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_with_every_reason(
    machine: MachineProfile, cut: CutSettings, material: dict[str, Any], codes: list[str]
) -> None:
    assert _codes(machine, _material(cut, **material)) == codes


def test_kerfs_that_agree_are_one_kerf() -> None:
    cut = _cut("laser", kerf_x=0.2, kerf_y=0.2, kerf_exit=0.2)
    tool = tool_for(_machine("laser"), _material(cut), cut, "bottom")
    assert tool.kerf == 0.2
    assert (tool.kerf_y, tool.kerf_entry, tool.kerf_exit) == (None, None, None)


@pytest.mark.parametrize(
    ("face", "across", "along"), [("top", 0.3, 0.6), ("middle", 0.25, 0.5), ("bottom", 0.2, 0.4)]
)
def test_the_kerf_is_that_of_the_true_face(face: TrueFace, across: float, along: float) -> None:
    cut = _cut("laser", kerf_x=0.3, kerf_y=0.6, kerf_exit=0.2, clearance=1.0)
    machine, material = _machine("laser"), _material(cut)
    tool = tool_for(machine, material, cut, face)
    assert (tool.kerf, tool.kerf_y) == pytest.approx((across, along))
    assert (tool.kerf_entry, tool.kerf_exit, tool.true_face) == (0.3, 0.2, face)
    assert tool.beam.rx == pytest.approx(across / 2)
    assert tool.beam.ry == pytest.approx(along / 2)
    # room is kept for the widest kerf of any face
    assert tool.widest_kerf == pytest.approx(0.6)
    assert limits_for(machine, material, tool).clearance == pytest.approx(1.6)


def test_a_controller_that_knows_its_offset_needs_none_in_the_profile() -> None:
    cut = _cut("drag-knife")
    tool = tool_for(_machine("drag-knife", applies=["blade-offset"]), _material(cut), cut)
    assert tool.leaves_to_machine("blade-offset")


def test_cloth_that_is_not_backed_is_refused_by_a_roll_feed_even_without_settings() -> None:
    shelf = Shelf((Layer("package", packaged_profiles()),))
    roll = shelf.machine("roll-drag-knife-600").profile
    with pytest.raises(Refused) as e:
        settings_for(roll, shelf.material("fleece-2mm").profile)
    assert [f.code for f in e.value.findings] == ["J521", "J522", "J514"]
    assert "bunch under the rollers" in e.value.findings[1].what
    for backed in ("stabilised-felt-1mm", "stabilised-cotton", "card-1mm"):
        assert settings_for(roll, shelf.material(backed).profile).method == "drag-knife"


def test_every_shipped_cut_makes_a_tool_on_a_shipped_machine() -> None:
    shelf = Shelf((Layer("package", packaged_profiles()),))
    ids = {k: [x.id for x in shelf.list() if x.kind == k] for k in ("machine", "material")}
    for name in ids["material"]:
        material = shelf.material(name).profile
        made = set()
        for machine in (shelf.machine(x).profile for x in ids["machine"]):
            if any(c.method == machine.method for c in material.cut):
                tool = tool_for(machine, material, settings_for(machine, material))
                limits = limits_for(machine, material, tool)
                assert limits.clearance >= limits.edge > 0
                made.add(machine.method)
        assert made == {c.method for c in material.cut}, name


# ---------------------------------------------------------------------------------------- the rest


def test_a_lasers_cuts_stay_the_thickness_apart_unless_the_profile_says_otherwise() -> None:
    for given_, clearance in ((None, 3.2), (1.0, 1.2)):
        cut = _cut("laser", kerf=0.2, clearance=given_)
        material = _material(cut)
        machine = _machine("laser")
        limits = limits_for(machine, material, tool_for(machine, material, cut))
        assert limits.clearance == pytest.approx(clearance)
        assert limits.edge == pytest.approx(0.2)


def test_a_lead_takes_its_room_too() -> None:
    cut = _cut("laser", kerf=0.2, clearance=1.0, lead_in=4.0)
    machine, material = _machine("laser"), _material(cut)
    limits = limits_for(machine, material, tool_for(machine, material, cut))
    assert limits.clearance == limits.edge == pytest.approx(4.2)


def test_knives_keep_room_for_run_in_and_overrun() -> None:
    drag = _cut("drag-knife")
    machine, material = _machine("drag-knife", blade_offset=0.5), _material(drag)
    limits = limits_for(machine, material, tool_for(machine, material, drag))
    assert limits.edge == pytest.approx(0.5 + 3.8, abs=0.05)
    assert limits.clearance >= limits.edge + 0.5
    knife = _cut("oscillating-knife", edge_angle=45.0)
    machine, material = _machine("oscillating-knife"), _material(knife)
    limits = limits_for(machine, material, tool_for(machine, material, knife))
    assert limits.edge == pytest.approx(3.0)
    assert limits.clearance > 3.0


def test_a_rolls_reach_along_is_its_stocks_length() -> None:
    cut = _cut("laser", kerf=0.2)
    material = _material(cut, stock=[{"kind": "roll", "width": 500, "length": 2500}])
    fed = _machine("laser", feed="roll", reach=[600])
    tool = tool_for(fed, material, cut)
    assert limits_for(fed, material, tool).reach == (600.0, 2500.0)
    ours = [Stock("stuff", "roll", 500, 900), Stock("stuff", "roll", 500, 4000)]
    assert limits_for(fed, material, tool, ours).reach == (600.0, 4000.0)
    short = _machine("laser", feed="roll", reach=[600, 3000])
    assert limits_for(short, material, tool, ours).reach == (600.0, 3000.0)
    assert limits_for(_machine("laser"), material, tool, ours).reach == (600.0, 400.0)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.floats(0.1, 1.0))
def test_the_run_in_brings_a_tractrix_within_the_slack(e: float) -> None:
    """The trailing tip integrated: d theta / ds = -sin(theta) / e, from 150 degrees off."""
    s = run_in_length(e)
    way = solve_ivp(lambda _, th: -math.sin(th[0]) / e, (0, s), [math.radians(150)], rtol=1e-10)
    assert e * math.sin(way.y[0, -1]) == pytest.approx(0.002, rel=1e-4)


def test_the_run_in_at_half_a_millimetre_is_3_8_mm() -> None:
    assert run_in_length(0.5) == pytest.approx(3.8, abs=0.05)
    assert run_in_length(0.001) == 0.0


def test_the_jobs_stock_stands_in_the_place_of_the_materials() -> None:
    material = _material(_cut("laser", kerf=0.2))
    assert stock_for(material) == (Stock("stuff", "sheet", 500, 400),)
    other = StockSpec(material="other", width=1.0, length=1.0)
    assert stock_for(material, [other]) == stock_for(material)
    ours = StockSpec(material="stuff", width=300.0, length=200.0, count=2)
    assert stock_for(material, [StockSpec(material="STUFF", width=1.0, length=2.0)]) == (
        Stock("stuff", "sheet", 1, 2),
    )
    by_file = StockSpec(material="shop/stuff.toml", kind="roll", width=100.0, length=50.0)
    assert stock_for(material, [other, ours, by_file]) == (
        Stock("stuff", "sheet", 300, 200, 2),
        Stock("stuff", "roll", 100, 50),
    )


def test_the_file_style_is_the_machines() -> None:
    machine = _machine(
        "laser",
        dxf="r12",
        dxf_units="in",
        origin="centre",
        writes=["TEXT"],
        layers={"CUT_OUTER": "THROUGH"},
        colours={"PEN": "#00ff00"},
    )
    style = style_for(machine)
    assert (style.dxf, style.dxf_units, style.origin) == ("r12", "in", "centre")
    assert (style.writes, dict(style.layers)) == (("TEXT",), {"CUT_OUTER": "THROUGH"})
    assert dict(style.colours) == {"PEN": "#00FF00"}
