"""The written DXF: the contract's lines, one by one, judged from its bare group codes.

The pairs of code and value are taken apart here (DXF reference, "ASCII DXF files"); other readers
are in test_readers.py.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import pytest

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic
from foamwright.model import OPERATIONS, FileStyle, Program
from foamwright.stages.save.dxf import dxf_text, file_origin, nearest_index, plain_text
from foamwright.stages.save.layers import COLOURS
from tests.stages.save.programs import (
    ALL_FOR_PEOPLE,
    assert_golden,
    program,
    third_of_circle,
    with_cut,
)
from tests.stages.save.test_svg import HOSTILE, run_seeded

R12, R2000 = FileStyle(dxf="r12"), FileStyle(dxf="r2000")
STYLES = [R12, R2000]
BOTH = pytest.mark.parametrize("style", STYLES, ids=lambda s: s.dxf)
Pair = tuple[int, str]
#: tan(120 / 4): the bulge of an arc of 120 degrees (DXF reference, LWPOLYLINE group 42).
WIDEST = math.tan(math.radians(30))


def pairs(text: str) -> list[Pair]:
    lines = text.split("\n")
    assert lines[-1] == ""
    codes, values = lines[:-1:2], lines[1::2]
    return [(int(c), v) for c, v in zip(codes, values, strict=True)]


def section(text: str, name: str) -> list[Pair]:
    found = pairs(text)
    start = found.index((2, name))
    return found[start + 1 : found.index((0, "ENDSEC"), start)]


def header(text: str) -> dict[str, list[str]]:
    values: dict[str, list[str]] = {}
    name = ""
    for code, value in section(text, "HEADER"):
        if code == 9:
            name = value
            values[name] = []
        else:
            values[name].append(value)
    return values


@dataclass
class Entity:
    """Of one entity: kind, layer, closed, vertices as x, y, bulge; what else it bears."""

    kind: str
    layer: str = ""
    closed: bool = False
    vertices: list[list[float]] = field(default_factory=list)
    codes: dict[int, str] = field(default_factory=dict)


def entities(text: str) -> list[Entity]:
    """The model space's entities; an R12 polyline with its vertices as one."""
    made: list[Entity] = []
    for chunk in _chunks(section(text, "ENTITIES")):
        kind = chunk[0][1]
        if kind == "SEQEND":
            continue
        if kind == "VERTEX":
            into = made[-1]
            assert dict(chunk)[8] == into.layer
        else:
            into = Entity(kind, dict(chunk)[8])
            into.closed = int(dict(chunk).get(70, 0)) == 1
            into.codes = dict(chunk)
            made.append(into)
        if kind in ("VERTEX", "LWPOLYLINE"):
            for code, value in chunk:
                if code == 10:
                    into.vertices.append([float(value), 0.0, 0.0])
                elif code in (20, 42):
                    into.vertices[-1][1 if code == 20 else 2] = float(value)
    return made


def _chunks(found: list[Pair]) -> Iterator[list[Pair]]:
    starts = [i for i, (code, _) in enumerate(found) if code == 0] + [len(found)]
    for a, b in itertools.pairwise(starts):
        yield found[a:b]


def layers(text: str) -> dict[str, int]:
    """Layer names and their colours, as the table has them."""
    found = section(text, "TABLES")
    chunks = [dict(c) for c in _chunks(found) if c[0] == (0, "LAYER")]
    return {c[2]: int(c[62]) for c in chunks}


@BOTH
def test_entities_stand_in_cutting_order_on_the_operations_layers(style: FileStyle) -> None:
    made = program(("one/drawn/1", "two/drawn/1"), (200, 180))
    found = entities(dxf_text(made, style))
    kind = "POLYLINE" if style.dxf == "r12" else "LWPOLYLINE"
    assert [e.kind for e in found] == [kind] * len(made.cuts)
    assert [e.layer for e in found] == [c.operation for c in made.cuts]
    assert [e.closed for e in found] == [c.path.closed for c in made.cuts]
    for e, cut in zip(found, made.cuts, strict=True):
        assert complex(*e.vertices[0][:2]) == pytest.approx(cut.path.start, abs=1e-7)


@BOTH
def test_bands_follow_each_other_on_the_same_layers(style: FileStyle) -> None:
    made = program(("one/drawn/1", "two/drawn/1"), (200, 180), banded=True)
    text = dxf_text(made, style)
    assert [e.layer for e in entities(text)] == [*OPERATIONS, *OPERATIONS]
    assert set(OPERATIONS) <= set(layers(text)) <= {*OPERATIONS, "0", "Defpoints", "DEFPOINTS"}


@BOTH
def test_renamed_layers(style: FileStyle) -> None:
    renamed = replace(style, layers={"CUT_OUTER": "THROUGH", "CHECK": "RULER"}, writes=("CHECK",))
    text = dxf_text(program(), renamed)
    assert [e.layer for e in entities(text)] == [*OPERATIONS[:-1], "THROUGH", "RULER"]
    assert {"THROUGH", "RULER"} <= set(layers(text))
    assert not {"CUT_OUTER", "CHECK"} & set(layers(text))


@BOTH
@pytest.mark.parametrize("writes", [(), ("TEXT",), ("STOCK",), ("CHECK",), ("TEXT", "CHECK")])
def test_layers_for_people_only_where_asked_for(style: FileStyle, writes: tuple[str, ...]) -> None:
    text = dxf_text(program(), replace(style, writes=writes))
    assert [e.layer for e in entities(text)] == [*OPERATIONS, *writes]
    assert {"TEXT", "STOCK", "CHECK"} & set(layers(text)) == set(writes)


@BOTH
def test_no_room_for_a_check_line_no_layer_for_it(style: FileStyle) -> None:
    text = dxf_text(program(size=(100.0, 60.0)), replace(style, writes=("CHECK",)))
    assert "CHECK" not in layers(text)
    assert [e.layer for e in entities(text)] == [*OPERATIONS]


def test_colours_are_the_nearest_of_the_fixed_table_and_differ() -> None:
    found = layers(dxf_text(program(), R2000))
    cuts = [found[o] for o in OPERATIONS]
    assert len(set(cuts)) == len(cuts)
    assert all(1 <= c <= 255 for c in cuts)
    # pure colours have an index of their own (DXF reference, colour index)
    assert [nearest_index(c) for c in ("#FF0000", "#FFFF00", "#00FF00", "#0000FF")] == [1, 2, 3, 5]
    assert found["CUT_OUTER"] == nearest_index(COLOURS["CUT_OUTER"])
    own = layers(dxf_text(program(), FileStyle(colours={"CUT_OUTER": "#FF0000"})))
    assert own["CUT_OUTER"] == 1


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_r12_is_bare_numbers_in_the_machine_s_unit(unit: str) -> None:
    style = FileStyle(dxf="r12", dxf_units=unit)  # type: ignore[arg-type]
    text = dxf_text(program(), style)
    head = header(text)
    assert head["$ACADVER"] == ["AC1009"]
    assert not {"$INSUNITS", "$MEASUREMENT"} & set(head)
    size = 25.4 if unit == "in" else 1.0
    outer = entities(text)[-1]
    assert [v[:2] for v in outer.vertices] == [
        pytest.approx([x / size, y / size], abs=1e-7)
        for x, y in ((20, 20), (80, 20), (95, 35), (80, 50), (20, 50))
    ]


@pytest.mark.parametrize(("unit", "number"), [("mm", "4"), ("in", "1")])
def test_r2000_states_its_unit(unit: str, number: str) -> None:
    style = FileStyle(dxf="r2000", dxf_units=unit)  # type: ignore[arg-type]
    head = header(dxf_text(program(), style))
    assert head["$ACADVER"] == ["AC1015"]
    assert head["$INSUNITS"] == [number]  # 1 inch, 4 mm (DXF reference, $INSUNITS)
    assert head["$MEASUREMENT"] == ["1" if unit == "mm" else "0"]


ORIGINS = {
    "bottom-left": 0j,
    "bottom-right": 200 + 0j,
    "top-left": 120j,
    "top-right": 200 + 120j,
    "centre": 100 + 60j,
}


@BOTH
@pytest.mark.parametrize("origin", ORIGINS)
def test_the_file_s_zero_lies_where_the_machine_has_it(style: FileStyle, origin: str) -> None:
    moved = replace(style, origin=origin, writes=("STOCK",))  # type: ignore[arg-type]
    assert file_origin(program(), moved) == ORIGINS[origin]
    text = dxf_text(program(), moved)
    outer, stock = entities(text)[-2:]
    assert complex(*outer.vertices[0][:2]) == 20 + 20j - ORIGINS[origin]
    corners = [complex(*v[:2]) + ORIGINS[origin] for v in stock.vertices]
    assert corners == [0j, 200 + 0j, 200 + 120j, 120j]


@BOTH
def test_extents_are_the_sheet(style: FileStyle) -> None:
    for origin, zero in ORIGINS.items():
        head = header(dxf_text(program(), replace(style, origin=origin)))  # type: ignore[arg-type]
        low = complex(*map(float, head["$EXTMIN"][:2]))
        high = complex(*map(float, head["$EXTMAX"][:2]))
        assert (low, high) == (-zero, 200 + 120j - zero)


@BOTH
def test_arcs_are_bulges_of_at_most_120_degrees(style: FileStyle) -> None:
    found = entities(dxf_text(program(), style))
    bulges = {e.layer: [v[2] for v in e.vertices] for e in found}
    quarter = math.tan(math.radians(90) / 4)
    assert bulges["CUT_OUTER"] == pytest.approx([0, quarter, quarter, 0, 0], abs=1e-12)
    assert bulges["HOLE"] == pytest.approx([WIDEST] * 3, abs=1e-12)
    assert bulges["CUT_INNER"] == pytest.approx([-WIDEST] * 3, abs=1e-12)
    (one,) = entities(dxf_text(with_cut(third_of_circle()), style))
    assert [v[2] for v in one.vertices] == pytest.approx([WIDEST, 0], abs=1e-12)
    assert not one.closed


@BOTH
def test_numbers_are_rounded_and_never_minus_nought(style: FileStyle) -> None:
    path = Path.polygon([-1e-9 + 0j, complex(100 / 3, -1e-12), 20 + 20j])
    (one,) = entities(dxf_text(with_cut(path), style))
    assert [v[:2] for v in one.vertices] == [[0, 0], [33.3333333, 0], [20, 20]]
    assert all(math.copysign(1, x) > 0 for v in one.vertices for x in v[:2])


@BOTH
def test_a_curve_that_files_do_not_hold_is_refused(style: FileStyle) -> None:
    wave = Path.of([Cubic(10 + 10j, 20 + 30j, 30 - 10j, 40 + 10j)], False)
    with pytest.raises(GeometryError, match="neither line nor arc"):
        dxf_text(with_cut(wave), style)


@BOTH
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_only_text(style: FileStyle, name: str) -> None:
    text = dxf_text(program((name,)), replace(style, writes=("TEXT",)))
    assert text.isascii()
    assert "\r" not in text
    found = entities(text)
    assert [e.kind for e in found[:-1]] == [found[0].kind] * len(OPERATIONS)
    assert (found[-1].kind, found[-1].layer) == ("TEXT", "TEXT")
    shown = found[-1].codes[1]
    assert shown.isprintable()
    assert len(shown) <= 255
    assert dxf_text(program((name,)), style) == dxf_text(program(), style)


def test_letters_beyond_ascii_are_escaped_and_the_format_s_own_signs_broken() -> None:
    assert plain_text("Größe") == "Gr\\U+00F6\\U+00DFe"
    assert plain_text("日本") == "\\U+65E5\\U+672C"
    assert plain_text("\U0001f9a9") == "?"
    assert plain_text("^J%%c%%%d 50%") == "^ J% %c% % %d 50%"


@BOTH
def test_newlines_only_and_no_clock(style: FileStyle) -> None:
    text = dxf_text(program(), replace(style, writes=ALL_FOR_PEOPLE.writes))
    assert "\r" not in text
    assert text.endswith("  0\nEOF\n")
    head = header(text)
    dates = [v for k, v in head.items() if k.startswith(("$TDCREATE", "$TDUPDATE", "$TDU"))]
    # Julian day 2451545.0 is 1 January 2000, noon: fixed, not today
    assert all(v[0].startswith(("2451544", "2451545", "0.0")) for v in dates)
    assert "FINGERPRINT" not in text or "{0000" in head["$FINGERPRINTGUID"][0]


_AGAIN = """
import sys
from foamwright.model import FileStyle
from foamwright.stages.save.dxf import dxf_text
from tests.stages.save.programs import program
for version in ("r12", "r2000"):
    style = FileStyle(dxf=version, writes=("TEXT", "STOCK", "CHECK"))
    made = program(("a/drawn/1", "b/drawn/1"), (200, 180))
    sys.stdout.buffer.write(dxf_text(made, style).encode())
"""


def test_the_same_bytes_in_another_process() -> None:
    made: Program = program(("a/drawn/1", "b/drawn/1"), (200, 180))
    here = b"".join(
        dxf_text(made, replace(s, writes=ALL_FOR_PEOPLE.writes)).encode() for s in STYLES
    )
    for seed in ("0", "12345"):
        assert run_seeded(_AGAIN, seed) == here


@BOTH
def test_nothing_is_said_on_standard_error(style: FileStyle) -> None:
    code = (
        "from foamwright.model import FileStyle\n"
        "from foamwright.stages.save.dxf import dxf_text\n"
        "from tests.stages.save.programs import program\n"
        f"dxf_text(program(), FileStyle(dxf={style.dxf!r}))\n"
    )
    assert run_seeded(code, "0") == b""


@BOTH
def test_golden(style: FileStyle) -> None:
    """Layers and entities as text; the head of the file is the library's and changes with it."""
    text = dxf_text(program(), replace(style, writes=ALL_FOR_PEOPLE.writes))
    told = [f"LAYER {name} {colour}" for name, colour in sorted(layers(text).items())]
    told += [f"{code:3d} {value}" for code, value in section(text, "ENTITIES")]
    assert_golden(f"tab-{style.dxf}.txt", "\n".join(told) + "\n")
