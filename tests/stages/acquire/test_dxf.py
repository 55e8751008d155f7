"""Reading a whole DXF: units, layers, blocks, what is left out and told, hostile files."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from dxf_files import built, codes, faults, read, tagged

from foamwright.geometry.segments import Arc, Cubic
from foamwright.stages.acquire import dxf
from foamwright.stages.acquire.dxf_open import INSUNITS


def saved(document: Any, file: Path, insunits: int = 4) -> Path:
    document.header["$INSUNITS"] = insunits
    document.saveas(file)
    return file


# units


@pytest.mark.parametrize("code", [1, 2, 4, 5, 6, 8, 9, 10, 13, 14, 21])
def test_the_stated_unit_scales(tmp_path: Path, code: int) -> None:
    name, size = INSUNITS[code]
    width = 100 / size
    draw_square = [(0, 0), (width, 0), (width, width), (0, width)]
    file = built(
        tmp_path / "a.dxf", lambda m: m.add_lwpolyline(draw_square, close=True), insunits=code
    )
    (shape,), findings, unit = read(file)
    assert unit == name
    assert faults(findings) == []
    assert shape.path.bounds == pytest.approx((0, 0, 100, 100))


def test_the_same_square_from_every_unit_and_from_outside(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda m: m.add_line((0, 0), (2, 0)), insunits=0)
    for unit, size in (("mm", 1), ("cm", 10), ("in", 25.4)):
        (shape,), _, told = read(file, unit)
        assert told == unit
        assert shape.path.length == pytest.approx(2 * size)


def test_no_unit_is_refused_with_the_option_that_settles_it(tmp_path: Path) -> None:
    header = (9, "$ACADVER", 1, "AC1015", 9, "$INSUNITS", 70, 0)
    line = [0, "LINE", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    shapes, (told,), unit = read(tagged(tmp_path / "a.dxf", line, header=header))
    assert (shapes, unit) == ((), "")
    assert told.line() == "fault R302 a.dxf: states no unit; say it with --units mm|in|cm"


@pytest.mark.parametrize(("flag", "system"), [(0, "inches"), (1, "metric")])
def test_the_measuring_system_is_a_hint_but_no_unit(tmp_path: Path, flag: int, system: str) -> None:
    header = (9, "$ACADVER", 1, "AC1015", 9, "$MEASUREMENT", 70, flag)
    line = [0, "LINE", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    shapes, (told,), _ = read(tagged(tmp_path / "a.dxf", line, header=header))
    assert shapes == ()
    assert f"its $MEASUREMENT says {system}" in told.what


def test_r12_states_no_unit(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda m: m.add_line((0, 0), (2, 0)), "R12", insunits=1)
    assert faults(read(file)[1]) == ["R302"]
    header = (9, "$ACADVER", 1, "AC1009", 9, "$INSUNITS", 70, 1)
    line = [0, "LINE", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    (shape,), _, unit = read(tagged(tmp_path / "b.dxf", line, header=header))
    assert (unit, shape.path.length) == ("in", pytest.approx(50.8))


def test_an_unknown_unit_code_is_refused(tmp_path: Path) -> None:
    header = (9, "$ACADVER", 1, "AC1015", 9, "$INSUNITS", 70, 77)
    line = [0, "LINE", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    _, (told,), _ = read(tagged(tmp_path / "a.dxf", line, header=header))
    assert "77" in told.what
    assert told.is_fault


def test_the_unit_asked_for_goes_before_the_file_s_and_a_finding_says_so(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda m: m.add_line((0, 0), (2, 0)))
    (shape,), (told,), unit = read(file, "in")
    assert (unit, shape.path.length) == ("in", pytest.approx(50.8))
    assert told.code == "R006"
    assert "states its unit as mm" in told.what
    assert "read in in" in told.what
    assert read(file, "mm")[1] == []


# layers and roles


def test_layers_give_groups_and_roles(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        for k, layer in enumerate(("cut", "MARK", "Slits", "fold lines", "sole", "0")):
            space.add_line((20 * k, 0), (20 * k + 10, 0), dxfattribs={"layer": layer})

    shapes, _, _ = read(built(tmp_path / "a.dxf", draw))
    assert [s.role for s in shapes] == ["cut", "mark", "slit", "fold", None, None]
    assert shapes[4].groups == ("sole",)
    assert "a.dxf LINE #" in shapes[4].where
    assert "on layer sole" in shapes[4].where


def test_hidden_layers_and_entities_are_left_out_and_counted(tmp_path: Path) -> None:
    document = ezdxf.new("R2010")
    space = document.modelspace()
    for name, k in (("off", 0), ("frozen", 1), ("unplotted", 2), ("Defpoints", 3), ("seen", 4)):
        if name not in document.layers:
            document.layers.add(name)
        space.add_line((20 * k, 0), (20 * k + 10, 0), dxfattribs={"layer": name.upper()})
    document.layers.get("off").off()
    document.layers.get("frozen").freeze()
    document.layers.get("unplotted").dxf.plot = 0
    space.add_line((0, 50), (9, 50), dxfattribs={"invisible": 1})
    shapes, (told,), _ = read(saved(document, tmp_path / "a.dxf"))
    assert [s.groups[0].lower() for s in shapes] == ["seen"]
    assert told.code == "R306"
    for part in ("1 invisible", "OFF, off", "FROZEN, frozen", "UNPLOTTED, not plotted"):
        assert part in told.what


def test_points_on_a_point_layer_are_places_without_size(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_point((3, 4), dxfattribs={"layer": "point"})
        space.add_point((5, 6), dxfattribs={"layer": "mark"})
        space.add_point((7, 8), dxfattribs={"layer": "0"})

    shapes, (told,), _ = read(built(tmp_path / "a.dxf", draw))
    assert [(s.role, s.path.start, s.path.end) for s in shapes] == [
        ("point", 3 + 4j, 3 + 4j),
        ("mark", 5 + 6j, 5 + 6j),
    ]
    assert told.code == "R305"
    assert "1 POINT" in told.what


def test_what_is_for_people_is_counted_in_one_note(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_circle((0, 0), 5)
        space.add_text("heel")
        space.add_text("toe")
        space.add_mtext("sole")
        space.add_linear_dim(base=(0, 5), p1=(0, 0), p2=(9, 0)).render()
        space.add_solid([(0, 0), (1, 0), (0, 1)])

    shapes, findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert len(shapes) == 1
    warned, noted = findings
    assert (warned.code, noted.code) == ("R310", "R305")
    assert warned.what.endswith(": 1 SOLID")
    assert noted.what.endswith("1 DIMENSION, 1 MTEXT, 2 TEXT")


def test_words_on_a_note_layer_are_notes(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_circle((0, 0), 30)
        space.add_text("  left \t foot", dxfattribs={"layer": "note"}).set_placement((3, 4))
        space.add_mtext("two\\Plines", dxfattribs={"layer": "NOTES", "insert": (5, 6)})

    shapes, findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert findings == []
    notes = [(s.title, s.path.start, s.path.length) for s in shapes if s.role == "note"]
    assert notes == [("left foot", 3 + 4j, 0), ("two lines", 5 + 6j, 0)]


def test_polylines_with_a_width_are_told(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_lwpolyline([(0, 0), (9, 0), (9, 9)], dxfattribs={"const_width": 2})
        space.add_polyline2d([(20, 0, 1, 2), (29, 0, 2, 2)], format="xyse")
        space.add_line((50, 0), (60, 0))

    shapes, (told,), _ = read(built(tmp_path / "a.dxf", draw))
    assert len(shapes) == 3
    assert told.code == "R314"
    assert "2 polylines" in told.what


def test_points_on_top_of_each_other_make_no_corner(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        spots = [(0, 0), (5, 0), (5.00001, 0.00002), (10, 0), (10, 10), (0, 10), (0, 0.00003)]
        space.add_lwpolyline(spots, close=True)

    (shape,), (told,), _ = read(built(tmp_path / "a.dxf", draw))
    assert len(shape.path.segments) == 5
    assert len(shape.path.corners) == 4
    assert shape.path.segments[-1].end == shape.path.start
    assert told.code == "R315"
    assert "2 points" in told.what


def test_a_fine_curve_is_not_worn_away(tmp_path: Path) -> None:
    """A quarter circle in steps of 0.04 micrometres: its points go, its length stays."""
    count = 4000
    turns = [math.pi / 2 * k / count for k in range(count + 1)]
    spots = [(0.1 * math.cos(a), 0.1 * math.sin(a)) for a in turns]
    file = built(tmp_path / "a.dxf", lambda m: m.add_lwpolyline(spots))
    (shape,), _, _ = read(file)
    assert shape.path.length == pytest.approx(0.05 * math.pi, rel=1e-4)
    assert (shape.path.start, shape.path.end) == (0.1, complex(*spots[-1]))


def test_a_line_there_and_back_is_one_line(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda m: m.add_lwpolyline([(0, 0), (9, 0)], close=True))
    (shape,), findings, _ = read(file)
    assert findings == []
    assert not shape.path.closed
    assert shape.path.length == 9


def test_two_arcs_between_two_points_are_an_outline(tmp_path: Path) -> None:
    spots = [(0, 0, 1), (9, 0, 1)]
    file = built(tmp_path / "a.dxf", lambda m: m.add_lwpolyline(spots, "xyb", close=True))
    (shape,), _, _ = read(file)
    assert shape.path.closed
    assert shape.path.area == pytest.approx(math.pi * 4.5**2)


def test_types_that_no_one_knows_are_counted(tmp_path: Path) -> None:
    """Such an entity has not even a layer in the library's eyes."""
    unknown = [0, "LIN", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    line = [0, "LINE", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    shapes, (told,), _ = read(tagged(tmp_path / "a.dxf", unknown, line), "mm")
    assert len(shapes) == 1
    assert told.code == "R310"
    assert "1 LIN" in told.what


# sheets


def test_a_drawing_on_paper_only_is_refused_with_the_sheet(tmp_path: Path) -> None:
    document = ezdxf.new("R2010")
    document.layout("Layout1").add_circle((0, 0), 5)
    shapes, (told,), _ = read(saved(document, tmp_path / "a.dxf"))
    assert shapes == ()
    assert (told.code, told.is_fault) == ("R304", True)
    assert "Layout1 (1)" in told.what


def test_paper_sheets_are_left_out_and_told(tmp_path: Path) -> None:
    document = ezdxf.new("R2010")
    document.layout("Layout1").add_circle((0, 0), 5)
    document.modelspace().add_circle((0, 0), 7)
    (shape,), (told,), _ = read(saved(document, tmp_path / "a.dxf"))
    assert shape.path.length == pytest.approx(14 * math.pi)
    assert told.code == "R313"


def test_an_empty_drawing_is_a_fault(tmp_path: Path) -> None:
    assert faults(read(built(tmp_path / "a.dxf", lambda m: None))[1]) == ["R304"]


# blocks


def with_block(file: Path, draw: Any, *inserts: dict[str, Any], base: Any = (0, 0)) -> Path:
    document = ezdxf.new("R2010")
    draw(document.blocks.new("SOLE", base_point=base))
    for attribs in inserts:
        at = attribs.pop("at", (0, 0))
        document.modelspace().add_blockref("SOLE", at, dxfattribs=attribs)
    return saved(document, file)


def test_a_block_is_placed_by_its_base_turned_and_scaled(tmp_path: Path) -> None:
    file = with_block(
        tmp_path / "a.dxf",
        lambda b: b.add_line((1, 1), (3, 1)),
        {"at": (100, 50), "xscale": 2, "yscale": 3, "rotation": 90, "layer": "L"},
        base=(1, 0),
    )
    (shape,), _, _ = read(file)
    assert shape.path.start == pytest.approx(97 + 50j)
    assert shape.path.end == pytest.approx(97 + 54j)
    assert shape.groups == ("L", "SOLE")
    assert "in block SOLE" in shape.where


def test_layer_nought_in_a_block_is_the_inserts_layer(tmp_path: Path) -> None:
    def draw(block: Any) -> None:
        block.add_line((0, 0), (5, 0), dxfattribs={"layer": "0"})
        block.add_line((0, 9), (5, 9), dxfattribs={"layer": "mark"})

    shapes, _, _ = read(with_block(tmp_path / "a.dxf", draw, {"layer": "cut"}))
    assert [s.role for s in shapes] == ["cut", "mark"]


def test_arcs_stay_arcs_when_mirrored_and_become_cubics_when_squeezed(tmp_path: Path) -> None:
    file = with_block(
        tmp_path / "a.dxf",
        lambda b: b.add_arc((0, 0), 10, 0, 90),
        {"xscale": -2, "yscale": 2},
        {"at": (100, 0), "xscale": 2, "yscale": 1},
        {"at": (200, 0), "extrusion": (0, 0, -1)},
    )
    mirrored, squeezed, flipped = (s.path for s in read(file)[0])
    assert [type(s) for s in mirrored.segments] == [Arc]
    assert (mirrored.start, mirrored.end) == (pytest.approx(-20), pytest.approx(20j))
    assert mirrored.segments[0].bulge == pytest.approx(-math.tan(math.pi / 8))  # type: ignore[union-attr]
    assert all(isinstance(s, Cubic) for s in squeezed.segments)
    for p in squeezed.flatten(1e-4):
        on = complex((p.real - 100) / 20, p.imag / 10)
        assert abs(abs(on) - 1) < 1e-4
    assert flipped.start == pytest.approx(-210)
    assert flipped.end == pytest.approx(-200 + 10j)


def test_arrays_step_in_the_turned_frame_unscaled(tmp_path: Path) -> None:
    file = with_block(
        tmp_path / "a.dxf",
        lambda b: b.add_circle((0, 0), 1),
        {
            "at": (10, 0),
            "rotation": 90,
            "xscale": 2,
            "yscale": 2,
            "column_count": 3,
            "row_count": 2,
            "column_spacing": 20,
            "row_spacing": 50,
        },
    )
    shapes, _, _ = read(file)
    centres = {
        complex(round(s.path.start.real, 6), round(s.path.start.imag - 2, 6)) for s in shapes
    }
    assert centres == {complex(10 - 50 * r, 20 * c) for r in (0, 1) for c in (0, 1, 2)}


def test_nested_blocks_multiply_their_maps(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    document.blocks.new("IN").add_line((0, 0), (1, 0))
    outer = document.blocks.new("OUT")
    outer.add_blockref("IN", (10, 0), dxfattribs={"rotation": 90, "xscale": 3, "yscale": 3})
    document.modelspace().add_blockref("OUT", (0, 5), dxfattribs={"xscale": -2, "yscale": 2})
    (shape,), _, _ = read(saved(document, tmp_path / "a.dxf"))
    assert shape.path.start == pytest.approx(-20 + 5j)
    assert shape.path.end == pytest.approx(-20 + 11j)
    assert shape.groups == ("0", "OUT", "IN")


def test_a_frozen_insert_hides_all_an_off_one_only_its_own_layer(tmp_path: Path) -> None:
    document = ezdxf.new("R2010")
    block = document.blocks.new("B")
    block.add_line((0, 0), (5, 0), dxfattribs={"layer": "0"})
    block.add_line((0, 9), (5, 9), dxfattribs={"layer": "own"})
    for name, k in (("ice", 0), ("dark", 1)):
        document.layers.add(name)
        document.modelspace().add_blockref("B", (50 * k, 0), dxfattribs={"layer": name})
    document.layers.get("ice").freeze()
    document.layers.get("dark").off()
    (shape,), (told,), _ = read(saved(document, tmp_path / "a.dxf"))
    assert shape.groups == ("own", "B")
    assert shape.path.start == 50 + 9j
    assert told.code == "R306"


def test_missing_blocks_and_cycles_are_faults(tmp_path: Path) -> None:
    document = ezdxf.new("R2010")
    space = document.modelspace()
    space.add_circle((0, 0), 5)
    space.add_blockref("GONE", (0, 0))
    a, b = document.blocks.new("A"), document.blocks.new("B")
    a.add_blockref("B", (1, 0))
    b.add_blockref("A", (1, 0))
    b.add_circle((0, 0), 2)
    space.add_blockref("A", (0, 0))
    shapes, findings, _ = read(saved(document, tmp_path / "a.dxf"))
    assert faults(findings) == ["R308", "R308"]
    assert "'GONE'" in findings[0].what
    assert "'A' draws itself" in findings[1].what
    assert len(shapes) == 2


def test_a_block_scaled_to_nothing_is_a_fault(tmp_path: Path) -> None:
    for scale in ("0.0", "1e-320", "nan", "1e308"):
        insert = {"xscale": 0.4375, "yscale": 0.4375}
        file = with_block(tmp_path / "a.dxf", lambda b: b.add_circle((0, 0), 1), insert)
        file.write_text(file.read_text().replace("0.4375", scale, 1))
        shapes, findings, _ = read(file)
        assert shapes == ()
        assert faults(findings)[0] in ("R308", "R307")


def test_huge_arrays_and_block_bombs_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counts = {"column_count": 32000, "row_count": 32000, "column_spacing": 1, "row_spacing": 1}
    file = with_block(tmp_path / "a.dxf", lambda b: b.add_circle((0, 0), 1), counts)
    shapes, findings, _ = read(file)
    assert shapes == ()
    assert "R308" in faults(findings)
    monkeypatch.setattr(dxf, "MOST_INSTANCES", 2000)
    document = ezdxf.new("R2000")
    document.blocks.new("B0").add_circle((0, 0), 1)
    for level in range(1, 10):
        block = document.blocks.new(f"B{level}")
        for k in range(10):
            block.add_blockref(f"B{level - 1}", (3 * k, 10 * level))
    document.modelspace().add_blockref("B9", (0, 0))
    shapes, findings, _ = read(saved(document, tmp_path / "b.dxf"))
    assert len(shapes) < 2000
    assert "R308" in faults(findings)


def test_deep_nesting_ends(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    document.blocks.new("B0").add_circle((0, 0), 1)
    for level in range(1, 200):
        document.blocks.new(f"B{level}").add_blockref(f"B{level - 1}", (0, 0))
    document.modelspace().add_blockref("B199", (0, 0))
    _, findings, _ = read(saved(document, tmp_path / "a.dxf"))
    assert "R308" in faults(findings)
    assert "nested deeper" in findings[0].what


# joining and names


def test_loose_lines_become_one_outline(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_line((0, 0), (40, 0))
        space.add_line((40, 20), (40.0000001, 0))
        space.add_arc((20, 20), 20, 0, 180)
        space.add_line((0, 20), (0, 0))

    (shape,), findings, _ = read(built(tmp_path / "a.dxf", draw))
    assert findings == []
    assert shape.path.closed
    assert abs(shape.path.area) == pytest.approx(800 + 200 * math.pi, rel=1e-7)
    assert sum(isinstance(s, Arc) for s in shape.path.segments) == 1
    assert len(shape.path.corners) == 2


def test_names_with_control_characters_are_made_plain(tmp_path: Path) -> None:
    layer = "a\x1b[31m<b>\u202e"
    line = [0, "LINE", 8, layer.encode("utf-8").decode("latin-1"), 10, 0, 20, 0, 11, 2, 21, 0]
    header = (9, "$ACADVER", 1, "AC1027", 9, "$INSUNITS", 70, 4)
    shapes, findings, _ = read(tagged(tmp_path / "a.dxf", line, header=header))
    texts = [t for s in shapes for t in (*s.groups, s.where)] + [f.line() for f in findings]
    assert texts
    assert all(t.isprintable() for t in texts)
    assert all(t.encode("utf-8") for t in texts)


def test_reading_twice_gives_the_same(tmp_path: Path) -> None:
    line = [0, "LINE", 8, "0", 10, 0, 20, 0, 11, 2, 21, 0]
    bad = [0, "LWPOLYLINE", 8, "0", 90, 2, 10, 0, 20, 0, 42, "1e12", 10, 5, 20, 5]
    file = tagged(tmp_path / "a.dxf", line, bad)
    assert read(file, "mm") == read(file, "mm")
    assert "R307" in codes(read(file, "mm")[1])
