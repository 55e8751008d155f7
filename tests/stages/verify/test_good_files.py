"""Good files pass, and the measures told agree with closed forms."""

from __future__ import annotations

import math
import pathlib

import proof_bench as b
import pytest

from foamwright.geometry.path import Path
from foamwright.model import FileStyle, Tool

R12_INCH = FileStyle(dxf="r12", dxf_units="in", origin="centre")


@pytest.mark.parametrize("style", [FileStyle(), R12_INCH, FileStyle(origin="top-right")])
def test_square_and_ring_on_the_laser(tmp_path: pathlib.Path, style: FileStyle) -> None:
    one = b.square("box", 10 + 10j, 40)
    two = b.ring("ring", 100 + 60j, 30, 8)
    cuts = (
        b.cut(two, "opening:eye", "CUT_INNER", Path.circle(100 + 60j, 7.9).reversed()),
        b.outline_cut(one, b.rounded(10 + 10j, 40, 40, 0.1)),
        b.outline_cut(two, Path.circle(100 + 60j, 30.1)),
    )
    proof, found = b.Bench((one, two), cuts, style=style).prove(tmp_path)
    assert b.faults(found) == []
    assert proof.passed
    assert proof.worst_deviation_mm < 0.0015
    assert [p.copy_name for p in proof.pieces] == ["box/drawn/1", "ring/drawn/1"]
    assert proof.unreached == ()


def test_a_notch_is_unreached_as_the_closed_form_says(tmp_path: pathlib.Path) -> None:
    # a V of 60 degrees, 6 mm deep, in the top of a box; beam radius r = 0.15
    r, half = 0.15, math.radians(30)
    tip, mouth = 30 + 34j, 6 * math.tan(half)
    points = [
        10 + 10j,
        50 + 10j,
        50 + 40j,
        complex(30 + mouth, 40),
        tip,
        complex(30 - mouth, 40),
        10 + 40j,
    ]
    piece = b.Piece("vee", Path.polygon(points))
    # the beam's centre: r off each edge; about convex corners an arc, in the V the mitred point
    path = _offset_polygon(points, r)
    proof, found = b.Bench(
        (piece,), (b.outline_cut(piece, path),), Tool("laser", kerf=2 * r)
    ).prove(tmp_path)
    assert b.faults(found) == []
    assert [f.code for f in found] == ["V021"]
    (spot,) = proof.unreached
    assert spot.depth == pytest.approx(r * (1 / math.sin(half) - 1), abs=0.001)
    assert abs(complex(spot.x, spot.y) - tip) < 0.001
    tight = b.Bench(
        (piece,), (b.outline_cut(piece, path),), Tool("laser", kerf=2 * r), unreached_max=0.1
    )
    proof, found = tight.prove(tmp_path)
    assert b.faults(found)[0] == ("V011", "vee/drawn/1")


def _offset_polygon(points: list[complex], r: float) -> Path:
    made: list[b.Segment] = []
    n = len(points)
    normals = []
    for k in range(n):
        d = points[(k + 1) % n] - points[k]
        normals.append(-1j * d / abs(d) * r)
    starts: list[complex] = [0j] * n
    ends: list[complex] = [0j] * n
    for k in range(n):
        before, after = normals[k - 1], normals[k]
        cross = (before.conjugate() * after).imag
        if cross > 0:
            ends[k - 1], starts[k] = points[k] + before, points[k] + after
        else:
            middle = (before + after) / abs(before + after)
            reach = r / (middle * after.conjugate() / abs(after)).real
            ends[k - 1] = starts[k] = points[k] + middle * reach
    for k in range(n):
        made.append(b.Line(starts[k], ends[k]))
        nxt = (k + 1) % n
        if ends[k] != starts[nxt]:
            turn = b.cmath.phase(normals[nxt] / normals[k])
            made.append(b.Arc(ends[k], starts[nxt], math.tan(turn / 4)))
    return Path.of(made, True)
