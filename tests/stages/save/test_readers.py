"""Written files seen by readers from outside: GDAL and ezdxf for DXF, Chromium and svgpathtools
for SVG.

Every run of the heron's sheets: its boxes in both files agree with the program's and with each
other within a thousandth of a millimetre (the contract asks for a hundredth), its lengths within
what each reader itself makes of arcs: 3 in 10,000 at most.
"""

from __future__ import annotations

import itertools
import math
import pathlib
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import ezdxf
import ezdxf.path
import pyogrio
import pytest
import shapely
import svgpathtools
from lxml import etree

from foamwright.finishing import Result
from foamwright.geometry.pathdata import parse_path_data
from foamwright.model import FileStyle, Program
from foamwright.pipeline import Request, cut
from foamwright.record import FileEntry, PieceEntry
from foamwright.stages.save.dxf import dxf_text, file_origin
from foamwright.stages.save.svg import svg_text
from tests.browser import evaluate
from tests.stages.save.programs import ALL_FOR_PEOPLE, program

HERON = pathlib.Path(__file__).parents[3] / "examples" / "heron"
#: How far two readers' boxes of one run may differ, mm (measured: 0.0005 at most).
BOX = 0.001
#: How far a file's box may be off what the record's target asks for: the chain's limit, mm.
CHAIN = 0.01
#: How far a browser's lengths may differ, as a part (measured: 6e-5 at most).
BROWSER = 3e-4
#: How far ezdxf's lengths may differ, as a part: it makes Bezier curves of arcs (measured: 5e-5).
BEZIERS = 1e-4
#: How far the others' lengths may differ, as a part (measured: 3e-7 at most).
LENGTH = 2e-6
#: Degrees between GDAL's points on an arc.
STEP = 0.1
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Seen:
    """One run as a reader has it: its layer or group, its box in sheet mm, its length in mm."""

    layer: str
    box: Box
    length: float


@dataclass(frozen=True)
class Frame:
    """From a file to its sheet: mm in a unit, the file's zero, whether its y runs down."""

    scale: float
    zero: complex
    down: bool = False

    def box(self, low: complex, high: complex) -> Box:
        a, b = self._at(low), self._at(high)
        return (
            min(a.real, b.real),
            min(a.imag, b.imag),
            max(a.real, b.real),
            max(a.imag, b.imag),
        )

    def _at(self, p: complex) -> complex:
        return self.zero + self.scale * (p.conjugate() if self.down else p)


def frame_of(entry: FileEntry) -> Frame:
    return Frame(entry.scale, complex(*entry.origin), entry.format == "svg")


# The readers


def by_gdal(file: pathlib.Path, frame: Frame) -> list[Seen]:
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": str(STEP)})
    _, _, shapes, fields = pyogrio.raw.read(file, columns=["Layer"])
    lines = shapely.force_2d(shapely.from_wkb(shapes))
    seen = []
    for line, layer in zip(lines, fields[0], strict=True):
        x0, y0, x1, y1 = line.bounds
        box = frame.box(complex(x0, y0), complex(x1, y1))
        whole = shapely.boundary(line) if line.geom_type == "Polygon" else line
        seen.append(Seen(layer, box, whole.length * frame.scale))
    return seen


def by_ezdxf(file: pathlib.Path, frame: Frame) -> list[Seen]:
    """The library's own reading: the writer is the same library, its flattening is not."""
    seen = []
    for entity in ezdxf.readfile(file).modelspace():
        if entity.dxftype() == "TEXT":
            continue
        path = ezdxf.path.make_path(entity)
        points = [complex(p.x, p.y) for p in path.flattening(2e-5 / frame.scale)]
        low = complex(min(p.real for p in points), min(p.imag for p in points))
        high = complex(max(p.real for p in points), max(p.imag for p in points))
        length = math.fsum(abs(b - a) for a, b in itertools.pairwise(points))
        seen.append(Seen(entity.dxf.layer, frame.box(low, high), length * frame.scale))
    return seen


_MEASURE = """
const px = 96 / 25.4, out = [];
for (const text of DATA) {
  const root = document.importNode(
    new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
  document.body.append(root);
  const page = root.getBoundingClientRect();
  const runs = [...root.querySelectorAll("path")].map(p => {
    const b = p.getBBox();
    return [p.parentNode.id, p.getTotalLength(), b.x, b.y, b.width, b.height];
  });
  out.push({width: page.width / px, height: page.height / px, runs});
  root.remove();
}
return out;
"""


def by_browser(files: Sequence[pathlib.Path]) -> list[dict[str, Any]]:
    """Each SVG shown in a page: its size there in mm, and its paths as the browser has them."""
    answer: list[dict[str, Any]] = evaluate(_MEASURE, [f.read_text("utf-8") for f in files])
    return answer


def seen_in(page: dict[str, Any], frame: Frame) -> list[Seen]:
    return [
        Seen(layer, frame.box(complex(x, y), complex(x + w, y + h)), length)
        for layer, length, x, y, w, h in page["runs"]
    ]


def by_svgpathtools(file: pathlib.Path, frame: Frame) -> list[Seen]:
    seen = []
    for element in etree.parse(file).iter("{*}path"):
        path = svgpathtools.parse_path(element.get("d"))
        x0, x1, y0, y1 = path.bbox()
        box = frame.box(complex(x0, y0), complex(x1, y1))
        seen.append(Seen(element.getparent().get("id"), box, path.length(error=1e-6)))
    return seen


def by_program(made: Program) -> list[Seen]:
    return [Seen(c.operation, c.path.bounds, c.path.length) for c in made.cuts]


def assert_agree(
    found: Sequence[Seen], wanted: Sequence[Seen], who: str, length: float = LENGTH
) -> None:
    assert [f.layer for f in found] == [w.layer for w in wanted], who
    for k, (f, w) in enumerate(zip(found, wanted, strict=True)):
        off = max(abs(a - b) for a, b in zip(f.box, w.box, strict=True))
        assert off <= BOX, f"{who}: run {k} of {w.layer} is {off:.4f} mm off"
        assert f.length == pytest.approx(w.length, rel=length, abs=1e-5), f"{who}: run {k}"


# The heron


@pytest.fixture(scope="module")
def heron(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, pathlib.Path]:
    base = tmp_path_factory.mktemp("heron")
    shutil.copytree(HERON, base / "job", ignore=shutil.ignore_patterns("*.layout.json"))
    out = base / "out"
    return cut(Request.of(base / "job" / "job.toml", layout_time=1), out), out


@pytest.fixture(scope="module")
def pages(heron: tuple[Result, pathlib.Path]) -> dict[str, dict[str, Any]]:
    result, out = heron
    names = [f.name for f in result.record.files if f.format == "svg"]
    return dict(zip(names, by_browser([out / n for n in names]), strict=True))


def sheets(
    heron: tuple[Result, pathlib.Path],
) -> Iterator[tuple[Program, FileEntry, FileEntry, pathlib.Path]]:
    result, out = heron
    for _, made in result.plan.programs:
        dxf, svg = (f for f in result.record.files if f.sheet == made.sheet.number)
        yield made, dxf, svg, out


def cuts_only(seen: Sequence[Seen], entry: FileEntry) -> list[Seen]:
    """Without what is for people; layers by the operation that they stand for."""
    people = ("TEXT", "STOCK", "CHECK")
    by_name = {name: op for op, name in entry.layers.items()}
    named = [(by_name[s.layer.rstrip("-0123456789")], s) for s in seen]
    return [Seen(op, s.box, s.length) for op, s in named if op not in people]


def test_the_heron_has_every_kind_of_tool_and_both_versions(
    heron: tuple[Result, pathlib.Path],
) -> None:
    result, _ = heron
    methods = {made.tool.method for _, made in result.plan.programs}
    assert methods == {"laser", "drag-knife", "oscillating-knife"}
    assert {f.version for f in result.record.files} == {"1.1", "r12", "r2000"}


def test_the_heron_s_dxf_by_gdal_and_its_svg_by_a_browser(
    heron: tuple[Result, pathlib.Path], pages: dict[str, dict[str, Any]]
) -> None:
    for made, dxf, svg, out in sheets(heron):
        wanted = by_program(made)
        gdal = cuts_only(by_gdal(out / dxf.name, frame_of(dxf)), dxf)
        shown = cuts_only(seen_in(pages[svg.name], frame_of(svg)), svg)
        assert_agree(gdal, wanted, f"GDAL on {dxf.name}")
        assert_agree(shown, wanted, f"browser on {svg.name}", BROWSER)
        assert_agree(gdal, shown, f"GDAL and browser on sheet {dxf.sheet}", BROWSER)


def test_the_heron_by_two_more_readers(heron: tuple[Result, pathlib.Path]) -> None:
    for made, dxf, svg, out in sheets(heron):
        wanted = by_program(made)
        other = cuts_only(by_ezdxf(out / dxf.name, frame_of(dxf)), dxf)
        assert_agree(other, wanted, f"ezdxf on {dxf.name}", BEZIERS)
        tools = cuts_only(by_svgpathtools(out / svg.name, frame_of(svg)), svg)
        assert_agree(tools, wanted, f"svgpathtools on {svg.name}")


def test_the_heron_s_pages_are_as_large_as_its_sheets(
    heron: tuple[Result, pathlib.Path], pages: dict[str, dict[str, Any]]
) -> None:
    for made, _, svg, _ in sheets(heron):
        page = pages[svg.name]
        assert page["width"] == pytest.approx(made.sheet.width, abs=0.02)  # 1/64 px is 0.004 mm
        assert page["height"] == pytest.approx(made.sheet.length, abs=0.02)


def target_box(entry: PieceEntry) -> Box:
    return parse_path_data(entry.target)[0].bounds


def test_the_record_s_targets_against_what_gdal_reads(
    heron: tuple[Result, pathlib.Path],
) -> None:
    """A beam runs half a kerf outside its target; a knife's strokes reach at least round it."""
    result, out = heron
    for made, dxf, _, _ in sheets(heron):
        entries = {p.copy_name: p for p in result.record.pieces if p.sheet == dxf.sheet}
        seen = cuts_only(by_gdal(out / dxf.name, frame_of(dxf)), dxf)
        for name, entry in entries.items():
            runs = [
                s.box
                for s, c in zip(seen, dxf.contours, strict=True)
                if (c.copy_name, c.contour) == (name, "outline")
            ]
            columns = list(zip(*runs, strict=True))
            box = (*map(min, columns[:2]), *map(max, columns[2:]))
            x0, y0, x1, y1 = target_box(entry)
            if made.tool.method == "laser":
                r = made.tool.kerf / 2
                assert box == pytest.approx((x0 - r, y0 - r, x1 + r, y1 + r), abs=CHAIN)
            else:
                assert box[0] <= x0 + CHAIN
                assert box[1] <= y0 + CHAIN
                assert box[2] >= x1 - CHAIN
                assert box[3] >= y1 - CHAIN


# A small program in every style

STYLES = [
    FileStyle(dxf=version, dxf_units=unit, origin=origin, writes=("STOCK", "CHECK"))  # type: ignore[arg-type]
    for version, unit, origin in (
        ("r12", "mm", "bottom-left"),
        ("r12", "in", "top-right"),
        ("r2000", "mm", "centre"),
        ("r2000", "in", "bottom-right"),
        ("r2000", "mm", "top-left"),
    )
]


@pytest.mark.parametrize("style", STYLES, ids=lambda s: f"{s.dxf}-{s.dxf_units}-{s.origin}")
def test_every_style_of_dxf(tmp_path: pathlib.Path, style: FileStyle) -> None:
    made = program(("one/drawn/1", "two/drawn/1"), (200, 180))
    file = tmp_path / "small.dxf"
    file.write_bytes(dxf_text(made, style).encode())
    frame = Frame(25.4 if style.dxf_units == "in" else 1.0, file_origin(made, style))
    stock = Seen("STOCK", (0, 0, 200, 180), 760)
    check = Seen("CHECK", (2, 2, 102, 2), 100)
    wanted = [*by_program(made), stock, check]
    assert_agree(by_gdal(file, frame), wanted, "GDAL")
    assert_agree(by_ezdxf(file, frame), wanted, "ezdxf", BEZIERS)


def test_svg_with_text_for_people_in_a_browser(tmp_path: pathlib.Path) -> None:
    made = program(('<img src=x onerror="x">/drawn/1',))
    file = tmp_path / "small.svg"
    file.write_text(svg_text(made, ALL_FOR_PEOPLE), encoding="utf-8")
    (page,) = by_browser([file])
    frame = Frame(1.0, 120j, True)
    stock = Seen("STOCK", (0, 0, 200, 120), 640)
    check = Seen("CHECK", (2, 2, 102, 2), 100)
    assert_agree(seen_in(page, frame), [*by_program(made), stock, check], "browser", BROWSER)
    assert (page["width"], page["height"]) == pytest.approx((200, 120), abs=0.02)
