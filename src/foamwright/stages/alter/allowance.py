"""Allowance: the cut line round a stitch line, and the stitch line within a cut line.

Pattern work runs on stitch lines.  A drawing that shows cut lines has its allowance taken off first
(`taken_off`); as long as nothing has changed the stitch line, its cut line is the one drawn.
"""

from __future__ import annotations

from dataclasses import replace

from foamwright.findings import Finding, fault
from foamwright.geometry.contour import Contour
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.offset import offset
from foamwright.geometry.path import CORNER_ANGLE, Path, turn_degrees
from foamwright.job import PieceSpec
from foamwright.stages.alter.edges import directions
from foamwright.stages.alter.pattern import OUTLINE, Pattern

#: How far a mitred corner may reach, as a multiple of the allowance, before it is cut square.
MITRE_LIMIT = 4.0

Made = tuple[Pattern, tuple[Finding, ...]]


def taken_off(pattern: Pattern, spec: PieceSpec, tolerance: float) -> Made:
    """On its stitch line, where the drawing shows the cut line; that is kept as `cut`."""
    width = spec.allowance_width
    if spec.drawn == "stitch-line" or width <= 0:
        return pattern, ()
    drawn = pattern.outline
    inner = _one(offset(drawn.path, -width, tolerance, "mitre", MITRE_LIMIT))
    if inner is None:
        return pattern, (_no_room(spec, width),)
    stitch = Contour(inner)
    for name in drawn.places:
        stitch = stitch.with_place(name, _across(drawn.path, drawn.along(name), inner, width))
    return replace(pattern, outline=stitch, cut=drawn.path), ()


def allowed(pattern: Pattern, spec: PieceSpec, tolerance: float) -> Made:
    """With its cut line."""
    width = spec.allowance_width
    if width <= 0 or pattern.cut is not None:
        return pattern, ()
    outer = _one(offset(pattern.outline.path, width, tolerance, "mitre", MITRE_LIMIT))
    if outer is None:
        return pattern, (_no_room(spec, width),)
    return replace(pattern, cut=outer), ()


def width_at(pattern: Pattern, spec: PieceSpec, ring: str) -> float:
    """The allowance of a ring, mm."""
    return spec.allowance_width if ring == OUTLINE else 0.0


def _across(line: Path, at: float, other: Path, inward: float) -> float:
    """Arc length on a line parallel to `line`, `inward` mm into the material, across from `at`.

    Across from a corner lies the corner that the mitre leads to, where the other line has one.
    """
    before, after = (1j * t for t in directions(line, at))
    mitre = (before + after) / max(1e-3, 1 + (before * after.conjugate()).real)
    spot = line.point_at(at) + inward * mitre
    if abs(turn_degrees(before, after)) > CORNER_ANGLE:
        near = min(other.corner_points(), key=lambda p: abs(p - spot), default=spot)
        spot = near if abs(near - spot) <= abs(inward) / 2 else spot
    return nearest_length(other, spot)[0]


def _one(paths: tuple[Path, ...]) -> Path | None:
    """The only path of an offset, or None where it fell apart, vanished or closed round a gap."""
    return paths[0] if len(paths) == 1 and paths[0].area > 0 else None


def _no_room(spec: PieceSpec, width: float) -> Finding:
    return fault(
        "A309",
        spec.name,
        f"an allowance of {width:.2f} mm doesn't leave one whole outline",
        "lessen the allowance or widen the drawing's narrow part",
        piece=spec.name,
    )
