"""The whole chain on small jobs: what the files free, the same bytes again, broken-off runs.

The files are read here by other libraries (svgpathtools, ezdxf), the targets are written in closed
form, and the tools are driven by the tests themselves: nothing of the project's own proof is used.
"""

from __future__ import annotations

import cmath
import json
import logging
import math
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyclipr
import pytest
import shapely
import svgpathtools
from lxml import etree
from shapely.ops import substring

from foamwright import finishing, pipeline
from foamwright.asked import Request
from foamwright.findings import Refused
from foamwright.geometry.path import Path as Outline
from foamwright.geometry.segments import Arc, Line
from foamwright.shelf_folder import packaged_profiles
from foamwright.stages.arrange import strip

from .jobs import PAIRS, bare, drawing, job
from .stages.compensate.tractrix import drive

SVG = "{http://www.w3.org/2000/svg}"
KERF, OFFSET, OVERRUN = 0.2, 0.5, 2.0  # mm, of the packaged pairs
STEP = 0.05


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


# What was written, by other readers


def sampled(path: Any, step: float = STEP) -> np.ndarray:
    """Points of an svgpathtools path, y up where the sheet's height is 0."""
    pieces = [
        np.array([s.point(t) for t in np.linspace(0, 1, max(3, math.ceil(s.length() / step)))])
        for s in path
    ]
    return np.concatenate(pieces).conj()


def svg_paths(folder: Path, operation: str) -> list[Any]:
    """The paths of an operation in a folder's SVG, in page coordinates."""
    (file,) = folder.glob("*.svg")
    root = etree.parse(str(file)).getroot()
    groups = [g for g in root.iter(f"{SVG}g") if g.get("data-operation") == operation]
    return [svgpathtools.parse_path(p.get("d")) for g in groups for p in g.iter(f"{SVG}path")]


def page_height(folder: Path) -> float:
    (file,) = folder.glob("*.svg")
    return float(etree.parse(str(file)).getroot().get("height").removesuffix("mm"))


def measured(path: Any) -> tuple[float, float]:
    """Area and perimeter of a closed path, mm2 and mm, from dense points."""
    points = sampled(path, 0.002)
    area = abs(np.sum((points[:-1].conj() * points[1:]).imag)) / 2
    return float(area), float(np.abs(np.diff(points)).sum())


@pytest.fixture(autouse=True)
def _quiet_dxf_reader() -> None:
    logging.getLogger("ezdxf").setLevel(logging.ERROR)


def dxf_paths(folder: Path) -> dict[str, list[Outline]]:
    """The polylines of a folder's r12 DXF by layer, as lines and arcs (bulges)."""
    (file,) = folder.glob("*.dxf")
    found: dict[str, list[Outline]] = {}
    for entity in ezdxf.readfile(file).modelspace():
        corners = [
            (complex(v.dxf.location.x, v.dxf.location.y), v.dxf.get("bulge", 0.0))
            for v in entity.vertices
        ]
        if entity.is_closed:
            corners.append(corners[0])
        segments = [
            Arc(a, b, bulge) if bulge else Line(a, b) for (a, bulge), (b, _) in pairwise(corners)
        ]
        found.setdefault(entity.dxf.layer, []).append(Outline(tuple(segments), False))
    return found


# What was drawn, in closed form


@dataclass(frozen=True)
class Shape:
    """A convex outline in SVG, y down, with what geometry says of it: mm2 and mm."""

    name: str
    d: str
    area: float
    perimeter: float

    def placed(self, folder: Path) -> np.ndarray:
        """Dense points of the target on its sheet, by the record's placement."""
        points = sampled(svgpathtools.parse_path(self.d), 0.02)
        points = points - complex(points.real.min(), points.imag.min())
        (piece,) = json.loads((folder / "record.json").read_text("utf-8"))["pieces"]
        turn = cmath.rect(1, math.radians(piece["rotation"]))
        return points * turn + complex(piece["x"], piece["y"])


def circle_d(x: float, y: float, r: float) -> str:
    half = f"a{r} {r} 0 0 1"
    return f"M{x - r} {y} {half} {2 * r} 0 {half} {-2 * r} 0 Z"


SQUARE = Shape("square", "M10 10 H50 V50 H10 Z", 1600.0, 160.0)
DISC = Shape("disc", circle_d(40, 40, 25), math.pi * 625, math.pi * 50)
ROUNDED = Shape(
    "rounded",
    "M16 10 H64 A6 6 0 0 1 70 16 V44 A6 6 0 0 1 64 50 H16 A6 6 0 0 1 10 44 V16 A6 6 0 0 1 16 10 Z",
    60 * 40 - (4 - math.pi) * 36,
    2 * 48 + 2 * 28 + 12 * math.pi,
)
SHAPES = (SQUARE, DISC, ROUNDED)
HOLE = Shape("hole", circle_d(40, 40, 8), math.pi * 64, math.pi * 16)


Written = Callable[[Shape, str], Path]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    """The cut files of a shape on the pair of a method; the disc has a hole."""

    @cache
    def cut(shape: Shape, method: str) -> Path:
        folder = tmp_path_factory.mktemp(shape.name)
        body = f'<g id="{shape.name}"><path d="{shape.d}"/>'
        body += f'<path id="eye" d="{HOLE.d}"/></g>' if shape is DISC else "</g>"
        pipeline.cut(bare(drawing(folder, body), method), folder / "out")
        return folder / "out"

    return cut


# Laser


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.name)
def test_the_laser_s_path_has_the_area_and_perimeter_of_steiner_s_formula(
    shape: Shape, written: Written
) -> None:
    """A convex outline widened by r: area A + P r + pi r^2, perimeter P + 2 pi r."""
    (path,) = svg_paths(written(shape, "laser"), "CUT_OUTER")
    area, perimeter = measured(path)
    r = KERF / 2
    assert area == pytest.approx(shape.area + shape.perimeter * r + math.pi * r * r, abs=2e-3)
    assert perimeter == pytest.approx(shape.perimeter + 2 * math.pi * r, abs=1e-4)


def test_the_laser_s_path_in_an_opening_is_half_a_kerf_smaller(written: Written) -> None:
    out = written(DISC, "laser")
    (path,) = svg_paths(out, "CUT_INNER")
    area, perimeter = measured(path)
    assert area == pytest.approx(math.pi * 7.9**2, abs=2e-3)
    assert perimeter == pytest.approx(math.pi * 15.8, abs=1e-4)
    (outer,) = svg_paths(out, "CUT_OUTER")
    assert measured(outer)[0] == pytest.approx(math.pi * 25.1**2, abs=2e-3)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.name)
def test_clipper2_offsets_the_target_to_the_same_path(shape: Shape, written: Written) -> None:
    out = written(shape, "laser")
    (path,) = svg_paths(out, "CUT_OUTER")
    ours = sampled(path) + 1j * page_height(out)
    target = shape.placed(out)
    clipper = pyclipr.ClipperOffset()
    clipper.scaleFactor = 100_000
    clipper.arcTolerance = 20  # in scaled units: 0.0002 mm
    ring = np.column_stack([target.real, target.imag])
    clipper.addPath(ring, pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    (theirs,) = clipper.execute(KERF / 2)
    line = shapely.LinearRing(theirs)
    assert shapely.distance(line, shapely.points(ours.real, ours.imag)).max() < 0.005
    ours_line = shapely.LineString(np.column_stack([ours.real, ours.imag]))
    assert shapely.distance(ours_line, shapely.points(np.asarray(theirs))).max() < 0.005


# Drag knife


@pytest.mark.parametrize("heading", [-150.0, 0.0, 90.0, 150.0])
@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.name)
def test_a_trailing_tip_on_the_written_pivot_path_cuts_the_outline(
    shape: Shape, heading: float, written: Written
) -> None:
    """By the tests' integrator (a tractrix), from any heading up to 150 degrees off the run-in."""
    out = written(shape, "drag-knife")
    paths = dxf_paths(out)
    theta = cmath.phase(paths[min(paths)][0].segments[0].tangent(0.0)) + math.radians(heading)
    tips = {}
    for layer in ("CUT_INNER", "CUT_OUTER"):
        for path in paths.get(layer, ()):
            _, theta = drive(Outline(path.segments[:1], False), OFFSET, theta)
            tips[layer], theta = drive(Outline(path.segments[1:], False), OFFSET, theta, STEP)
    target = shape.placed(out)
    edge = shapely.LinearRing(np.column_stack([target.real, target.imag]))
    tip = tips["CUT_OUTER"]
    assert shapely.distance(edge, shapely.points(tip.real, tip.imag)).max() < 0.01
    way = shapely.LineString(np.column_stack([tip.real, tip.imag]))
    assert shapely.distance(way, shapely.points(target.real, target.imag)).max() < 0.01
    if shape is DISC:
        middle = complex(target.real.min() + target.real.max(), 2 * target.imag.mean()) / 2
        assert np.abs(np.abs(tips["CUT_INNER"] - middle) - 8).max() < 0.01


# Oscillating knife


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.name)
def test_an_inclined_edge_on_the_written_strokes_severs_the_bottom_face_all_round(
    shape: Shape, written: Written
) -> None:
    """The bottom is cut OVERRUN behind the top, so of each stroke its last OVERRUN cuts none."""
    out = written(shape, "oscillating-knife")
    severed = []
    for path in svg_paths(out, "CUT_OUTER"):
        points = sampled(path) + 1j * page_height(out)
        top = shapely.LineString(np.column_stack([points.real, points.imag]))
        severed.append(substring(top, 0.0, top.length - OVERRUN))
    target = shape.placed(out)
    bottom = shapely.union_all(severed)
    assert shapely.distance(bottom, shapely.points(target.real, target.imag)).max() < 0.01


# The same bytes


def run_cut(job_file: Path, out: Path, seed: str = "0") -> None:
    environment = {**os.environ, "PYTHONHASHSEED": seed}
    command = [sys.executable, "-m", "foamwright", "cut", str(job_file), "--out", str(out)]
    subprocess.run(
        [*command, "--layout-time", "1"], env=environment, check=True, capture_output=True
    )


def three_methods(folder: Path) -> Path:
    more = "".join(
        f'[[piece]]\nname = "{method}"\noutline = "plate.svg#plate"\ndrawn = "cut-line"\n'
        f'material = "{material}"\nmachine = "{machine}"\nmirrored = 1\n'
        for method, (material, machine) in PAIRS.items()
    )
    return job(folder, more=more).file


def test_the_same_job_gives_the_same_bytes(tmp_path: Path) -> None:
    """In another process, with another hash seed, in another place, with the kept layout."""
    file = three_methods(tmp_path / "one")
    run_cut(file, tmp_path / "first", "1")
    shutil.copytree(file.parent, tmp_path / "two")
    run_cut(tmp_path / "two" / "job.toml", tmp_path / "elsewhere" / "second", "2")
    first = contents(tmp_path / "first")
    assert len(first) == 8
    assert contents(tmp_path / "elsewhere" / "second") == first
    for data in first.values():
        assert b"\r" not in data
        assert str(tmp_path).encode() not in data


def test_what_befell_the_search_is_told_but_changes_no_file(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The first run's search finds nothing, the second has the kept layout."""
    made = job(tmp_path / "job", more="count = 3")
    request = Request.of(made.file, layout_time=1)
    monkeypatch.setattr(strip, "find", lambda *_: None)
    result = pipeline.cut(request, tmp_path / "first")
    assert "L402" in [f.code for f in result.findings]
    monkeypatch.undo()
    again = pipeline.cut(request, tmp_path / "second")
    assert "L402" not in [f.code for f in again.findings]
    assert contents(tmp_path / "second") == contents(tmp_path / "first")


# Broken-off runs


@pytest.mark.parametrize(
    ("room", "step"), [("finishing", "write_programs"), ("pipeline", "publish")]
)
def test_a_killed_cut_leaves_the_last_good_output(room: str, step: str, tmp_path: Path) -> None:
    made = job(tmp_path / "job")
    out = tmp_path / "out"
    pipeline.cut(made.request, out)
    before = contents(out)
    made.file.write_text(made.file.read_text().replace("schema = 1", "schema = 1\n# changed"))
    script = (
        "import os, sys, pathlib\n"
        "from foamwright import finishing, pipeline\n"
        f"true = {room}.{step}\n"
        "def killed(*a):\n"
        f"    {'true(*a)' if step == 'write_programs' else 'pass'}\n"
        "    os.kill(os.getpid(), 9)\n"
        f"{room}.{step} = killed\n"
        "job, out = map(pathlib.Path, sys.argv[1:])\n"
        "pipeline.cut(pipeline.Request.of(job, layout_time=0), out)\n"
    )
    ran = subprocess.run([sys.executable, "-c", script, made.file, out], check=False)
    assert ran.returncode == -signal.SIGKILL
    assert contents(out) == before
    pipeline.cut(made.request, out)
    assert contents(out).keys() == before.keys()
    assert contents(out)["record.json"] != before["record.json"]
    assert sorted(p.name for p in tmp_path.iterdir() if "staging" in p.name) == []


def test_a_refused_cut_leaves_the_last_good_output(tmp_path: Path) -> None:
    made = job(tmp_path / "job")
    pipeline.cut(made.request, tmp_path / "out")
    before = contents(tmp_path / "out")
    made.file.write_text(made.file.read_text().replace("card-1mm", "pu-foam-12mm"))
    with pytest.raises(Refused):
        pipeline.cut(made.request, tmp_path / "out")
    assert contents(tmp_path / "out") == before


def test_a_read_only_job_folder_is_cut(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its layout can't be kept, which is no fault."""
    made = job(tmp_path / "job")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(finishing, "replace_whole", refuse)
    made.folder.chmod(0o555)
    try:
        result = pipeline.cut(made.request, tmp_path / "out")
    finally:
        made.folder.chmod(0o755)
    assert result.record.verification is not None
    assert sorted(p.name for p in made.folder.iterdir()) == ["job.toml", "plate.svg"]


# Layouts as artefacts


def test_a_kept_layout_is_used_again_until_a_fresh_one_is_asked_for(tmp_path: Path) -> None:
    made = job(tmp_path / "job", more="count = 3")
    first = pipeline.cut(made.request, tmp_path / "out")
    (layout,) = made.folder.glob("*.layout.json")
    kept = layout.read_bytes()
    again = pipeline.cut(made.request, tmp_path / "out")
    assert all(x.reused for x in again.plan.layouts.values())
    assert not any(x.reused for x in first.plan.layouts.values())
    assert layout.read_bytes() == kept
    fresh = pipeline.plan(Request.of(made.file, layout_time=0, fresh_layout=True))
    assert not any(x.reused for x in fresh.layouts.values())


def test_one_piece_cut_alone_leaves_the_others_layout(tmp_path: Path) -> None:
    file = three_methods(tmp_path / "job")
    pipeline.cut(Request.of(file, layout_time=0), tmp_path / "all")
    alone = Request.of(file, layout_time=0, only=("laser/mirrored/1",))
    pipeline.cut(alone, tmp_path / "one")
    again = pipeline.plan(Request.of(file, layout_time=0))
    assert all(x.reused for x in again.layouts.values())
    record = json.loads((tmp_path / "one" / "record.json").read_text())
    assert [p["copy_name"] for p in record["pieces"]] == ["laser/mirrored/1"]


def test_a_bare_drawing_s_kept_layout_in_the_output_folder_is_used_again(tmp_path: Path) -> None:
    asked = bare(drawing(tmp_path), mirrored=3)
    first = pipeline.cut(asked, tmp_path / "out")
    before = contents(tmp_path / "out")
    again = pipeline.cut(replace(asked, layout=replace(asked.layout, seed=7)), tmp_path / "out")
    assert [x.reused for x in first.plan.layouts.values()] == [False]
    assert [x.reused for x in again.plan.layouts.values()] == [True]
    assert contents(tmp_path / "out") == before


def test_a_record_names_no_path_of_this_computer(tmp_path: Path) -> None:
    made = job(tmp_path / "job")
    file = drawing(tmp_path)
    text = made.file.read_text("utf-8").replace('"plate.svg#', f'"{file.as_posix()}#')
    made.file.write_text(text, "utf-8")
    pipeline.cut(made.request, tmp_path / "out")
    for data in contents(tmp_path / "out").values():
        assert str(tmp_path).encode() not in data


def test_two_profiles_of_one_id_in_one_job_are_refused(tmp_path: Path) -> None:
    """The record tells them by their ids, so the rules on what was read would see only one."""
    made = job(tmp_path / "job")
    packaged = packaged_profiles() / "materials" / "card-1mm.toml"
    (made.folder / "card-1mm.toml").write_bytes(packaged.read_bytes())
    head, _, piece = made.file.read_text("utf-8").partition("[[piece]]")
    other = piece.replace('"plate"', '"other"', 1).replace('"card-1mm"', '"./card-1mm.toml"')
    made.file.write_text(f"{head}[[piece]]{piece}\n[[piece]]{other}", "utf-8")
    with pytest.raises(Refused) as stopped:
        pipeline.plan(made.request)
    assert [f.code for f in stopped.value.findings if f.is_fault] == ["J507"]


def test_a_scale_of_nought_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="J505"):
        pipeline.plan(bare(drawing(tmp_path), scale=0.0))
