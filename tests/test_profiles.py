"""The shelf: layers, inheritance, origins, and the faults of profiles."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from foamwright.findings import Refused
from foamwright.profile_models import SCHEMA
from foamwright.profiles import Layer, Shelf, resolve_settings, user_folder
from foamwright.shelf_folder import packaged_profiles

FELT = """\
name = "Felt"
composition = ["wool"]
composition_basis = "label"
thickness = "1 mm"
[[stock]]
kind = "sheet"
width = "300 mm"
length = "1/2 m"
[[cut]]
method = "drag-knife"
speed = "2 in/s"
[[cut]]
method = "drag-knife"
machine = "my-plotter"
speed = "10 mm/s"
basis = "measured"
source = "our bench, 2026-03-01"
"""
PLOTTER = """\
name = "Plotter"
method = "drag-knife"
reach = ["600 mm"]
feed = "roll"
max_thickness = "1 mm"
applies = []
blade_offset = "0.5 mm"
marks_by = "pen"
"""


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """Three layers in temporary folders; the last stands for the package."""
    for layer in ("job", "user", "package"):
        for kind in ("materials", "machines"):
            (tmp_path / layer / kind).mkdir(parents=True)
    return Shelf(
        tuple(Layer(x, tmp_path / x) for x in ("job", "user", "package")),
        tmp_path,
    )


def _put(shelf: Shelf, place: str, text: str) -> None:
    layer, _, file = place.partition("/")
    (shelf.base / layer / file).write_text(text, encoding="utf-8")


def _faults(shelf: Shelf, kind: str, reference: str) -> list[str]:
    with pytest.raises(Refused) as e:
        getattr(shelf, kind)(reference)
    lines = [f.line().removeprefix("fault ") for f in e.value.findings]
    assert not any(str(shelf.base) in x or "\n" in x for x in lines)
    return lines


def test_values_are_in_millimetres_and_seconds(shelf: Shelf) -> None:
    _put(shelf, "user/materials/felt.toml", FELT)
    _put(shelf, "user/machines/my-plotter.toml", PLOTTER)
    felt, plotter = shelf.material("felt"), shelf.machine("my-plotter")
    assert (felt.id, felt.profile.id, felt.profile.thickness) == ("felt", "felt", 1.0)
    assert (felt.profile.stock[0].width, felt.profile.stock[0].length) == (300.0, 500.0)
    assert felt.profile.cut[0].speed == pytest.approx(50.8)
    assert (felt.profile.nap, felt.profile.stretch, felt.profile.turnable) == (
        "none",
        "none",
        False,
    )
    assert (plotter.profile.reach, plotter.profile.band) == ((600.0,), 300.0)
    assert felt.origin("thickness") == "user:materials/felt.toml"
    assert felt.origin("nap") == "default"


def test_the_nearest_layer_goes_first(shelf: Shelf) -> None:
    for layer in ("package", "user", "job"):
        _put(shelf, f"{layer}/materials/felt.toml", FELT.replace('"Felt"', f'"Felt of {layer}"'))
        assert shelf.material("felt").profile.name == f"Felt of {layer}"
        assert shelf.material("FELT").id == "felt"
    listed = [x for x in shelf.list() if x.kind == "material"]
    assert [(x.origin, x.hidden) for x in listed] == [
        ("job:materials/felt.toml", False),
        ("user:materials/felt.toml", True),
        ("package:materials/felt.toml", True),
    ]


def test_a_path_is_as_good_as_an_id(shelf: Shelf) -> None:
    (shelf.base / "mine.toml").write_text(FELT)
    loaded = shelf.material("mine.toml")
    assert (loaded.id, loaded.origin("name")) == ("mine", "file:mine.toml")
    assert shelf.material(str(shelf.base / "mine.toml")).profile == loaded.profile
    assert _faults(shelf, "material", "../none.toml")[0].startswith("J501 none.toml: ")


def test_the_most_specific_cut_wins(shelf: Shelf) -> None:
    _put(shelf, "user/materials/felt.toml", FELT)
    felt = shelf.material("felt").profile
    assert felt.cut_for("drag-knife", "my-plotter").speed == 10.0
    assert felt.cut_for("drag-knife", "another").speed == pytest.approx(50.8)
    with pytest.raises(Refused) as e:
        felt.cut_for("laser", "my-plotter")
    (finding,) = e.value.findings
    assert finding.code == "J514"
    assert "drag-knife on my-plotter" in finding.what
    assert 'add [[cut]] method = "laser"' in finding.mend


def test_based_on_takes_what_is_lacking_and_keeps_each_origin(shelf: Shelf) -> None:
    _put(shelf, "package/materials/felt.toml", FELT)
    ours = 'based_on = "felt"\nthickness = "1.2 mm"\n[[cut]]\nmethod = "drag-knife"\npasses = 2\n'
    _put(shelf, "user/materials/thick.toml", ours)
    thick = shelf.material("thick")
    assert (thick.profile.name, thick.profile.thickness) == ("Felt", 1.2)
    assert thick.origin("name") == "package:materials/felt.toml"
    assert thick.origin("thickness") == "user:materials/thick.toml"
    general, own = thick.profile.cut
    assert (general.passes, general.speed, general.basis) == (2, None, "estimate")
    assert own.machine == "my-plotter"
    assert thick.origin("cut.0") == "user:materials/thick.toml"
    assert thick.origin("cut.1") == "package:materials/felt.toml"
    assert [(x.id, x.origin) for x in thick.lineage] == [("felt", "package:materials/felt.toml")]


def test_layers_and_colours_are_inherited_key_by_key(shelf: Shelf) -> None:
    layers = '[layers]\nPEN = "DRAW"\nCUT_OUTER = "THROUGH"\n'
    _put(shelf, "package/machines/plotter.toml", PLOTTER + layers)
    _put(
        shelf,
        "user/machines/ours.toml",
        'based_on = "plotter"\n[layers]\nPEN = "INK"\n[colours]\nPEN = "#00ff00"\n',
    )
    ours = shelf.machine("ours")
    assert ours.profile.layers == {"PEN": "INK", "CUT_OUTER": "THROUGH"}
    assert ours.profile.colours == {"PEN": "#00FF00"}
    assert ours.origin("layers.PEN") == "user:machines/ours.toml"
    assert ours.origin("layers.CUT_OUTER") == "package:machines/plotter.toml"


def test_the_same_id_in_a_farther_layer_may_be_the_base(shelf: Shelf) -> None:
    _put(shelf, "package/materials/felt.toml", FELT)
    _put(shelf, "user/materials/felt.toml", 'based_on = "felt"\nthickness = "2 mm"\n')
    _put(shelf, "job/materials/felt.toml", 'based_on = "felt"\nname = "Ours"\n')
    felt = shelf.material("felt").profile
    assert (felt.name, felt.thickness) == ("Ours", 2.0)


def test_a_circle_and_a_missing_base_are_told(shelf: Shelf) -> None:
    _put(shelf, "user/materials/a.toml", 'based_on = "b"\n')
    _put(shelf, "user/materials/b.toml", 'based_on = "a"\n')
    _put(shelf, "user/materials/c.toml", 'name = "c"\nbased_on = "bb"\n')
    _put(shelf, "user/materials/d.toml", 'based_on = "d"\n')
    assert _faults(shelf, "material", "a") == [
        "J512 b.toml line 1 based_on: profiles are based on each other in a circle (a <- b <- a);"
        " break the circle"
    ]
    assert _faults(shelf, "material", "c") == [
        "J511 c.toml line 2 based_on: no material bb is on the shelf; did you mean b"
    ]
    assert _faults(shelf, "material", "d")[0].startswith("J511 d.toml line 1 based_on: no farther")


PVC = FELT.replace('["wool"]', '["wool", "pvc"]')


@pytest.mark.parametrize(
    ("file", "text", "reference"),
    [
        ("user/materials/cloth.toml", FELT, "cloth"),
        ("job/materials/CLOTH.toml", FELT, "cloth"),
        ("user/materials/own.toml", 'based_on = "cloth"\ncomposition = ["cotton"]\n', "own"),
        ("job/materials/cloth.toml", 'based_on = "cloth"\ncomposition = ["cotton"]\n', "cloth"),
        ("cloth.toml", FELT, "cloth.toml"),
        ("user/materials/own.toml", 'based_on = "mid"\ncomposition = ["cotton"]\n', "own"),
    ],
)
def test_words_of_a_packaged_composition_are_never_lost(
    shelf: Shelf, file: str, text: str, reference: str
) -> None:
    _put(shelf, "package/materials/cloth.toml", PVC)
    _put(shelf, "job/materials/mid.toml", 'based_on = "cloth"\ncomposition = ["linen"]\n')
    (shelf.base / file).write_text(text)
    loaded = shelf.material(reference)
    assert {"wool", "pvc"} <= set(loaded.composition)
    assert loaded.profile.composition == loaded.composition
    assert "cloth" in {x.id for x in loaded.lineage}


def test_a_users_base_keeps_the_packaged_words_of_the_id_that_it_bears(shelf: Shelf) -> None:
    _put(shelf, "package/materials/cloth.toml", PVC)
    _put(shelf, "user/materials/cloth.toml", FELT)  # shadows the packaged one, without pvc
    _put(shelf, "job/materials/own.toml", 'based_on = "cloth"\n')
    assert "pvc" in shelf.material("own").composition


def test_a_packaged_machine_keeps_its_method(shelf: Shelf) -> None:
    laser = PLOTTER.replace('"drag-knife"', '"laser"')
    _put(shelf, "package/machines/cutter.toml", laser)
    _put(shelf, "job/machines/cutter.toml", PLOTTER)
    (line,) = _faults(shelf, "machine", "cutter")
    assert line.startswith("J513 cutter.toml line 2 method: cutter is a laser in package:")
    _put(shelf, "user/machines/own.toml", 'based_on = "cutter"\nmethod = "drag-knife"\n')
    (shelf.base / "job" / "machines" / "cutter.toml").unlink()
    (line,) = _faults(shelf, "machine", "own")
    assert line.startswith("J513 own.toml line 2 method: cutter is a laser in package:")


def test_no_step_between_changes_a_machines_method(shelf: Shelf) -> None:
    _put(shelf, "package/machines/cutter.toml", PLOTTER.replace('"drag-knife"', '"laser"'))
    _put(shelf, "user/machines/mid.toml", 'based_on = "cutter"\nmethod = "drag-knife"\n')
    _put(shelf, "job/machines/own.toml", 'based_on = "mid"\n')
    (line,) = _faults(shelf, "machine", "own")
    assert line.startswith("J513 mid.toml line 2 method: cutter is a laser")


def test_all_faults_of_a_profile_come_at_once(shelf: Shelf) -> None:
    text = FELT.replace("thickness = ", "thicknes = ").replace('"300 mm"', "300")
    text = text.replace('source = "our bench, 2026-03-01"', 'air = ""').replace(
        '"label"', '"lable"'
    )
    _put(shelf, "user/materials/felt.toml", text)
    lines = _faults(shelf, "material", "felt")
    heads = {x.split(": ")[0] for x in lines}
    assert heads == {
        "J505 felt.toml line 3 composition_basis",
        "J503 felt.toml line 4 thicknes",
        "J504 felt.toml thickness",
        "J505 felt.toml line 7 [[stock]] 1.width",
        "J505 felt.toml line 17 [[cut]] 2.air",
    }
    assert any("did you mean thickness" in x for x in lines)
    assert any("has no unit" in x for x in lines)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('basis = "measured"\nsource = "our bench, 2026-03-01"', 'basis = "measured"', "a source"),
        ('machine = "my-plotter"\n', "", "two [[cut]] tables"),
        ('thickness = "1 mm"', 'thickness = "1 mm"\nbacking = "2 mm"', "backing is thicker"),
        ('thickness = "1 mm"', 'thickness = "-1 mm"', "more than nought"),
        ('thickness = "1 mm"', 'thickness = "1 mm"\nid = "x"', "the file's name is the id"),
        ('thickness = "1 mm"', 'thickness = "1 mm"\nhold = ["glue"]', "stabiliser"),
        ('speed = "10 mm/s"', 'speed = "10 mm"', "is not a rate"),
        ('speed = "10 mm/s"', 'edge_angle = "steep"', "number"),
        ('speed = "10 mm/s"', "passes = 0", "greater than or equal to 1"),
        ('composition = ["wool"]', "composition = []", "at least 1"),
        ('composition = ["wool"]', 'composition = "wool"', "list in brackets"),
    ],
)
def test_values_of_a_material_that_cannot_be(shelf: Shelf, old: str, new: str, said: str) -> None:
    assert old in FELT
    _put(shelf, "user/materials/felt.toml", FELT.replace(old, new))
    lines = _faults(shelf, "material", "felt")
    assert any(said in x for x in lines), lines


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('feed = "roll"', 'feed = "flat"', "across and along"),
        ('feed = "roll"', 'feed = "reel"', "'roll'"),
        ('reach = ["600 mm"]', 'reach = ["600 mm", "1 m", "1 m"]', "at most 2"),
        ("applies = []", 'applies = ["blade"]', "blade-offset"),
        ("applies = []", "", "required and missing"),
        ("applies = []", 'applies = []\nmargins = ["300 mm", "300 mm", "0 mm", "0 mm"]', "margins"),
        ('marks_by = "pen"', 'marks_by = "pen"\n[colours]\nPEN = "green"', "#D55E00"),
        ('marks_by = "pen"', 'marks_by = "pen"\n[layers]\nPEN = "a b"', "letters"),
        ('marks_by = "pen"', 'marks_by = "pen"\n[layers]\nPEN = "cut_outer"', "same name"),
        ('marks_by = "pen"', 'marks_by = "pen"\n[layers]\nPENCIL = "x"', "PENCIL"),
        ('marks_by = "pen"', 'marks_by = "pen"\nwrites = ["PEN"]', "'TEXT'"),
    ],
)
def test_values_of_a_machine_that_cannot_be(shelf: Shelf, old: str, new: str, said: str) -> None:
    assert old in PLOTTER
    _put(shelf, "user/machines/plotter.toml", PLOTTER.replace(old, new))
    lines = _faults(shelf, "machine", "plotter")
    assert any(said in x for x in lines), lines


def test_an_id_on_no_shelf_gets_the_nearest(shelf: Shelf) -> None:
    _put(shelf, "package/machines/plotter.toml", PLOTTER)
    assert _faults(shelf, "machine", "ploter") == [
        "J511 profiles: no machine ploter is on the shelf; did you mean plotter"
    ]
    assert shelf.missing("machine", "plotter") == ""
    assert "known are plotter" in shelf.missing("machine", "zzz")


def test_the_list_tells_what_cannot_load(shelf: Shelf) -> None:
    _put(shelf, "user/materials/bad.toml", "name = \n")
    _put(shelf, "user/materials/felt.toml", FELT)
    bad, felt = (x for x in shelf.list() if x.kind == "material")
    assert bad.fault.startswith("fault J502 bad.toml line 1")
    assert (felt.fault, felt.name) == ("", "Felt")


def test_the_record_gets_each_value_with_its_origin(shelf: Shelf) -> None:
    _put(shelf, "package/materials/felt.toml", PVC)
    _put(shelf, "user/materials/mine.toml", 'based_on = "felt"\nthickness = "2 mm"\n')
    _put(shelf, "package/machines/my-plotter.toml", PLOTTER)
    material, machine = shelf.material("mine"), shelf.machine("my-plotter")
    cut = material.profile.cut_for("drag-knife", "my-plotter")
    entries = resolve_settings(material, machine, cut)
    assert [(e.kind, e.id) for e in entries] == [("material", "mine"), ("machine", "my-plotter")]
    values = {v.key: (v.value, v.origin) for v in entries[0].values}
    assert values["thickness"] == (2.0, "user:materials/mine.toml")
    assert values["composition"] == (["wool", "pvc"], "package:materials/felt.toml")
    assert values["lineage"][0] == ["felt"]
    assert values["cut.speed"] == (10.0, "package:materials/felt.toml")
    assert values["cut.passes"] == (1, "default")
    assert values["nap"] == ("none", "default")
    assert {v.key: v.value for v in entries[1].values}["blade_offset"] == 0.5
    text = json.dumps([e.model_dump() for e in entries], allow_nan=False)
    assert str(shelf.base) not in text


def test_the_users_shelf_is_where_the_environment_says(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(tmp_path))
    assert user_folder() == tmp_path
    (tmp_path / "materials").mkdir()
    (tmp_path / "materials" / "felt.toml").write_text(FELT)
    shelf = Shelf.of(tmp_path / "job")
    assert [x.name for x in shelf.layers] == ["job", "user", "package"]
    assert shelf.material("felt").origin("name") == "user:materials/felt.toml"
    monkeypatch.delenv("FOAMWRIGHT_PROFILES")
    assert user_folder().parts[-2:] == ("foamwright", "profiles")


# ------------------------------------------------------------------------------ the shipped shelf


def test_every_shipped_profile_loads_and_says_its_schema() -> None:
    shelf = Shelf((Layer("package", packaged_profiles()),))
    listed = shelf.list()
    assert [x.fault for x in listed] == [""] * len(listed)
    assert sum(x.kind == "machine" for x in listed) >= 5
    assert sum(x.kind == "material" for x in listed) >= 5
    for file in packaged_profiles().glob("m*/*.toml"):
        assert tomllib.loads(file.read_text(encoding="utf-8"))["schema"] == SCHEMA, file.name


def test_shipped_materials_use_the_closed_list_of_words() -> None:
    hazards = tomllib.loads((packaged_profiles() / "hazards.toml").read_text(encoding="utf-8"))
    known = {w["word"] for w in hazards["word"]}
    shelf = Shelf((Layer("package", packaged_profiles()),))
    for listed in shelf.list():
        if listed.kind == "material":
            assert set(shelf.material(listed.id).composition) <= known, listed.id


def test_shipped_cuts_are_estimates_or_name_their_source() -> None:
    shelf = Shelf((Layer("package", packaged_profiles()),))
    for listed in shelf.list():
        if listed.kind != "material":
            continue
        for cut in shelf.material(listed.id).profile.cut:
            assert cut.basis == "estimate" or cut.source, listed.id
            foam_or_fleece = "foam" in listed.id or "fleece" in listed.id
            assert not (foam_or_fleece and cut.basis == "published")  # none was found
