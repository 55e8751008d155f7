"""A kerf that differs in x and y, and one that tapers, through the whole chain.

The freed part is measured here by points along the edge of the oval where it runs along the written
path, not by the project's regions.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path as File

import numpy as np
import pytest

from foamwright import pipeline
from foamwright.findings import Refused
from foamwright.finishing import Result
from foamwright.geometry.affine import Affine
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.stages.compensate import laser
from foamwright.stages.verify.faces import other_faces
from foamwright.stages.verify.read_record import read_record
from foamwright.stages.verify.simulate import BadToolError, read_tool

from .jobs import Written, job
from .stages.verify.proof_bench import amend

INCH = 25.4
SQUARE = f'<path id="plate" d="M10 10 h{INCH / 2} v{INCH / 2} h-{INCH / 2} Z"/>'
#: Per edge 0.002 in along x and 0.004 in along y (a university fab lab's example, UCLA Design Media
#: Arts): twice that is the full width.
KERFS = f"kerf_x = {2 * 0.002 * INCH}\nkerf_y = {2 * 0.004 * INCH}"

MATERIAL = """\
schema = 1
name = "Card, 1 mm, ours"
composition = ["card"]
composition_basis = "label"
thickness = "1 mm"
[[stock]]
kind = "sheet"
width = "420 mm"
length = "297 mm"
[[cut]]
method = "laser"
{kerfs}
"""


def made(folder: File, kerfs: str, *, head: str = "", **more: str) -> Written:
    shelf = folder / "profiles" / "materials"
    shelf.mkdir(parents=True)
    (shelf / "our-card.toml").write_text(
        MATERIAL.format(kerfs=re.sub(r"= (\S+)", r'= "\1 mm"', kerfs)), encoding="utf-8"
    )
    return job(folder, "our-card", head=head, **more)


def cut(folder: File, kerfs: str, **more: str) -> Result:
    return pipeline.cut(made(folder, kerfs, **more).request, folder / "out")


def outline(result: Result, folder: File) -> Path:
    """The written outline, from the SVG, y up."""
    (name,) = [f.name for f in result.record.files if f.format == "svg"]
    text = (folder / "out" / name).read_text("utf-8")
    group = text[text.index("CUT_OUTER") :]
    (path,) = parse_path_data(re.search(r' d="([^"]+)"', group)[1])  # type: ignore[index]
    return path.transformed(Affine.scaling(1, -1))


def freed_size(path: Path, rx: float, ry: float) -> tuple[float, float]:
    """Width and height of what an oval frees as it runs round an upright box.

    The oval removes all within rx of the path's sides and within ry of its top and bottom.
    """
    points = path.flatten(1e-5)
    return float(np.ptp(points.real)) - 2 * rx, float(np.ptp(points.imag)) - 2 * ry


def nearest_in_ovals(path: Path, p: complex, rx: float, ry: float) -> float:
    """How near a path comes to a place, in half axes: below 1 the place is cut away."""
    points = path.flatten(1e-5)
    return float(np.hypot((points.real - p.real) / rx, (points.imag - p.imag) / ry).min())


def test_a_half_inch_square_comes_out_as_drafted(tmp_path: File) -> None:
    """Uncompensated it comes out 0.496 x 0.492 in."""
    result = cut(tmp_path, KERFS, body=SQUARE)
    rx, ry = 0.002 * INCH, 0.004 * INCH
    plain = Path.polygon([0, INCH / 2, INCH / 2 * (1 + 1j), INCH / 2 * 1j])
    across, along = freed_size(plain, rx, ry)
    assert (across / INCH, along / INCH) == pytest.approx((0.496, 0.492))
    path = outline(result, tmp_path)
    assert freed_size(path, rx, ry) == pytest.approx((INCH / 2, INCH / 2), abs=1e-4)
    low_x, low_y, high_x, high_y = path.bounds
    # its corners stand, to within what the fit may take
    for x in (low_x + rx, high_x - rx):
        for y in (
            low_y + ry,
            high_y - ry,
        ):
            assert nearest_in_ovals(path, complex(x, y), rx, ry) == pytest.approx(1, abs=0.006 / ry)
    assert result.record.verification is not None
    assert result.record.verification.passed


def test_a_plate_is_proven_within_the_limit_and_by_its_files_alone(tmp_path: File) -> None:
    result = cut(tmp_path, "kerf_x = 0.2\nkerf_y = 0.35")
    proof = result.record.verification
    assert proof is not None
    assert proof.passed
    assert proof.worst_deviation_mm <= 0.01
    assert proof.limit_mm == 0.01
    again, findings = pipeline.verify_folder(tmp_path / "out")
    assert again.passed, findings
    told = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    assert "Kerf across" in told
    assert "Drafted size holds" not in told


def swapped(oval: Oval) -> Oval:
    return Oval(oval.ry, oval.rx)


@pytest.mark.parametrize(
    "mistaken", [swapped, lambda o: Oval.disc(o.rx), lambda o: Oval(o.rx, o.ry + 0.0125)]
)
def test_a_mistaken_oval_is_refused_by_the_proof(
    tmp_path: File, monkeypatch: pytest.MonkeyPatch, mistaken: object
) -> None:
    true = laser.offset_target_oval
    monkeypatch.setattr(
        laser,
        "offset_target_oval",
        lambda c, o, t: true(c, mistaken(o), t),  # type: ignore[operator]
    )
    with pytest.raises(Refused) as e:
        cut(tmp_path, "kerf_x = 0.2\nkerf_y = 0.35")
    assert {f.code for f in e.value.findings if f.is_fault} & {"V008", "V010"}
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("face", "kerf", "words"),
    [
        ("top", 0.3, "at the top face, the edge lies 0.050 mm beyond it at the bottom face"),
        ("middle", 0.25, "0.025 mm inside it at the top face, 0.025 mm beyond it at the bottom"),
        ("bottom", 0.2, "at the bottom face, the edge lies 0.050 mm inside it at the top face"),
    ],
)
def test_the_size_holds_on_the_true_face_and_the_others_are_told(
    tmp_path: File, face: str, kerf: float, words: str
) -> None:
    head = "" if face == "top" else f'true_face = "{face}"'
    result = cut(tmp_path, "kerf = 0.3\nkerf_exit = 0.2", body=SQUARE, head=head)
    freed = freed_size(outline(result, tmp_path), kerf / 2, kerf / 2)
    assert freed == pytest.approx((INCH / 2, INCH / 2), abs=2e-6)
    (told,) = [f for f in result.findings if f.code == "V022"]
    assert words in told.what
    page = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    for text in (words, "Drafted size holds at", f"kerf {kerf:g} mm there", "0.2 mm"):
        assert text in page
    assert any(words in line for line in result.record.findings)
    # by the numbers told, each face's own simulation gives what is told of it
    for width, off in ((0.3, (0.3 - kerf) / 2), (0.2, (0.2 - kerf) / 2)):
        across, along = freed_size(outline(result, tmp_path), width / 2, width / 2)
        assert (across, along) == pytest.approx([INCH / 2 - 2 * off] * 2, abs=2e-6)


@pytest.mark.parametrize(
    ("head", "more", "code"),
    [('true_face = "side"', "", "J505"), ("", 'true_face = "top"', "J503")],
)
def test_the_true_face_is_one_of_three_and_the_whole_jobs(
    tmp_path: File, head: str, more: str, code: str
) -> None:
    with pytest.raises(Refused) as e:
        cut(tmp_path, "kerf = 0.3", head=head, more=more)
    assert [f.code for f in e.value.findings] == [code]


def test_an_oval_taper_is_told_both_ways(tmp_path: File) -> None:
    result = cut(tmp_path, "kerf_x = 0.2\nkerf_y = 0.4\nkerf_exit = 0.1", body=SQUARE)
    (told,) = [f for f in result.findings if f.code == "V022"]
    assert "0.050 to 0.100 mm beyond it at the bottom face" in told.what


def test_a_record_whose_kerfs_disagree_is_no_record(tmp_path: File) -> None:
    cut(tmp_path, "kerf = 0.3\nkerf_exit = 0.2", body=SQUARE)
    amend(tmp_path / "out", lambda r: [f["tool"].update(true_face="bottom") for f in r["files"]])
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert not proof.passed
    assert "V003" in {f.code for f in findings}
    record, _ = read_record((tmp_path / "out" / "record.json").read_bytes())
    assert record is not None
    good = {**record.files[0].tool, "true_face": "top"}
    assert other_faces(read_tool(json.loads(json.dumps(good))))
    for wrong in (
        {"true_face": "side"},
        {"kerf_y": 0.0},
        {"kerf_y": "0.2"},
        {"kerf_y": math.inf},
        {"kerf_exit": None},
        {"kerf_entry": 0.31},
        {"kerf": 0, "kerf_y": 0.1, "kerf_entry": None, "kerf_exit": None},
    ):
        with pytest.raises(BadToolError):
            read_tool({**good, **wrong})


def test_a_turned_copy_is_cut_by_the_sheets_oval(tmp_path: File) -> None:
    """A long piece laid both ways: the oval does not turn with it."""
    body = '<path id="plate" d="M10 10 h40 v15 h-40 Z"/>'
    written = made(tmp_path, "kerf_x = 0.2\nkerf_y = 0.4", body=body)
    request = written.request
    planned = pipeline.plan(request)
    ((_, program),) = planned.programs
    (cut_,) = program.cuts
    for turn in (0.0, 90.0, 30.0):
        (placed,) = program.sheet.placements
        laid = replace(placed, rotation=turn, x=100.0, y=100.0)
        sheet = replace(program.sheet, placements=(laid,))
        cuts, _ = laser.cuts(sheet, program.tool, 0.006, 0.5, laser.Ground(sheet))
        box, target = cuts[0].path.bounds, laid.piece.outline.bounds
        for low, high, r in ((0, 2, 0.1), (1, 3, 0.2)):
            assert target[low] - box[low] == pytest.approx(r, abs=0.006)
            assert box[high] - target[high] == pytest.approx(r, abs=0.006)
    assert cut_.path.closed
