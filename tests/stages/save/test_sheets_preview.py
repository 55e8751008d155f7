"""Pictures that `--preview` writes: what is meant, as SVG or PNG, never over a stranger's file."""

from __future__ import annotations

import struct
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest
from click.testing import CliRunner
from PIL import Image

from foamwright.cli import main
from foamwright.geometry.pathdata import parse_path_data
from foamwright.stages.save.preview import SIGNATURE
from foamwright.stages.save.raster import png_of
from foamwright.stages.save.sheet_view import view_of
from foamwright.stages.save.sheets_preview import sheets_svg

from ...jobs import PAIRS, drawing
from .sheet_sample import sample

NS = "{http://www.w3.org/2000/svg}"


def picture(name: str = "Heron legs") -> str:
    record, programs = sample(name)
    return sheets_svg(view_of(record, programs, {}))


def test_every_sheet_is_drawn_as_it_lies() -> None:
    root = fromstring(picture())
    sheets = root.findall(f"{NS}svg")
    programs = sample()[1]
    assert len(sheets) == len(programs)
    bottom = 0.0
    right = 0.0
    for svg, program in zip(sheets, programs, strict=True):
        x, y, width, height = (float(svg.get(n, "0")) for n in ("x", "y", "width", "height"))
        assert x >= 0
        assert x + width <= 297
        assert x >= right or y >= bottom  # beside the one before, or below it
        right, bottom = x + width, max(bottom, y + height)
        bodies = [e for e in svg.iter(f"{NS}path") if e.get("class") == "piece"]
        for body, placed in zip(bodies, program.sheet.placements, strict=True):
            outline, _ = parse_path_data(body.get("d", ""))
            assert outline.bounds == pytest.approx(placed.piece.outline.bounds, abs=0.01)
    assert bottom <= float(root.get("height", "").removesuffix("mm"))
    titles = [e.text for e in root.iter(f"{NS}text") if e.get("class") == "head"]
    assert titles[:2] == [
        "Heron legs",
        "Sheet 1: Polyurethane foam, 25 mm on Flatbed knife, 1200 x 800 mm",
    ]


def test_its_style_needs_no_variables_and_nothing_outside() -> None:
    text = picture()
    assert "var(" not in text
    assert "CUT_OUTER { stroke: #" in text
    assert "url(" not in text
    assert "<img" not in picture("<img src=x onerror=alert(1)>")


def test_a_png_shows_the_same(tmp_path: Path) -> None:
    text = picture()
    file = tmp_path / "sheets.png"
    file.write_bytes(png_of(text))
    assert png_of(text) == file.read_bytes()
    with Image.open(file) as image:
        assert image.text["Title"] == SIGNATURE  # type: ignore[attr-defined]
        shown = image.convert("RGB")
        wide, high = shown.size
    root = fromstring(text)
    k = wide / 297
    assert high == pytest.approx(k * float(root.get("height", "").removesuffix("mm")), abs=2)
    svg = root.findall(f"{NS}svg")[0]
    left, low, across, _ = (float(v) for v in svg.get("viewBox", "").split())
    scale = float(svg.get("width", "")) / across
    placed = sample()[1][0].sheet.placements[0]
    x0, y0, x1, y1 = placed.piece.outline.bounds
    # a spot in the piece's body, halfway from its middle to its far side, and one off every piece
    for spot, ground in (
        (complex((x0 + x1) / 2, y0 + 0.8 * (y1 - y0)), (0xE4, 0xEE, 0xF4)),
        (complex(5, 5), (255, 255, 255)),
    ):
        x = float(svg.get("x", "")) + (spot.real - left) * scale
        y = float(svg.get("y", "")) + (800 - spot.imag - low) * scale
        assert shown.getpixel((round(x * k), round(y * k))) == ground


def test_a_tall_picture_stays_bounded() -> None:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="4000mm" '
        'viewBox="0 0 10 4000"><rect width="10" height="4000"/></svg>'
    )
    width, height = struct.unpack(">II", png_of(svg)[16:24])
    assert width == 20
    assert height == pytest.approx(8000, rel=0.01)


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_commands_write_them(tmp_path: Path, ending: str) -> None:
    source = str(drawing(tmp_path))
    material, machine = PAIRS["laser"]
    looked = tmp_path / f"corners.{ending}"
    ran = CliRunner().invoke(main, ["inspect", source, "--preview", str(looked)])
    assert ran.exit_code == 0, ran.stderr
    sheets = tmp_path / f"sheets.{ending}"
    words = ["cut", source, "--material", material, "--machine", machine, "--layout-time", "0"]
    words += ["--out", str(tmp_path / "out"), "--preview", str(sheets)]
    for _ in range(2):  # the second replaces the first
        ran = CliRunner().invoke(main, words)
        assert ran.exit_code == 0, ran.stderr
    for file in (looked, sheets):
        data = file.read_bytes()
        assert SIGNATURE.encode() in data
        assert data.startswith(b"\x89PNG" if ending == "png" else b"<svg")


def test_a_stranger_s_picture_is_left_alone_and_nothing_is_cut(tmp_path: Path) -> None:
    source = str(drawing(tmp_path))
    material, machine = PAIRS["laser"]
    photo = tmp_path / "photo.png"
    photo.write_bytes(b"\x89PNG somebody's")
    words = ["cut", source, "--material", material, "--machine", machine, "--layout-time", "0"]
    ran = CliRunner().invoke(
        main, [*words, "--out", str(tmp_path / "out"), "--preview", str(photo)]
    )
    assert ran.exit_code == 1
    assert "W701" in ran.stderr
    assert photo.read_bytes() == b"\x89PNG somebody's"
    assert not (tmp_path / "out" / "record.json").exists()
