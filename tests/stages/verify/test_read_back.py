"""The strict readers: only what is written is read, and anything else is a clear fault."""

from __future__ import annotations

import json
import pathlib
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import proof_bench as b
import pytest

from foamwright.geometry.path import Path
from foamwright.model import FileStyle
from foamwright.record import Record
from foamwright.stages.verify import verify, verify_record

BOX = b.with_slits(b.square("box", 20 + 20j, 60), Path.polygon([30 + 30j, 50 + 30j], closed=False))
CUTS = (
    b.cut(BOX, "slit:0", "CUT_SLIT", BOX.slits[0].path),
    b.outline_cut(BOX, b.rounded(20 + 20j, 60, 60, 0.1)),
)
GOOD = b.Bench((BOX,), CUTS)
PEOPLE = FileStyle(writes=("TEXT", "STOCK", "CHECK"))

STYLES = {
    "r2000 mm": FileStyle(),
    "r12 inch, zero in the middle": FileStyle(dxf="r12", dxf_units="in", origin="centre"),
    "r2000 inch, zero far right": FileStyle(dxf_units="in", origin="top-right"),
    "renamed": FileStyle(layers={"CUT_OUTER": "THROUGH", "CUT_SLIT": "KISS"}),
    "one name for two": FileStyle(layers={"CUT_OUTER": "THROUGH", "CUT_SLIT": "THROUGH"}),
    "for people": PEOPLE,
    "for people in r12": replace(PEOPLE, dxf="r12"),
}


@pytest.mark.parametrize("name", STYLES)
def test_whatever_is_written_is_read(tmp_path: pathlib.Path, name: str) -> None:
    proof, found = replace(GOOD, style=STYLES[name]).prove(tmp_path)
    assert b.faults(found) == []
    assert proof.worst_deviation_mm < 0.0015


def test_bands_repeat_the_groups(tmp_path: pathlib.Path) -> None:
    second = b.square("far", 100 + 90j, 40)
    far = b.outline_cut(second, b.rounded(100 + 90j, 40, 40, 0.1), band=1)
    bench = b.Bench((BOX, second), (*CUTS, far))
    proof, found = bench.prove(tmp_path)
    assert b.faults(found) == []
    text = (tmp_path / "job-1.svg").read_text()
    assert 'id="CUT_OUTER-2" data-operation="CUT_OUTER"' in text
    assert len(proof.pieces) == 2


SVG_FAULTS: dict[str, Callable[[str], str]] = {
    "a transform": lambda t: t.replace("<path ", '<path transform="translate(0 0)" ', 1),
    "a transform on a group": lambda t: t.replace("<g ", '<g transform="scale(1)" ', 1),
    "a style": lambda t: t.replace("<g ", "<style>path{d:none}</style><g ", 1),
    "a script": lambda t: t.replace("<g ", "<script>1</script><g ", 1),
    "a use": lambda t: t.replace("</g>", '<use href="#CUT_OUTER"/></g>', 1),
    "a shape": lambda t: t.replace("</g>", '<circle cx="1" cy="1" r="1"/></g>', 1),
    "an unknown group": lambda t: t.replace("</svg>", '<g id="MORE" data-operation="PEN"/></svg>'),
    "a group renamed": lambda t: t.replace('id="CUT_OUTER"', 'id="CUT_INNER"'),
    "an operation changed": lambda t: t.replace('operation="CUT_OUTER"', 'operation="CUT_INNER"'),
    "a relative command": lambda t: t.replace("L", "l", 1),
    "an ellipse": lambda t: t.replace("A0.1 0.1", "A0.1 0.2", 1),
    "not a number": lambda t: t.replace("L", "L nan", 1),
    "two runs in a path": lambda t: t.replace(' Z"', ' Z M0 0 L1 1"', 1),
    "a cubic": lambda t: t.replace('L50 120"', 'C31 119 40 119 50 120"', 1),
    "a document type": lambda t: t.replace("<svg", '<!DOCTYPE svg [<!ENTITY a "b">]><svg', 1),
    "cut short": lambda t: t[:-20],
    "another view": lambda t: t.replace('viewBox="0 0 200 150"', 'viewBox="0 0 100 75"'),
    "another page": lambda t: t.replace('width="200mm"', 'width="201mm"').replace(
        'viewBox="0 0 200', 'viewBox="0 0 201'
    ),
    "a text for people not named": lambda t: t.replace(
        "</svg>", '<g id="TEXT" data-operation="TEXT"><text x="1" y="1">a</text></g></svg>'
    ),
    "filled": lambda t: t.replace('fill="none"', 'fill="#000000"', 1),
    "no line": lambda t: re.sub('stroke="[^"]*"', 'stroke="none"', t, count=1),
    "a place beyond all bounds": lambda t: t.replace("L", "L1e300 ", 1),
    "a path that can't be seen": lambda t: t.replace("<path ", '<path opacity="0" ', 1),
    "a line that can't be seen": lambda t: t.replace("<g ", '<g stroke-opacity="0" ', 1),
    "a hidden group": lambda t: t.replace("<g ", '<g display="none" ', 1),
    "a line without width": lambda t: t.replace('stroke-width="0.1"', 'stroke-width="0"', 1),
    "a line of no plain colour": lambda t: re.sub(
        'stroke="#[^"]*"', 'stroke="transparent"', t, count=1
    ),
    "content that can't be seen": lambda t: t.replace(
        "</svg>", '<g opacity="0"><path d="M0 0 L9 9"/></g></svg>'
    ),
    "a style sheet beside it": lambda t: t.replace("<svg", '<?xml-stylesheet href="a"?><svg', 1),
    "a comment behind it": lambda t: t + "<!-- cut twice -->",
    "another namespace": lambda t: t.replace("<svg", '<svg xmlns:a="urn:a"', 1),
    "loose text": lambda t: t.replace("</g>", "cut twice</g>", 1),
    "empty": lambda t: "",
}


@pytest.mark.parametrize("name", SVG_FAULTS)
def test_an_svg_with_more_than_is_written_is_refused(tmp_path: pathlib.Path, name: str) -> None:
    folder = GOOD.write(tmp_path)
    b.edit(folder, "job-1.svg", SVG_FAULTS[name])
    proof, found = verify(folder)
    assert not proof.passed
    assert "V006" in {c for c, _ in b.faults(found)}
    assert all(f.where.startswith("job-1.svg") for f in found)


def _first_x(value: str) -> Callable[[str], str]:
    """The first polyline's first x made something else."""

    def change(text: str) -> str:
        head, entities = text.split("AcDbPolyline\n", maxsplit=1)
        before, after = entities.split(" 10\n", maxsplit=1)
        return f"{head}AcDbPolyline\n{before} 10\n{value}\n{after.split(chr(10), maxsplit=1)[1]}"

    return change


DXF_FAULTS: dict[str, Callable[[str], str]] = {
    "another unit": lambda t: t.replace("$INSUNITS\n 70\n4\n", "$INSUNITS\n 70\n1\n"),
    "no unit": lambda t: t.replace("$INSUNITS\n 70\n4\n", "$INSUNITS\n 70\n0\n"),
    "another version": lambda t: t.replace("AC1015", "AC1018"),
    "not a number": _first_x("nan"),
    "not finite": _first_x("1e999"),
    "a word": _first_x("here"),
    "cut short": lambda t: t[: len(t) // 2],
    "empty": lambda t: "",
}


@pytest.mark.parametrize("name", DXF_FAULTS)
def test_a_dxf_with_more_than_is_written_is_refused(tmp_path: pathlib.Path, name: str) -> None:
    folder = GOOD.write(tmp_path)
    b.edit(folder, "job-1.dxf", DXF_FAULTS[name])
    proof, found = verify(folder)
    assert not proof.passed
    assert "V006" in {c for c, _ in b.faults(found)}


def _spoil(folder: pathlib.Path, change: Callable[[Any], None]) -> None:
    """Changes a DXF through its library, as another program might save it."""
    import ezdxf

    path = folder / "job-1.dxf"
    doc = ezdxf.readfile(path)  # type: ignore[attr-defined]
    change(doc)
    doc.saveas(path)
    text = path.read_text()
    b.amend(folder, lambda r: b.set_hash(r, "job-1.dxf", text))


ENTITY_FAULTS: dict[str, Callable[[Any], Any]] = {
    "a line": lambda d: d.modelspace().add_line((0, 0), (1, 1), {"layer": "CUT_OUTER"}),
    "a spline": lambda d: d.modelspace().add_spline([(0, 0), (1, 1), (2, 0)]),
    "a polyline on a stranger's layer": lambda d: d.modelspace().add_lwpolyline([(0, 0), (1, 1)]),
    "a width": lambda d: d.modelspace()[0].dxf.set("const_width", 1.0),
    "a height": lambda d: d.modelspace()[0].dxf.set("elevation", 1.0),
    "turned over": lambda d: d.modelspace()[0].dxf.set("extrusion", (0, 0, -1)),
    "on paper": lambda d: d.layout("Layout1").add_line((0, 0), (1, 1)),
    "a text": lambda d: d.modelspace().add_text("a", dxfattribs={"layer": "CUT_OUTER"}),
    "out of sight": lambda d: d.modelspace()[0].dxf.set("invisible", 1),
    "a layer that is off": lambda d: d.layers.get("CUT_OUTER").off(),
    "a layer that is frozen": lambda d: d.layers.get("CUT_OUTER").freeze(),
    "a layer that is not plotted": lambda d: d.layers.get("CUT_OUTER").dxf.set("plot", 0),
    "a block with a line": lambda d: d.blocks.new("more").add_line((0, 0), (9, 9)),
    "another program's data": lambda d: (
        d.appids.new("MORE"),
        d.modelspace()[0].set_xdata("MORE", [(1000, "cut twice")]),
    ),
}


@pytest.mark.parametrize("name", ENTITY_FAULTS)
def test_a_dxf_entity_that_is_not_written_is_refused(tmp_path: pathlib.Path, name: str) -> None:
    folder = GOOD.write(tmp_path)
    _spoil(folder, ENTITY_FAULTS[name])
    _, found = verify(folder)
    assert {c for c, _ in b.faults(found)} == {"V006"}


def test_a_line_for_people_through_a_piece_is_refused(tmp_path: pathlib.Path) -> None:
    folder = replace(GOOD, style=PEOPLE).write(tmp_path)
    text = (folder / "job-1.svg").read_text()
    start = text.index("<path", text.index('id="CHECK"'))
    line = text[start : text.index("\n", start)]
    b.edit(folder, "job-1.svg", lambda t: t.replace(line, '<path d="M0 100 L99 100"/>'))
    _, found = verify(folder)
    assert set(b.faults(found)) == {("V019", ""), ("V008", "box/drawn/1")}


RECORD_FAULTS: dict[str, tuple[Callable[[dict[str, Any]], Any], str]] = {
    "edited": (lambda r: r.update(job="another"), "V002"),
    "an unknown key": (lambda r: r.update(more=1), "V001"),
    "no pieces": (lambda r: r.pop("pieces"), "V001"),
    "a path out of the folder": (
        lambda r: r["files"][0].update(name="../job-1.dxf"),
        "V003",
    ),
    "a sheet twice": (lambda r: r["sheets"].append(r["sheets"][0]), "V003"),
    "no such sheet": (lambda r: r["files"][0].update(sheet=7), "V003"),
    "a broken target": (lambda r: r["pieces"][0].update(target="M0 0 L1 1"), "V020"),
    "a target that crosses itself": (
        lambda r: r["pieces"][0].update(target="M20 20 L80 80 L80 20 L20 80 Z"),
        "V020",
    ),
    "a piece left out": (lambda r: r["pieces"].clear(), "V003"),
    "an unknown tool": (lambda r: r["files"][0]["tool"].update(method="axe"), "V003"),
    "another tool": (lambda r: r["files"][0]["tool"].update(kerf=0.3), "V008"),
    "a target moved": (
        lambda r: r["pieces"][0].update(target="M20 20 L80.2 20 L80 80 L20 80 Z"),
        "V008",
    ),
}


@pytest.mark.parametrize("name", RECORD_FAULTS)
def test_a_record_that_was_edited_is_refused(tmp_path: pathlib.Path, name: str) -> None:
    folder = GOOD.write(tmp_path)
    change, code = RECORD_FAULTS[name]
    b.amend(folder, change, seal=code != "V002")
    proof, found = verify(folder)
    assert not proof.passed
    assert code in {c for c, _ in b.faults(found)}


@pytest.mark.parametrize("text", ["", "[]", "{", '{"time_s": NaN}', "[" * 100000])
def test_what_is_no_record_is_one_clear_fault(tmp_path: pathlib.Path, text: str) -> None:
    (tmp_path / "record.json").write_text(text)
    proof, found = verify(tmp_path)
    assert not proof.passed
    assert b.faults(found) == [("V001", "")]


def test_an_empty_folder_is_one_clear_fault(tmp_path: pathlib.Path) -> None:
    proof, found = verify(tmp_path)
    assert (proof.passed, b.faults(found)) == (False, [("V001", "")])


def test_a_record_is_proven_without_a_folder_too(tmp_path: pathlib.Path) -> None:
    folder = GOOD.write(tmp_path)
    record = Record.model_validate(json.loads((folder / "record.json").read_text()))
    texts = {f.name: (folder / f.name).read_bytes() for f in record.files}
    assert verify_record(record, texts) == verify(folder)
    assert verify_record(record, texts)[0].passed
    # the proof fits into the record and the record's text
    proven = record.model_copy(update={"verification": verify_record(record, texts)[0]})
    (folder / "record.json").write_text(proven.to_text())
    assert verify(folder)[0].passed
