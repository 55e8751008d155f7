"""Values between measured thicknesses: on a line, never beyond, and told."""

from __future__ import annotations

from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.findings import Refused
from foamwright.profile_models import CutSettings
from foamwright.series import around, settled

from .jobs import job

INCH = 25.4
#: Birch plywood 1/16, 1/8 and 1/4 in: 0.15, 0.20, 0.25 mm (a job shop's published kerf table).
BIRCH = [(INCH / 16, 0.15), (INCH / 8, 0.20), (INCH / 4, 0.25)]


def birch(**more: object) -> CutSettings:
    at = [{"thickness": t, "kerf": k, **more} for t, k in BIRCH]
    return CutSettings.model_validate({"method": "laser", "at": at})


@pytest.mark.parametrize(("thickness", "kerf"), BIRCH)
def test_a_measured_thickness_has_its_own_kerf(thickness: float, kerf: float) -> None:
    found = settled(birch(), thickness, "birch")
    assert found.kerf == kerf
    assert [p.thickness for p in found.at] == [thickness]


@pytest.mark.parametrize(
    ("thickness", "kerf", "between"),
    [(3 * INCH / 32, 0.175, (0, 1)), (3 * INCH / 16, 0.225, (1, 2)), (4.0, 0.2129921, (1, 2))],
)
def test_between_two_it_lies_on_the_line_through_them(
    thickness: float, kerf: float, between: tuple[int, int]
) -> None:
    """At 4 mm: 0.20 + (4 - 3.175) / 3.175 * 0.05."""
    found = settled(birch(), thickness, "birch")
    assert found.kerf == pytest.approx(kerf, abs=1e-6)
    assert [p.thickness for p in found.at] == [BIRCH[i][0] for i in between]


@pytest.mark.parametrize("thickness", [1.5, 6.36, 12.0])
def test_beyond_what_was_measured_a_coupon_is_asked_for(thickness: float) -> None:
    with pytest.raises(Refused) as e:
        settled(birch(), thickness, "birch on laser")
    (found,) = e.value.findings
    assert found.code == "J526"
    assert "1.5875 to 6.35 mm" in found.what
    assert f"{thickness:g} mm" in found.what
    assert f"coupon of {thickness:g} mm stock" in found.mend


def test_one_point_holds_for_its_own_thickness_alone() -> None:
    one = birch().model_copy(update={"at": birch().at[:1]})
    assert settled(one, INCH / 16 + 5e-7, "birch").kerf == 0.15
    with pytest.raises(Refused, match=r"1\.5875 mm alone"):
        settled(one, 1.6, "birch")
    assert around(one.at, 1.6) == ()


def test_passes_and_words_are_the_thicker_points() -> None:
    at = [
        {"thickness": 2, "kerf": 0.2, "passes": 1, "speed": 30.0, "focus_step": 0, "power": "40"},
        {"thickness": 4, "kerf": 0.3, "passes": 2, "speed": 20.0, "focus_step": 2, "power": "55"},
        {"thickness": 6, "kerf": 0.4, "passes": 2, "speed": 10.0, "focus_step": 3, "power": "70"},
    ]
    cut = CutSettings.model_validate({"method": "laser", "at": at})
    mixed, alike = settled(cut, 3, "x"), settled(cut, 5, "x")
    assert (mixed.kerf, mixed.passes, mixed.speed) == (pytest.approx(0.25), 2, 20.0)
    assert (mixed.focus_step, mixed.power) == (2, "55")
    assert (alike.kerf, alike.passes, alike.speed) == (pytest.approx(0.35), 2, 15.0)
    assert (alike.focus_step, alike.power) == (2.5, "70")


def test_without_a_series_nothing_changes() -> None:
    cut = CutSettings(method="laser", kerf=0.2)
    assert settled(cut, 99.0, "x") is cut


SERIES = """\
schema = 1
name = "Board, ours"
composition = ["card"]
composition_basis = "label"
thickness = "{thickness} mm"
[[stock]]
kind = "sheet"
width = "420 mm"
length = "297 mm"
[[cut]]
method = "laser"
basis = "measured"
source = "our coupons"
[[cut.at]]
thickness = "2 mm"
kerf = "0.2 mm"
source = "coupon of the 2nd"
[[cut.at]]
thickness = "4 mm"
kerf = "0.3 mm"
"""


def board(folder: Path, thickness: float) -> pipeline.Request:
    shelf = folder / "profiles" / "materials"
    shelf.mkdir(parents=True)
    (shelf / "board.toml").write_text(SERIES.format(thickness=thickness), encoding="utf-8")
    return job(folder, "board").request


def test_the_record_tells_the_points_that_a_kerf_was_taken_from(tmp_path: Path) -> None:
    result = pipeline.cut(board(tmp_path, 2.5), tmp_path / "out")
    assert result.record.files[0].tool["kerf"] == pytest.approx(0.225)
    values = {
        v.key: (v.value, v.origin)
        for p in result.record.profiles
        for v in p.values
        if p.kind == "material"
    }
    assert values["cut.kerf"] == (pytest.approx(0.225), "job:materials/board.toml")
    points, origin = values["cut.at"]
    assert [p["thickness"] for p in points] == [2.0, 4.0]
    assert points[0]["source"] == "coupon of the 2nd"
    assert origin == "job:materials/board.toml"
    page = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    assert "found in 2 and 4 mm stock, by a straight line (coupon of the 2nd)" in page


def test_stock_beyond_the_series_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(Refused) as e:
        pipeline.cut(board(tmp_path, 5), tmp_path / "out")
    assert [f.code for f in e.value.findings] == ["J526"]
    assert not (tmp_path / "out").exists()
