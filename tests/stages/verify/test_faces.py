"""A taper's other faces: measured from their own simulation, and told by number."""

from __future__ import annotations

import math
import pathlib

import proof_bench as b
import pytest

from foamwright.geometry.affine import Affine
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Tool
from foamwright.stages.verify.compare import Face
from foamwright.stages.verify.faces import other_faces, told


def tapered(true: float, entry: float, exit_: float, face: str) -> Tool:
    return Tool("laser", kerf=true, kerf_entry=entry, kerf_exit=exit_, true_face=face)  # type: ignore[arg-type]


def proven(
    folder: pathlib.Path, tool: Tool, piece: b.Piece, path: Path
) -> tuple[dict[str, tuple[float, float]], list[tuple[str, str]], list[str]]:
    proof, found = b.Bench((piece,), (b.outline_cut(piece, path),), tool).prove(folder)
    faces = {f.face: (f.least_mm, f.most_mm) for f in proof.faces}
    return faces, b.faults(found), [f.what for f in found if f.code == "V022"]


@pytest.mark.parametrize(
    ("tool", "faces"),
    [
        (tapered(0.3, 0.3, 0.2, "top"), {"bottom": -0.05}),
        (tapered(0.2, 0.3, 0.2, "bottom"), {"top": 0.05}),
        (tapered(0.25, 0.3, 0.2, "middle"), {"top": 0.025, "bottom": -0.025}),
        (tapered(0.2, 0.2, 0.44, "top"), {"bottom": 0.12}),
    ],
)
def test_each_face_is_told_as_its_disc_leaves_it(
    tmp_path: pathlib.Path, tool: Tool, faces: dict[str, float]
) -> None:
    """Half the difference of the two kerfs, inside where the face's kerf is the wider."""
    piece = b.square("part", 20 + 20j, 40)
    path = b.rounded(20 + 20j, 40, 40, tool.kerf / 2)
    found, faults, (words,) = proven(tmp_path, tool, piece, path)
    assert faults == []
    assert found.keys() == faces.keys()
    for side, off in faces.items():
        assert found[side] == pytest.approx((off, off), abs=1e-3)
        way = "inside" if off > 0 else "beyond"
        assert f"{abs(off):.3f} mm {way} it at the {side} face" in words


def test_the_figures_are_the_simulations_not_the_kerfs(tmp_path: pathlib.Path) -> None:
    """A way 0.008 mm too far out, within the limit: the other face lies as much farther out."""
    tool = tapered(0.3, 0.3, 0.2, "top")
    piece = b.square("part", 20 + 20j, 40)
    path = b.rounded(20 + 20j, 40, 40, 0.158)
    found, faults, (words,) = proven(tmp_path, tool, piece, path)
    assert faults == []
    assert found["bottom"] == pytest.approx((-0.058, -0.058), abs=1e-3)
    assert "0.058 mm beyond it at the bottom face" in words


def test_the_true_face_keeps_the_limit(tmp_path: pathlib.Path) -> None:
    tool = tapered(0.3, 0.3, 0.2, "top")
    piece = b.square("part", 20 + 20j, 40)
    path = b.rounded(20 + 20j, 40, 40, 0.1)  # right for the bottom face, which is not the true one
    _, faults, _ = proven(tmp_path, tool, piece, path)
    assert {c for c, _ in faults} == {"V008", "V010"}


def test_what_a_wider_face_cuts_away_is_a_fault(tmp_path: pathlib.Path) -> None:
    """A strip 0.5 mm wide under a kerf that is 0.8 mm wider where the beam comes out."""
    tool = tapered(0.2, 0.2, 1.0, "top")
    strip = b.Piece("part", b.rectangle(20 + 20j, 40, 0.5))
    _, faults, _ = proven(tmp_path, tool, strip, b.rounded(20 + 20j, 40, 0.5, 0.1))
    assert set(faults) == {("V009", "part/drawn/1")}


def test_a_piece_whose_middle_height_is_an_edge_is_not_cut_away(tmp_path: pathlib.Path) -> None:
    """Three quarters of a disc: an inside point on its middle height would lie beside an edge."""
    c, radius, r = 60 + 60j, 25, 0.1
    top, right = c + radius * 1j, c + radius
    three, one = math.tan(math.radians(270) / 4), math.tan(math.radians(90) / 4)
    outline = Path(
        (Arc(top, right, three), Line(right, c), Line(c, top)), True, frozenset({0, 1, 2})
    )
    inner = c + r + r * 1j
    way = (
        Line(inner, top + r), Arc(top + r, top + r * 1j, one), Arc(top + r * 1j, right + r, three),
        Arc(right + r, right + r * 1j, one), Line(right + r * 1j, inner),
    )  # fmt: skip
    tool = tapered(2 * r, 2 * r, 1.6, "top")
    over = Affine.translation(120j) @ Affine.scaling(1, -1)  # the missing quarter is below
    piece = b.Piece("part", outline.transformed(over).reversed())
    path = Path(way, True, frozenset({0})).transformed(over).reversed()
    found, faults, _ = proven(tmp_path, tool, piece, path)
    assert faults == []
    assert found["bottom"] == pytest.approx((0.7, 0.7), abs=1e-3)


def test_without_a_taper_there_is_no_other_face() -> None:
    assert other_faces(Tool("laser", kerf=0.2)) == ()
    assert other_faces(tapered(0.25, 0.3, 0.2, "middle")) == (
        ("top", Oval.disc(0.15)),
        ("bottom", Oval.disc(0.1)),
    )
    assert told(Tool("laser", kerf=0.2), [], False, 0.01) == ""


@pytest.mark.parametrize(
    ("face", "words"),
    [
        (Face("bottom", 0.0301, 0.0304), "0.030 mm inside it at the bottom face"),
        (Face("bottom", -0.075, -0.03), "0.030 to 0.075 mm beyond it at the bottom face"),
        (Face("bottom", -0.02, 0.03), "from 0.030 mm inside it to 0.020 mm beyond it"),
    ],
)
def test_a_range_is_told_where_it_is_one(face: Face, words: str) -> None:
    assert words in told(tapered(0.3, 0.3, 0.2, "top"), [face], False, 0.01)


def test_a_sheet_laid_face_down_names_the_materials_sides() -> None:
    face = Face("bottom", -0.05, -0.05)
    assert "at the bottom face, the material's front" in told(
        tapered(0.3, 0.3, 0.2, "top"), [face], True, 0.01
    )
