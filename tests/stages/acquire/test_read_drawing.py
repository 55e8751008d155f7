"""Which reader a file gets, and files that are no drawing."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import pytest
from svg_texts import drawing, svg

from foamwright.stages import acquire
from foamwright.stages.acquire import read_drawing

DXF = (
    "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\ncut\n10\n50.0\n20\n50.0\n40\n10.0\n0\nENDSEC\n0\nEOF\n"
)
SQUARE = svg('<rect width="50" height="50"/>')


def told(file: Path, units: str | None = None) -> list[str]:
    found, findings = read_drawing(file, units)
    assert all("\n" not in f.line() for f in findings)
    return [f.code for f in findings if f.is_fault] + ["ok"] * len(found.pieces)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", ["R001"]),
        (b" \n\t ", ["R001"]),
        (b"hello", ["R002"]),
        (b"\x00\x01\x02" * 99, ["R002"]),
        (b"%PDF-1.7\n", ["R002"]),
        (gzip.compress(SQUARE.encode(), mtime=0), ["R002"]),
        (b"<html></html>", ["R002"]),
        (b"<", ["R201"]),
        (SQUARE.encode(), ["ok"]),
        (("\ufeff" + SQUARE).encode(), ["ok"]),
        (('<?xml version="1.0" encoding="UTF-16"?>' + SQUARE).encode("utf-16"), ["ok"]),
        (("<!-- x -->\n" * 9 + SQUARE).encode(), ["ok"]),
        (("  \n" + SQUARE).encode(), ["ok"]),
        (SQUARE.encode()[:-9], ["R201"]),
    ],
)
def test_by_content(tmp_path: Path, data: bytes, expected: list[str]) -> None:
    file = tmp_path / "drawing.bin"
    file.write_bytes(data)
    assert told(file) == expected


def test_a_dxf_needs_its_unit(tmp_path: Path) -> None:
    file = tmp_path / "x.svg"
    file.write_text(DXF)
    assert told(file) == ["R302"]
    assert told(file, "mm") == ["ok"]
    assert told(file, "parsec") == ["R004"]


def test_what_is_not_a_file(tmp_path: Path) -> None:
    assert told(tmp_path) == ["R001"]
    assert told(tmp_path / "none.svg") == ["R001"]
    os.mkfifo(tmp_path / "pipe.svg")
    assert told(tmp_path / "pipe.svg") == ["R001"]


def test_a_file_too_large_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(acquire, "MOST_BYTES", 50)
    file = tmp_path / "x.svg"
    file.write_text(SQUARE)
    assert told(file) == ["R001"]


@pytest.mark.parametrize("size", [0.5, 50000])
def test_a_size_in_doubt_asks_for_the_unit(tmp_path: Path, size: float) -> None:
    body = f'<rect width="{size * 96 / 25.4}" height="{size * 96 / 25.4}"/>'
    page = 'viewBox="0 0 90 90"'
    _, findings = drawing(tmp_path, svg(body, page))
    assert [f.code for f in findings if f.is_fault] == ["R005"]
    _, findings = drawing(tmp_path, svg(body, page), "px")
    assert [(f.code, f.is_fault) for f in findings] == [("R005", False)]


def test_the_drawing_knows_its_unit(tmp_path: Path) -> None:
    assert drawing(tmp_path, SQUARE)[0].unit == "mm"
    assert drawing(tmp_path, svg('<rect width="50" height="50"/>', ""))[0].unit == "px"
    assert drawing(tmp_path, svg('<rect width="50" height="50"/>', ""), "cm")[0].unit == "cm"
