"""Where a proof is worst: planted in closed form, told with place, way and edge."""

from __future__ import annotations

import math
import pathlib
from collections.abc import Callable
from dataclasses import replace

import proof_bench as b
import pytest
from lxml import etree

from foamwright.explained import Explanation, lines_of
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line
from foamwright.stages.save.spot import bar_length, spot_svg
from foamwright.stages.verify import LIMIT, read_files
from foamwright.stages.verify.explain import copies_of, explain
from foamwright.stages.verify.read_record import read_record

BOX = b.square("box", 10 + 10j, 40)
WAY = b.rounded(10 + 10j, 40, 40, 0.1)


def told(bench: b.Bench, folder: pathlib.Path, copy: str = "box/drawn/1") -> Explanation:
    bench.write(folder)
    record, _ = read_record((folder / "record.json").read_bytes())
    assert record is not None
    found = explain(record, read_files(folder, record), copy, LIMIT)
    assert found is not None
    return found


def lower_edge_moved(by: float) -> b.Bench:
    """The beam's way about the box with its lowest line moved up by so many mm."""
    s = list(WAY.segments)
    s[0] = Line(s[0].start + 1j * by, s[0].end + 1j * by)
    s[1:2] = [Line(s[0].end, s[1].start), s[1]]
    path = Path.of([*s, Line(s[-1].end, s[0].start)], True)
    return b.Bench((BOX,), (b.outline_cut(BOX, path),))


@pytest.mark.parametrize(("by", "side"), [(0.05, "piece"), (-0.05, "scrap")])
def test_the_way_and_the_edge_are_told(by: float, side: str, tmp_path: pathlib.Path) -> None:
    found = told(lower_edge_moved(by), tmp_path)
    assert found.side == side
    assert found.worst.depth == pytest.approx(0.05, abs=2e-3)
    assert found.worst.at.imag == pytest.approx(10, abs=0.06)
    assert (found.worst.contour, found.worst.kind) == ("outline", "line")
    assert (found.worst.segment, found.worst.segments) == (1, 4)
    assert found.worst.along == pytest.approx(found.worst.at.real - 10, abs=0.06)


def test_a_good_cut_has_its_worst_place_too(tmp_path: pathlib.Path) -> None:
    found = told(b.Bench((BOX,), (b.outline_cut(BOX, WAY),)), tmp_path)
    assert found.worst.depth < 0.001
    assert found.unreached is None
    assert found.scene.tool is not None
    assert abs(found.scene.tool.at - found.worst.at) == pytest.approx(0.1, abs=1e-3)


def test_an_openings_edge_is_told_as_such(tmp_path: pathlib.Path) -> None:
    """A hole of 8 mm radius cut 0.03 mm too small: stock is left in the hole, which is scrap."""
    ring = b.ring("box", 100 + 60j, 30, 8)
    eye, rim = Path.circle(100 + 60j, 7.87).reversed(), Path.circle(100 + 60j, 30.1)
    cuts = (b.cut(ring, "opening:eye", "CUT_INNER", eye), b.outline_cut(ring, rim))
    found = told(b.Bench((ring,), cuts), tmp_path)
    assert (found.worst.contour, found.side) == ("opening 1", "scrap")
    assert found.worst.depth == pytest.approx(0.03, abs=1e-3)
    assert abs(found.worst.at - (100 + 60j)) == pytest.approx(8, abs=0.04)


def test_the_place_in_the_piece_undoes_its_placement(tmp_path: pathlib.Path) -> None:
    """Turned by 90 degrees: (x, y) of the piece came to (50 - y, 10 + x) on the sheet."""
    bench = lower_edge_moved(0.05)
    bench.write(tmp_path)
    b.amend(tmp_path, lambda r: r["pieces"][0].update(rotation=90.0, x=50.0, y=10.0))
    record, _ = read_record((tmp_path / "record.json").read_bytes())
    assert record is not None
    found = explain(record, read_files(tmp_path, record), "box/drawn/1", LIMIT)
    assert found is not None
    at, there = found.worst.at, found.worst.in_piece
    assert (50 - there.imag, 10 + there.real) == pytest.approx((at.real, at.imag))


def test_the_deepest_place_not_reached(tmp_path: pathlib.Path) -> None:
    """r (1 / sin(phi / 2) - 1) in an inside corner of 90 degrees (the design, section 1)."""
    corners = [10 + 10j, 50 + 10j, 50 + 50j, 30 + 50j, 30 + 30j, 10 + 30j]
    ell = replace(BOX, outline=Path.polygon(corners))
    hull = Path.polygon(
        [10 + 9.9j, 50.1 + 9.9j, 50.1 + 50.1j, 29.9 + 50.1j, 29.9 + 30.1j, 9.9 + 30.1j]
    )
    found = told(b.Bench((ell,), (b.outline_cut(ell, hull),)), tmp_path)
    assert found.unreached is not None
    assert found.unreached.depth == pytest.approx(0.1 * (math.sqrt(2) - 1), abs=1e-3)
    assert abs(found.unreached.at - (30 + 30j)) < 0.01


def test_the_tip_hangs_behind_its_pivot(tmp_path: pathlib.Path) -> None:
    """On a circle of radius R the pivot runs at sqrt(R^2 + e^2), the blade tangent to the disc."""
    disc = replace(BOX, outline=Path.circle(100 + 60j, 30))
    way = Path.circle(100 + 60j, math.sqrt(30**2 + 0.25))
    run = way.between(0.0, way.length)
    lead = Path.of([*run.segments, *way.between(0.0, 30.0).segments], False)
    found = told(b.Bench((disc,), (b.outline_cut(disc, lead),), b.DRAG), tmp_path)
    tool = found.scene.tool
    assert tool is not None
    assert tool.pivot is not None
    assert abs(tool.pivot - tool.at) == pytest.approx(0.5)
    assert found.scene.trails


def test_a_blade_severs_the_bottom_behind_its_top(tmp_path: pathlib.Path) -> None:
    knife = replace(b.LASER, method="oscillating-knife", kerf=0.0, overrun=2.0)
    strokes = [
        Path.polygon([start - 3 * ahead, start + 43 * ahead], closed=False)
        for start, ahead in ((10 + 10j, 1), (50 + 10j, 1j), (50 + 50j, -1), (10 + 50j, -1j))
    ]
    bench = b.Bench((BOX,), tuple(b.outline_cut(BOX, s) for s in strokes), knife)
    tool = told(bench, tmp_path).scene.tool
    assert tool is not None
    assert tool.bottom is not None
    assert abs(tool.bottom - tool.at) == pytest.approx(2.0, abs=0.02)


def missing(folder: pathlib.Path) -> None:
    for file in folder.glob("job-1.*"):
        file.unlink()


def broken_target(folder: pathlib.Path) -> None:
    b.amend(folder, lambda r: r["pieces"][0].update(target="M0 0 L1 1"))


def broken_tool(folder: pathlib.Path) -> None:
    b.amend(folder, lambda r: [f.update(tool={"method": "saw"}) for f in r["files"]])


@pytest.mark.parametrize("harm", [missing, broken_target, broken_tool])
def test_nothing_is_told_where_nothing_can_be_measured(
    harm: Callable[[pathlib.Path], None], tmp_path: pathlib.Path
) -> None:
    b.Bench((BOX,), (b.outline_cut(BOX, WAY),)).write(tmp_path)
    harm(tmp_path)
    record, _ = read_record((tmp_path / "record.json").read_bytes())
    assert record is not None
    assert explain(record, read_files(tmp_path, record), "box/drawn/1", LIMIT) is None


def test_an_outline_that_is_not_cut_is_explained(tmp_path: pathlib.Path) -> None:
    far = b.rounded(100 + 60j, 40, 40, 0.1)
    found = told(b.Bench((BOX,), (b.outline_cut(BOX, far),)), tmp_path)
    assert found.side == "scrap"
    assert found.worst.depth > 1
    spot_svg(found)


def test_copies_go_by_piece_or_by_their_own_name(tmp_path: pathlib.Path) -> None:
    b.Bench((BOX,), (b.outline_cut(BOX, WAY),)).write(tmp_path)
    record, _ = read_record((tmp_path / "record.json").read_bytes())
    assert record is not None
    assert copies_of(record, "box") == copies_of(record, "box/drawn/1") == ("box/drawn/1",)
    assert copies_of(record, "bo") == ()


def test_the_picture_is_svg_with_every_word_and_a_true_bar(tmp_path: pathlib.Path) -> None:
    found = replace(told(lower_edge_moved(0.05), tmp_path), faults=("fault V010 <box> & more",))
    root = etree.fromstring(spot_svg(found).encode())
    words = [t.text for t in root.iter("{*}text")]
    assert set(lines_of(found)) <= set(words)
    panels = root.findall("{*}svg")
    assert len(panels) == 3
    bars = [
        float(t.removesuffix(" mm")) for t in words if t and t.endswith(" mm") and t[0].isdigit()
    ]
    shown = [
        p for p in root.findall("{*}path") if " h" in p.get("d", "") and " v-1.5" in p.get("d", "")
    ]
    for panel, mm, line in zip(panels, bars, shown, strict=True):
        unit = float(panel.get("viewBox").split()[2]) / float(panel.get("width"))
        long = float(line.get("d").split(" h")[1].split()[0])
        assert long * unit == pytest.approx(mm, rel=1e-3)


@pytest.mark.parametrize(("most", "bar"), [(9.9, 5), (10, 10), (0.021, 0.02), (0.3, 0.2)])
def test_a_bar_is_a_round_length(most: float, bar: float) -> None:
    assert bar_length(most) == pytest.approx(bar)
