"""How a swivel blade comes to know its heading: run-ins, and how it stands between contours.

A lifted swivel blade keeps the heading it was left with, but at the start of a file nobody knows
it.  A *run-in* is a straight stroke in the scrap that ends on the contour: the tip trails into line
along a tractrix, heading error tan(theta/2) = tan(theta0/2) exp(-s/e) after s mm at blade offset e,
so that from any heading up to 150 degrees off the tip comes within 0.002 mm of the line.
Until then the tip is somewhere in the run-in's *zone*, which must be clear of every piece.

Between contours the blade is *parked*: each contour ends with a swing about its last tip point to
the heading PARKED.  So a contour with no room for a run-in (a slit, a mark, a small opening) may be
set down on its line and start with a swing from PARKED to its own heading, whatever the sequence;
and a run-in, which would fail from the opposite heading, runs within 150 degrees of PARKED.
Where a sheet has such set-down contours, an *alignment stroke* in the scrap towards PARKED comes
first: the first move of a file is always a run-in.
Does not make the contour's own pivot path.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from foamwright.geometry import region
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Box, Line
from foamwright.stages.compensate.ground import Ground

#: The heading, as a direction, in which the blade stands between contours.
PARKED = 1 + 0j
#: Degrees off the run-in from which it still aligns the blade.
WORST_HEADING = 150.0
#: mm: how far beside the line the tip may be where a run-in ends.
ALIGNED = 0.002
#: Degrees between a run-in and the contour it meets from the scrap's side, in the order tried.
APPROACHES = (30.0, 45.0, 60.0, 90.0, 20.0, 120.0)
#: Degrees of turn at an outside corner above which a run-in along its first edge is tried.
OUTSIDE_CORNER = 10.0
#: Degrees of turn above which a corner is met last of all: what is ALIGNED there cuts three times
#: as much and more off so sharp a tip.
SHARP_CORNER = 160.0
#: Places tried along a contour, and spots tried for the alignment stroke, at most.
PLACES, SPOTS = 48, 4000


@dataclass(frozen=True, slots=True)
class RunIn:
    """A way onto a closed contour: it is met at parameter t of a segment, coming along direction.

    stroke: the pivot's straight way; it ends e beyond the contact.
    """

    segment: int
    t: float
    direction: complex
    stroke: Line


def run_in_length(offset: float) -> float:
    """mm that the pivot must run to bring the tip within ALIGNED of its line (3.8 at 0.5 mm)."""
    aligned = math.asin(min(1.0, ALIGNED / offset))
    ratio = math.tan(math.radians(WORST_HEADING) / 2) / math.tan(aligned / 2)
    return offset * max(0.0, math.log(ratio))


def zone(stroke: Line, offset: float) -> region.Region:
    """Where the tip may be while the pivot runs along a stroke from an unknown heading.

    Until the worst heading is square to the stroke the tip may be offset away on either side, then
    the zone narrows as the tractrix does: x = s - e tanh(s/e), y = e sech(s/e).
    """
    square = offset * math.log(math.tan(math.radians(WORST_HEADING) / 2))
    u = np.linspace(0.0, max(0.0, stroke.length() - square) / offset, 16)
    x = np.concatenate([[-offset], square + offset * (u - np.tanh(u))])
    y = np.concatenate([[offset], offset / np.cosh(u)])
    upper = x + 1j * y
    ring = np.concatenate([upper, upper[::-1].conj()])
    return region.polygon(stroke.start + stroke.tangent(0.0) * ring)


def find_run_in(path: Path, offset: float, ground: Ground) -> RunIn | None:
    """The first clear way onto a closed path of lines and arcs with the material to its left."""
    for segment, t, direction in _ways(path):
        stroke = _if_clear(path.segments[segment].point(t), direction, offset, ground)
        if stroke is not None:
            return RunIn(segment, t, direction, stroke)
    return None


def clear_stroke(contact: complex, along: complex, offset: float, ground: Ground) -> Line | None:
    """The first clear run-in onto a contour that is met at a contact and runs along from there.

    Tried along the contour itself, which is clear at an outside corner, then at the APPROACHES.
    """
    for angle in (0.0, *APPROACHES):
        direction = along * cmath.rect(1.0, math.radians(angle))
        stroke = _if_clear(contact, direction, offset, ground)
        if stroke is not None:
            return stroke
    return None


def _if_clear(contact: complex, direction: complex, offset: float, ground: Ground) -> Line | None:
    """The pivot's stroke onto a contact, if the blade can turn to it and its zone is clear."""
    if abs(turn_degrees(PARKED, direction)) > WORST_HEADING:
        return None
    end = contact + offset * direction
    stroke = Line(end - run_in_length(offset) * direction, end)
    return stroke if ground.is_clear(zone(stroke, offset)) else None


def _ways(path: Path) -> Iterator[tuple[int, float, complex]]:
    """Outside corners along their first edge, sharpest first; then slants onto long segments; then
    the corners that are too sharp to be met well."""
    n = len(path.segments)
    turns = {
        i: turn_degrees(path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0))
        for i in range(n)
    }
    outside = sorted((i for i in turns if turns[i] > OUTSIDE_CORNER), key=lambda i: (-turns[i], i))
    sharp = [i for i in outside if turns[i] > SHARP_CORNER]
    for i in outside[len(sharp) :][:PLACES]:
        yield i, 0.0, path.segments[i].tangent(0.0)
    longest = sorted(range(n), key=lambda i: (-path.segments[i].length(), i))[:PLACES]
    for angle in APPROACHES:
        slant = cmath.rect(1.0, math.radians(angle))
        for i in longest:
            yield i, 0.5, path.segments[i].tangent(0.5) * slant
    for i in sharp[:PLACES]:
        yield i, 0.0, path.segments[i].tangent(0.0)


def alignment_stroke(offset: float, ground: Ground) -> Line | None:
    """A straight stroke towards PARKED whose zone is in the scrap, the nearest to the front."""
    length = run_in_length(offset)
    tried: set[Box] = set()
    for spread in (0.0, length + 2 * offset):
        low_x, low_y, high_x, high_y = ground.pieces_box
        box = (low_x - spread, low_y - spread, high_x + spread, high_y + spread)
        if box in tried:
            continue
        tried.add(box)
        for start in _grid(box, 2 * offset, length):
            stroke = Line(start, start + length * PARKED)
            if ground.is_clear(zone(stroke, offset)):
                return stroke
    return None


def _grid(box: Box, step_y: float, step_x: float) -> Iterator[complex]:
    """Spots over a box, from the front to the back, about SPOTS of them at most."""
    low_x, low_y, high_x, high_y = box
    wide, long = high_x - low_x, high_y - low_y
    count = max(1.0, (wide / step_x + 1) * (long / step_y + 1))
    coarser = max(1.0, math.sqrt(count / SPOTS))
    for y in np.arange(low_y + step_y / 2, high_y, step_y * coarser):
        for x in np.arange(low_x, high_x, step_x * coarser):
            yield complex(x, y)
