"""Opening: what isn't DXF, what is broken and mended, old files with new entities, stated units."""

from __future__ import annotations

import io
import math
import random
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from dxf_files import built, codes, faults, read, tagged

from foamwright.geometry.segments import Cubic
from foamwright.stages.acquire.dxf_open import INSUNITS, open_dxf, stated_insunits, with_markers

LWPOLYLINE = [0, "LWPOLYLINE", 8, "CUT", 62, 3, 90, 3, 70, 1]
LWPOLYLINE += [10, 0, 20, 0, 10, 10, 20, 0, 42, 1, 10, 10, 20, 10]
SPLINE = [0, "SPLINE", 8, "MARK", 70, 8, 71, 2, 72, 6, 73, 3, 74, 0]
SPLINE += [40, 0, 40, 0, 40, 0, 40, 1, 40, 1, 40, 1, 10, 50, 20, 0, 10, 60, 20, 20, 10, 70, 20, 0]
ELLIPSE = [0, "ELLIPSE", 8, "CUT", 10, 100, 20, 0, 11, 9, 21, 0, 40, 0.5, 41, 0, 42, 6.283185307]
LINE = [0, "LINE", 8, "CUT", 10, 200, 20, 0, 11, 210, 21, 5]
ARC = [0, "ARC", 8, "CUT", 10, 300, 20, 0, 40, 5, 50, 10, 51, 100]


def marked(entity: list[object], marker: str) -> list[object]:
    return [*entity[:2], 100, "AcDbEntity", *entity[2:4], 100, marker, *entity[4:]]


@pytest.mark.parametrize("version", [None, "AC1009", "AC1015"])
@pytest.mark.parametrize("markers", [False, True])
def test_newer_entities_in_old_or_headerless_files(
    tmp_path: Path, version: str | None, markers: bool
) -> None:
    """Plain reading loses closed, layer and degree, or rejects the file."""
    rows = [LWPOLYLINE, SPLINE, ELLIPSE]
    if markers:
        names = ("AcDbPolyline", "AcDbSpline", "AcDbEllipse")
        rows = [marked(r, n) for r, n in zip(rows, names, strict=True)]
    header = () if version is None else (9, "$ACADVER", 1, version)
    file = tagged(tmp_path / "a.dxf", LINE, *rows, ARC, header=header)
    shapes, findings, _ = read(file, "mm")
    assert faults(findings) == []
    line, poly, spline, ellipse, arc = shapes
    assert line.path.end == 210 + 5j
    assert poly.path.closed
    assert poly.path.area == pytest.approx(50 + 12.5 * math.pi)
    assert spline.role == "mark"
    assert isinstance(spline.path.segments[0], Cubic)
    assert spline.path.bounds == pytest.approx((50, 0, 70, 10))
    assert ellipse.path.closed
    assert arc.path.length == pytest.approx(5 * math.pi / 2)
    told = [f for f in findings if f.code == "R301"]
    assert len(told) == (0 if markers and version == "AC1015" else 1)


def test_marked_files_of_their_own_version_are_not_touched(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda m: m.add_lwpolyline([(0, 0), (1, 0), (1, 1)]))
    data = file.read_bytes()
    assert with_markers(data) == (data, 0)


def test_extended_data_and_groups_survive_the_markers(tmp_path: Path) -> None:
    entity = [*LWPOLYLINE[:4], 102, "{ACAD_REACTORS", 330, "1A", 102, "}", *LWPOLYLINE[4:]]
    entity += [1001, "ACAD", 1000, "text"]
    shapes, findings, _ = read(tagged(tmp_path / "a.dxf", entity), "mm")
    assert faults(findings) == []
    assert shapes[0].groups == ("CUT",)
    assert shapes[0].path.closed


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_binary_files(tmp_path: Path, version: str) -> None:
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 1
    document.modelspace().add_circle((1, 2), 2)
    file = tmp_path / "a.dxf"
    document.saveas(file, fmt="bin")
    (shape,), findings, unit = read(file, "in")
    assert unit == "in"
    assert faults(findings) == []
    assert shape.path.length == pytest.approx(4 * math.pi * 25.4)
    assert stated_insunits(file.read_bytes()) == (None if version == "R12" else 1)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b" \r\n\n", "is empty"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is not a DXF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "is not a DXF"),
        (b"AutoCAD Binary DXF\r\n\x1a\x00\x00SECTION", "is broken"),
    ],
)
def test_what_cannot_be_read_is_one_fault(tmp_path: Path, data: bytes, says: str) -> None:
    file = tmp_path / "a.dxf"
    file.write_bytes(data)
    shapes, (told,), unit = read(file, "mm")
    assert (shapes, unit) == ((), "")
    assert told.code == "R001"
    assert told.is_fault
    assert says in told.what


def test_a_missing_file_and_a_folder_are_faults(tmp_path: Path) -> None:
    for file in (tmp_path / "none.dxf", tmp_path):
        _, (told,), _ = read(file, "mm")
        assert (told.code, told.is_fault) == ("R001", True)


def test_a_file_cut_short_is_mended_or_refused(tmp_path: Path) -> None:
    def draw(space: object) -> None:
        for k in range(40):
            space.add_circle((30 * k, 0), 10)  # type: ignore[attr-defined]

    whole = built(tmp_path / "whole.dxf", draw, "R2000").read_bytes()
    for share in (0.2, 0.5, 0.9, 0.97):
        file = tmp_path / "part.dxf"
        file.write_bytes(whole[: int(len(whole) * share)])
        shapes, findings, _ = read(file, "mm")
        assert faults(findings) or "R301" in codes(findings) or len(shapes) < 40
        assert all(s.path.length == pytest.approx(20 * math.pi) for s in shapes)


ODD = ("nan", "inf", "-1", "0", "1e308", "1e12", "-1e-320", "99999999", "", "abc", "AcDbLine")


def test_lines_changed_at_random_never_raise(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_lwpolyline([(0, 0, 0.3), (9, 0, 0), (9, 9, 0)], format="xyb", close=True)
        space.add_arc((50, 0), 5, 0, 100)
        space.add_ellipse((90, 0), (5, 0), 0.5)
        space.add_open_spline([(0, 50), (9, 60), (20, 30), (30, 50)])
        space.doc.blocks.new("B").add_point((1, 1), dxfattribs={"layer": "point"})
        space.add_blockref("B", (5, 5), dxfattribs={"column_count": 3})

    whole = built(tmp_path / "a.dxf", draw, "R2000").read_text().split("\n")
    start = whole.index("BLOCKS")
    chance = random.Random(5)
    file = tmp_path / "b.dxf"
    for _ in range(80):
        lines = list(whole)
        for _ in range(chance.choice((1, 2, 6))):
            at = chance.randrange(start, len(lines))
            lines[at : at + chance.choice((0, 1, 1, 2))] = [chance.choice(ODD)]
        file.write_text("\n".join(lines))
        shapes, findings, _ = read(file, "mm")
        assert all(math.isfinite(v) for s in shapes for v in s.path.bounds)
        assert shapes or faults(findings)


def test_a_file_without_its_model_space_is_broken(tmp_path: Path) -> None:
    file = built(tmp_path / "a.dxf", lambda m: m.add_circle((0, 0), 4), "R2000")
    text = file.read_text()
    at = text.index("\nLAYOUT\n")
    file.write_text(text[:at] + text[at:].replace("Model", "Other"))
    shapes, findings, _ = read(file)
    assert (shapes, faults(findings)) == ((), ["R001"])


def circle_text(tmp_path: Path) -> tuple[Path, str, str]:
    """A file with one circle of radius 4, as text up to it and from it."""
    file = built(tmp_path / "a.dxf", lambda m: m.add_circle((0, 0), 4), "R2000")
    text = file.read_text()
    at = text.index("CIRCLE", text.index("ENTITIES"))
    return file, text[:at], text[at:]


def test_what_was_mended_is_told(tmp_path: Path) -> None:
    """The end is missing and a table's handle is none: the strict reader rejects both."""
    file, head, tail = circle_text(tmp_path)
    at = head.index("TABLES")
    for text in (
        (head + tail)[: -len("  0\nEOF\n")],
        head[:at] + head[at:].replace("LAYER\n  5\n", "LAYER\n  5\nzz", 1) + tail,
    ):
        file.write_text(text)
        with pytest.raises((ezdxf.DXFError, ValueError)):
            ezdxf.readfile(file)
        shapes, (told,), _ = read(file)
        assert [s.path.length for s in shapes] == pytest.approx([8 * math.pi])
        assert (told.code, told.is_fault) == ("R301", False)
        assert "is broken" in told.what


@pytest.mark.parametrize("number", ["3,5", "4.0x", "4.O"])
def test_a_number_that_was_guessed_is_a_fault(tmp_path: Path, number: str) -> None:
    """Recovering takes 3,5 for 3: a size that no one drew."""
    file, head, tail = circle_text(tmp_path)
    file.write_text(head + tail.replace(" 40\n4.0\n", f" 40\n{number}\n", 1))
    _, findings, _ = read(file)
    assert faults(findings) == ["R301"]


def test_only_a_unit_that_stands_in_the_file_counts() -> None:
    assert stated_insunits(b"  9\r\n$INSUNITS\r\n 70\r\n     1\r\n") == 1
    assert stated_insunits(b"9\n$INSUNITS\n70\n0\n") == 0
    assert stated_insunits(b"0\nSECTION\n2\nENTITIES\n") is None


def test_units_are_those_of_the_reference() -> None:
    assert {c: INSUNITS[c][0] for c in (1, 2, 4, 5, 6, 10)} == {
        1: "in",
        2: "ft",
        4: "mm",
        5: "cm",
        6: "m",
        10: "yd",
    }
    assert INSUNITS[21][1] == pytest.approx(304.8006096012)
    assert INSUNITS[9][1] * 1000 == pytest.approx(25.4)
    assert sorted(INSUNITS) == list(range(1, 25))


def test_the_library_would_have_made_a_unit_up(tmp_path: Path) -> None:
    """Why the bytes are looked at: a headerless file reports metres."""
    file = tagged(tmp_path / "a.dxf", LINE)
    document = ezdxf.read(io.StringIO(file.read_text()))
    assert document.header["$INSUNITS"] == 6
    opened, _ = open_dxf(file)
    assert opened is not None
    assert opened.insunits is None
