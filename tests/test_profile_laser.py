"""A laser's own keys in profiles: what can't be meant is told with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from foamwright.findings import Refused
from foamwright.profiles import Shelf

HEAD = """\
name = "Board"
composition = ["card"]
composition_basis = "label"
thickness = "3 mm"
[[stock]]
kind = "sheet"
width = "420 mm"
length = "297 mm"
"""


def material(folder: Path, cut: str) -> list[str]:
    """The lines of the faults of a material with these cuts; the cut starts in line 9."""
    shelf = folder / "profiles" / "materials"
    shelf.mkdir(parents=True)
    (shelf / "board.toml").write_text(HEAD + cut, encoding="utf-8")
    try:
        Shelf.of(folder).material("board")
    except Refused as e:
        return [f.line() for f in e.findings]
    return []


GOOD = """\
[[cut]]
method = "laser"
lead_in = "3 mm"
lead_out = "1 mm"
lead_angle = 60
waist = "0.2 mm"
wavelength = "10.6 um"
m2 = 1.3
bridges = { count = 3, width = "1 mm" }
[[cut.at]]
thickness = "2 mm"
kerf = "0.2 mm"
passes = 2
focus_depth = "-1 mm"
focus_step = "1 mm"
[[cut.at]]
thickness = "4 mm"
kerf = "0.3 mm"
passes = 3
focus_depth = "0 mm"
focus_step = "1 mm"
"""


def test_all_keys_together(tmp_path: Path) -> None:
    assert material(tmp_path, GOOD) == []
    (cut,) = Shelf.of(tmp_path).material("board").profile.cut
    assert cut.wavelength == pytest.approx(0.0106)
    assert (cut.lead_out, cut.lead_angle, cut.at[0].focus_depth) == (1, 60, -1)
    assert cut.bridges is not None
    assert (cut.bridges.count, cut.bridges.width) == (3, 1)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('thickness = "4 mm"', 'thickness = "2 mm"', ["J513", "line 25", "2 mm before it"]),
        ('thickness = "4 mm"', 'thickness = "1 mm"', ["J513", "line 25", "thinnest first"]),
        ('kerf = "0.3 mm"\n', "", ["J513", "line 24", "gives no kerf"]),
        ('lead_in = "3 mm"', 'kerf = "0.1 mm"', ["J513", "line 20", "in the [[cut]] as well"]),
        ('kerf = "0.3 mm"', 'kerf = "0.3"', ["J505", "line 26", "no unit"]),
        ('kerf = "0.3 mm"', 'kerv = "0.3 mm"', ["J503", "line 26", "did you mean kerf"]),
        ("m2 = 1.3\n", "", ["J505", "line 9", "waist, wavelength and m2 go together"]),
        ("m2 = 1.3", "m2 = 0.9", ["J505", "line 16", "greater than or equal to 1"]),
        ("lead_angle = 60", "lead_angle = 5", ["J505", "line 13", "15"]),
        ("count = 3", 'spacing = "0 mm"', ["J505", "line 17", "more than nought"]),
        ("count = 3", 'count = 3, spacing = "5 mm"', ["J505", "line 17", "count, or spacing"]),
    ],
)
def test_what_cannot_be_meant_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, told: list[str]
) -> None:
    assert old in GOOD
    lines = material(tmp_path, GOOD.replace(old, new, 1))
    assert any(all(t in line for t in told) for line in lines), lines


def test_a_knife_has_none_of_a_lasers_keys(tmp_path: Path) -> None:
    cut = '[[cut]]\nmethod = "drag-knife"\nfocus_step = "1 mm"\nbridges = { count = 2 }\n'
    lines = material(tmp_path, cut)
    assert len(lines) == 2
    assert all("J513" in x and "goes with a laser" in x for x in lines)
    assert "line 11" in lines[0]


def test_a_knife_has_no_optics(tmp_path: Path) -> None:
    shelf = tmp_path / "profiles" / "machines"
    shelf.mkdir(parents=True)
    text = (
        'name = "Knife"\nmethod = "drag-knife"\nreach = ["1 m", "1 m"]\nfeed = "flat"\n'
        'max_thickness = "2 mm"\napplies = []\nmarks_by = "pen"\nblade_offset = "0.5 mm"\n'
        'waist = "0.1 mm"\nwavelength = "10.6 um"\nm2 = 1\n'
    )
    (shelf / "knife.toml").write_text(text, encoding="utf-8")
    with pytest.raises(Refused) as e:
        Shelf.of(tmp_path).machine("knife")
    assert [f.code for f in e.value.findings] == ["J513"] * 3
    assert "line 9" in e.value.findings[0].where
