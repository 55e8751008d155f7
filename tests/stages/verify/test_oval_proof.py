"""The proof of an oval kerf: ways written down in closed form pass, and moved ones are refused."""

from __future__ import annotations

import math
import pathlib

import numpy as np
import proof_bench as b
import pytest

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.model import Tool

RX, RY = 0.1, 0.25
TOOL = Tool("laser", kerf=2 * RX, kerf_y=2 * RY)


def way_about(points: list[complex], rx: float, ry: float) -> Path:
    """The way of an oval's centre about a polygon, as chords 0.1 micrometre from it.

    Beside each side its support in the side's normal; about a corner the oval's arc between two
    such places; in an inside corner the place where the two sides' ways meet.
    """
    ahead = [q - p for p, q in zip(points, [*points[1:], points[0]], strict=True)]
    outward = [-1j * d / abs(d) for d in ahead]
    angle = [math.atan2(ry * n.imag, rx * n.real) for n in outward]  # of the oval's parameter
    made: list[complex] = []
    for k, p in enumerate(points):
        first, turn = angle[k - 1], (angle[k] - angle[k - 1]) % (2 * math.pi)
        if turn < math.pi:
            turns = first + np.linspace(0, turn, 1 + math.ceil(400 * turn))
            made.extend(p + complex(rx * math.cos(t), ry * math.sin(t)) for t in turns)
            continue
        a, c = (complex(rx * math.cos(t), ry * math.sin(t)) for t in (first, angle[k]))
        along = np.array([[ahead[k - 1].real, -ahead[k].real], [ahead[k - 1].imag, -ahead[k].imag]])
        s, _ = np.linalg.solve(along, [(c - a).real, (c - a).imag])
        made.append(p + a + s * ahead[k - 1])
    return Path.polygon(made)


BOX = [20 + 20j, 60 + 20j, 60 + 50j, 20 + 50j]


def proven(
    folder: pathlib.Path, points: list[complex], path: Path, tool: Tool = TOOL, **more: float
) -> tuple[object, list[tuple[str, str]], list[str]]:
    piece = b.Piece("part", Path.polygon(points))
    proof, found = b.Bench((piece,), (b.outline_cut(piece, path),), tool, **more).prove(folder)
    return proof, b.faults(found), [f.what for f in found]


def test_the_way_about_a_box_passes(tmp_path: pathlib.Path) -> None:
    proof, faults, _ = proven(tmp_path, BOX, way_about(BOX, RX, RY))
    assert faults == []
    assert proof.worst_deviation_mm < 0.0015  # type: ignore[attr-defined]


@pytest.mark.parametrize("move", [0.012, -0.012, 0.012j, -0.012j])
def test_a_way_moved_by_more_than_the_limit_is_refused(
    tmp_path: pathlib.Path, move: complex
) -> None:
    moved = way_about(BOX, RX, RY).transformed(Affine.translation(move))
    proof, faults, _ = proven(tmp_path, BOX, moved)
    assert {c for c, _ in faults} == {"V008", "V010"}
    assert proof.worst_deviation_mm == pytest.approx(0.012, abs=0.001)  # type: ignore[attr-defined]


@pytest.mark.parametrize("move", [0.005, 0.005j])
def test_the_deviation_is_told_in_the_sheets_own_mm(tmp_path: pathlib.Path, move: complex) -> None:
    """Moved across the narrower way, the plane where the oval is a disc would say 0.0125."""
    moved = way_about(BOX, RX, RY).transformed(Affine.translation(move))
    proof, _, _ = proven(tmp_path, BOX, moved)
    assert proof.worst_deviation_mm == pytest.approx(0.005, abs=0.001)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("rx", "ry", "codes"),
    [
        (RY, RX, {"V008", "V010"}),
        (RX, RX, {"V008", "V010"}),
        (RX + 0.012, RY, {"V010"}),
        (RX, RY + 0.012, {"V010"}),
        (RX - 0.012, RY, {"V008", "V010"}),
    ],
)
def test_the_way_of_another_oval_is_refused(
    tmp_path: pathlib.Path, rx: float, ry: float, codes: set[str]
) -> None:
    _, faults, _ = proven(tmp_path, BOX, way_about(BOX, rx, ry))
    assert {c for c, _ in faults} == codes


@pytest.mark.parametrize("degrees", [25, 40])
def test_what_an_oval_leaves_in_a_wedge(tmp_path: pathlib.Path, degrees: float) -> None:
    """sqrt(rx^2 cos^2 a + ry^2 sin^2 a) / sin a - ry at walls a on either side of upright."""
    a = math.radians(degrees)
    mouth = 10 * math.tan(a)
    points = [*BOX[:3], 40 + mouth + 50j, 40 + 40j, 40 - mouth + 50j, BOX[3]]
    path = way_about(points, RX, RY)
    proof, faults, _ = proven(tmp_path, points, path)
    assert faults == []
    wanted = math.hypot(RX * math.cos(a), RY * math.sin(a)) / math.sin(a) - RY
    (spot,) = proof.unreached  # type: ignore[attr-defined]
    assert spot.depth == pytest.approx(wanted, abs=0.001)
    assert abs(complex(spot.x, spot.y) - (40 + 40j)) < 0.001
    (tmp_path / "tight").mkdir()
    _, faults, _ = proven(tmp_path / "tight", points, path, unreached_max=wanted - 0.005)
    assert faults[0][0] == "V011"


def test_a_cut_that_ends_short_leaves_its_piece_hanging(tmp_path: pathlib.Path) -> None:
    whole = way_about(BOX, RX, RY)
    short = whole.between(0.0, whole.length - 5.0)
    _, faults, told = proven(tmp_path, BOX, short)
    assert "V009" in {c for c, _ in faults}
    assert any("is uncut" in what for what in told)


def test_a_taper_is_told_once_for_a_sheet(tmp_path: pathlib.Path) -> None:
    tool = Tool("laser", kerf=0.2, kerf_y=0.5, kerf_entry=0.26, kerf_exit=0.14, true_face="middle")
    _, faults, told = proven(tmp_path, BOX, way_about(BOX, RX, RY), tool)
    assert faults == []
    (what,) = [t for t in told if t.startswith("the kerf is")]
    assert "0.030 to 0.075 mm inside it at the top face" in what
    assert "0.030 to 0.075 mm beyond it at the bottom face" in what
