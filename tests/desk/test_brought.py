"""Names are made harmless, and too much is turned away."""

from __future__ import annotations

import io
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.desk import brought
from foamwright.desk.brought import Unwelcome, harmless, unpacked, welcome


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("heron.svg", "heron.svg"),
        ("My heron.SVG", "My-heron.svg"),
        ("../../etc/passwd.svg", "passwd.svg"),
        ("C:\\drawings\\foot.dxf", "foot.dxf"),
        ("con.dxf", "con-1.dxf"),
        ("a<b>|&;.svg", "a-b.svg"),
        ("heron-legs.layout.json", "heron-legs.layout.json"),
        (".svg", "xe3b0c442.svg"),
    ],
)
def test_harmless_names(name: str, made: str) -> None:
    assert harmless(name) == made


@pytest.mark.parametrize("name", ["page.html", "x.svg.exe", "", "record.json", "x.py", "svg"])
def test_other_kinds_are_unwelcome(name: str) -> None:
    with pytest.raises(Unwelcome, match="bring an SVG or DXF"):
        harmless(name)


@settings(deadline=None, max_examples=200, derandomize=True)
@given(st.text(max_size=60))
def test_no_name_leaves_its_folder(name: str) -> None:
    made = harmless(name + ".svg")
    assert made.isascii()
    assert not set(made) & set("/\\:\0 ")
    assert not made.startswith(".")
    assert len(made) < 80


def test_bounds() -> None:
    welcome("a.svg", brought.MOST_BYTES, {})
    with pytest.raises(Unwelcome, match="20 MB at most"):
        welcome("a.svg", brought.MOST_BYTES + 1, {})
    with pytest.raises(Unwelcome, match="is empty"):
        welcome("a.svg", 0, {})
    many = {f"{n}.svg": 1 for n in range(brought.MOST_FILES)}
    with pytest.raises(Unwelcome, match="40 files"):
        welcome("a.svg", 1, many)
    welcome("7.svg", 1, many)  # in place of the one that is there
    full = {f"{n}.svg": brought.MOST_BYTES for n in range(3)}
    with pytest.raises(Unwelcome, match="all files together"):
        welcome("a.svg", 1, full)


@pytest.mark.parametrize(
    ("name", "data", "place"),
    [
        ("a.svg", b"", "a.svg"),
        ("x.layout.json", b"{}", "x.layout.json"),
        ("job.toml", b"[job]", ""),
        ("broken.toml", b"[", ""),
        ("latin.toml", b"a = '\xe9'", ""),
        ("foam.toml", b"composition = ['eva']", "profiles/materials/foam.toml"),
        ("laser.toml", b"method = 'laser'", "profiles/machines/laser.toml"),
        ("hazards.toml", b"[[rule]]", "profiles/hazards.toml"),
    ],
)
def test_a_file_tells_where_it_belongs(name: str, data: bytes, place: str) -> None:
    assert brought.place_of(name, data) == place


def packed(files: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in files.items():
            made.writestr(name, data)
    return held.getvalue()


def test_a_zip_gives_what_lies_beside_its_job_and_the_job_last() -> None:
    data = packed(
        {
            "x/job.toml": b"j",
            "x/profiles/materials/foam.toml": b"thickness = 1",
            "x/other/job.toml": b"k",
            "x/a.svg": b"a",
            "x/x.layout.json": b"{}",
            "x/cut-files/sheet.svg": b"s",
            "x/cut-files/record.json": b"r",
            "x/readme.txt": b"t",
        }
    )
    assert unpacked("x.zip", data) == (
        ("foam.toml", b"thickness = 1"),
        ("a.svg", b"a"),
        ("x.layout.json", b"{}"),
        ("job.toml", b"j"),
    )


def test_a_zip_without_a_job_gives_its_outermost_drawings() -> None:
    data = packed({"d/e/b.svg": b"b", "../../a.svg": b"a", "d/a.svg": b"A"})
    assert unpacked("x.zip", data) == (("a.svg", b"A"),)


def test_zips_that_are_broken_empty_or_too_much() -> None:
    with pytest.raises(Unwelcome, match="can't be unpacked"):
        unpacked("x.zip", b"PK nothing")
    with pytest.raises(Unwelcome, match="no drawing"):
        unpacked("x.zip", packed({"a.txt": b"a"}))
    with pytest.raises(Unwelcome, match="20 MB at most"):
        unpacked("x.zip", packed({"a.svg": bytes(brought.MOST_BYTES + 1)}))
    with pytest.raises(Unwelcome, match="40 files"):
        unpacked("x.zip", packed({f"{n}.svg": b"a" for n in range(50)}))
