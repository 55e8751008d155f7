"""Bevelled edges: a line on the face t tan(angle) inside the edge, and a line for the operator."""

from __future__ import annotations

import math

import pytest

from foamwright.geometry.path import Path
from foamwright.geometry.region import boundary, curve, directed_deviation, region
from foamwright.job import PieceSpec
from foamwright.model import Opening, Piece
from foamwright.stages.alter.bevels import bevelled
from foamwright.stages.alter.pattern import drafted

PLATE = Piece(
    "plate",
    Path.polygon([0j, 100 + 0j, 100 + 60j, 0 + 60j]),
    (Opening("eye", Path.circle(50 + 30j, 10).reversed()),),
)


def spec(*bevels: dict[str, object]) -> PieceSpec:
    return PieceSpec.model_validate(
        {
            "name": "plate",
            "outline": "a.svg#plate",
            "drawn": "cut-line",
            "material": "foam",
            "edges": {"toe": ("1", "2")},
            "bevel": bevels,
        }
    )


def made(*bevels: dict[str, object], thickness: float = 12.0, drawn: bool = True):  # type: ignore[no-untyped-def]
    asked = spec(*bevels)
    return bevelled(PLATE, drafted(PLATE, asked), asked, thickness, 0.006, drawn)


@pytest.mark.parametrize("angle", [15, 30, 45])
def test_the_line_lies_where_the_slant_meets_the_face(angle: float) -> None:
    piece, (found,) = made({"edge": "toe", "angle": angle})
    (mark,) = piece.marks
    inside = 12 * math.tan(math.radians(angle))
    (line,) = mark.paths
    edge = boundary(region(PLATE.outline))
    assert directed_deviation(line.flatten(0.01), edge) == pytest.approx(inside, abs=0.01)
    assert line.start == pytest.approx(complex(inside, inside), abs=0.02)
    assert line.end == pytest.approx(complex(100 - inside, inside), abs=0.02)
    assert found.code == "A332"
    assert f"bevel of {angle} degrees" in found.what
    assert f"{inside:.1f} mm inside it" in found.mend


def test_a_round_openings_bevel_is_a_ring() -> None:
    piece, _ = made({"edge": "eye", "angle": 30}, thickness=5.0)
    (line,) = piece.marks[0].paths
    assert line.closed
    edge = curve(PLATE.openings[0].path, 0.001)
    off = directed_deviation(line.flatten(0.01), edge)
    assert off == pytest.approx(5 * math.tan(math.radians(30)), abs=0.01)


def test_where_marks_are_cut_through_there_are_only_the_words() -> None:
    piece, (found,) = made({"edge": "toe", "angle": 30}, drawn=False)
    assert piece.marks == ()
    assert "from a line to be drawn" in found.mend


def test_a_bevel_that_finds_no_room_or_no_edge_is_refused() -> None:
    _, (wide,) = made({"edge": "toe", "angle": 75}, thickness=25.0)
    assert (wide.code, wide.is_fault) == ("A333", True)
    _, (lost,) = made({"edge": "heel", "angle": 30})
    assert (lost.code, lost.is_fault) == ("A333", True)


def test_on_a_seam_the_line_lies_inside_the_cut_line_not_the_stitch_line() -> None:
    """Stitch line 8 mm inside: the line is 12 tan 30 = 6.93 mm inside the cut, corner to corner."""
    asked = spec({"edge": "toe", "angle": 30})
    stitched = Piece("plate", Path.polygon([8 + 8j, 92 + 8j, 92 + 52j, 8 + 52j]))
    piece, _ = bevelled(PLATE, drafted(stitched, asked), asked, 12.0, 0.006)
    (line,) = piece.marks[0].paths
    inside = 12 * math.tan(math.radians(30))
    assert line.start == pytest.approx(complex(inside, inside), abs=0.02)
    assert line.end == pytest.approx(complex(100 - inside, inside), abs=0.02)
