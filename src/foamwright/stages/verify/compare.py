"""Compares what the simulated tool leaves with a target, in the three statements of the proof.

(a) No cut enters a target: no point of a path nearer to it than half a kerf less the limit (for an
    oval kerf: nearer once the stretch of `geometry/oval.py` has made it a disc, which is stricter).
(b) The freed edge lies within the limit of the target closed by the tool's section, both ways, and
    what holds the piece's inside is one part that hangs together with nothing else.
(c) What the closing leaves over beyond the target is listed with place and depth.

Works on one piece with the cuts near it.  Does not know files, records or how a cut was planned.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from foamwright.geometry.oval import Oval, mapped, swollen
from foamwright.geometry.region import (
    Distances,
    Region,
    boundary,
    boundary_points,
    bounds,
    box,
    common,
    contains,
    contains_points,
    curve,
    directed_deviation,
    face_about,
    grown,
    minus,
    near,
    parts,
    point,
    rings,
    touches_or_overlaps,
    union,
)
from foamwright.geometry.segments import Box, Points
from foamwright.stages.verify.simulate import Trace
from foamwright.stages.verify.targets import Target

#: Half width, as a share of the limit, that a narrower cut is given so that it parts the stock: a
#: bridge thinner than the limit holds nothing, as where a cut ends beside its own start.
HAIR_SHARE = 0.5
#: How far beyond the tool a cut is still looked at for a piece, mm.
REACH = 0.5
#: Distance between points at which edges are compared, mm; vertices are always among them.
STEP = 1.0
#: The same where a cut that is in a piece already is measured, mm.
FINE_STEP = 0.02
#: Share of an outline that must lie uncut before it counts as missing rather than open.
MISSING_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Spot:
    """A place (mm, sheet) with the measure found there, mm."""

    at: complex
    depth: float

    def place(self) -> str:
        return f"({self.at.real:.2f}, {self.at.imag:.2f})"


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a piece: a V code, the place, the words."""

    code: str
    at: complex | None
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class Face:
    """mm that an edge lies inside its target on another face (beyond it: below nought)."""

    side: Literal["top", "bottom"]
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Proof:
    """What was found of one piece in one file.

    left: mm that are left for the hand, by bridges or uncut at the bottom face.  far: where its
    edge there is farthest off its target.  faces: where a taper's edge lies on the other faces.
    """

    worst: Spot
    faults: tuple[Fault, ...]
    left: float = 0.0
    far: Spot | None = None
    faces: tuple[Face, ...] = ()


def prove(target: Target, cuts: Sequence[Trace], beam: Oval, limit: float) -> Proof:
    """Statements (a) and (b) for one piece; cuts: the severing traces near it."""
    worst = Spot(target.outline.start, 0.0)
    faults: list[Fault] = []
    for variant in range(max((len(c.edges) for c in cuts), default=1)):
        lines = [c.line(variant) for c in cuts]
        entered = list(entries(target, cuts, variant, limit))
        spot, found = compare_freed(target, lines, beam, limit)
        faults.extend(f for f in [*entered, *found] if f not in faults)
        if spot.depth > worst.depth:
            worst = spot
        if faults:
            break
    return Proof(worst, tuple(faults))


def entries(target: Target, cuts: Sequence[Trace], variant: int, limit: float) -> Iterator[Fault]:
    """(a) Cuts that enter the target deeper than the limit, each at its deepest."""
    for cut in cuts:
        line, beam = cut.line(variant), cut.beam
        if not touches_or_overlaps(line, target.guard(-limit, beam)):
            continue
        area = mapped(target.area, beam.stretch)
        inside = common(line, target.guard(-limit, beam))
        points = boundary_points(mapped(inside, beam.stretch), FINE_STEP)
        depth = np.where(contains_points(area, points), 1.0, -1.0)
        depth = beam.radius + depth * directed_deviation(points, area)
        k = int(np.argmax(depth))
        yield Fault(
            "V008",
            beam.stretch.inverse()(complex(points[k])),
            f"a cut (path {cut.number + 1} of the file) enters the piece by {depth[k]:.3f} mm",
            "cut the job anew",
        )


def compare_freed(
    target: Target, lines: Sequence[Region], beam: Oval, limit: float
) -> tuple[Spot, list[Fault]]:
    """(b) The part that holds the piece's inside against the target closed by the tool."""
    wanted = target.closed(beam)
    part = freed_part(target, lines, beam, limit)
    if part is None:
        what = "its inside is cut away"
        depth = float(directed_deviation(np.array([target.inside]), target.area)[0])
        return Spot(target.inside, depth), [Fault("V009", target.inside, what, _ANEW)]
    edge = boundary_points(wanted, STEP)
    hanging = []
    if hangs_on(part, window_of(target, beam)):
        ring = curve(target.outline, target.fine)
        told = grown(target.uncut, limit) if target.bridges else None
        hanging.append(("it", ring if told is None else minus(ring, told)))
    for hole, path in zip(target.holes, target.openings, strict=True):
        if contains(part, hole):
            hanging.append(("what its opening frees", curve(path, target.fine)))
    if hanging:
        around = _Around(union(lines), beam, limit)
        found = [_not_free(name, ring, around) for name, ring in hanging]
        return max((s for s, _ in found), key=lambda s: s.depth), [f for _, f in found]
    hair = max(0.0, HAIR_SHARE * limit - beam.radius)
    missed = np.maximum(
        _off_swept(edge, union(lines), beam, limit), _lost(edge, part, target, lines, hair)
    )
    missed[target.at_bridges(edge, limit)] = 0.0
    spot = max(_edge_off(part, wanted, hair), _worst(edge, missed), key=lambda s: s.depth)
    if spot.depth <= limit:
        return spot, []
    what = f"its freed edge is {spot.depth:.3f} mm off, the limit is {limit:g} mm"
    return spot, [Fault("V010", spot.at, what, _ANEW)]


_ANEW = "cut the job anew"


def window_of(target: Target, beam: Oval) -> Box:
    """The part of the sheet that is looked at for a piece."""
    margin = 2 * beam.radius + REACH
    low_x, low_y, high_x, high_y = bounds(target.closed(beam))
    return low_x - margin, low_y - margin, high_x + margin, high_y + margin


def freed_part(
    target: Target,
    lines: Sequence[Region],
    beam: Oval,
    limit: float,
    by_hand: Oval | None = None,
) -> Region | None:
    """What holds the target's inside once the lines are swept, and the bridges that the record
    tells of severed, within its window.

    A tool narrower than a hair is swept as wide as one, so the part is by that much smaller.
    by_hand: the section that bridges are severed between, if it is another than the beam's.
    """
    section = beam.at_least(HAIR_SHARE * limit)
    gone = [swollen(line, section, tolerance=limit / 40) for line in lines]
    swept = union([*gone, target.by_hand(by_hand or beam)] if target.bridges else gone)
    for part in parts(minus(box(window_of(target, beam)), swept)):
        if contains(part, target.inside):
            return part
    return None


def hangs_on(part: Region, window: Box) -> bool:
    """True where the part goes on to the window's edge: it was not cut free."""
    return bool(np.min(np.abs(np.array(bounds(part)) - np.array(window))) < REACH / 4)


def _off_swept(points: Points, lines: Region, beam: Oval, limit: float) -> Distances:
    """For each point its distance to the edge of what the tool sweeps along lines."""
    if beam.is_disc:
        off: Distances = np.abs(directed_deviation(points, lines) - beam.radius)
        return off
    return directed_deviation(points, swollen(lines, beam, tolerance=limit / 40))


def _lost(
    edge: Points, part: Region, target: Target, lines: Sequence[Region], hair: float
) -> Distances:
    """For each point of the edge wanted its distance to what was freed: great where a tip is lost.

    Where a tool narrower than a hair is swept as wide as one, thin tips are always lost to it;
    there the face between the bare lines is asked.
    """
    off = directed_deviation(edge, part)
    if not hair:
        return off
    doubtful = np.flatnonzero(off > 2 * hair)
    off = np.zeros(len(edge))
    face = face_about(target.inside, lines) if len(doubtful) else None
    if face is not None:
        off[doubtful] = directed_deviation(edge[doubtful], face)
    return off


def _edge_off(part: Region, wanted: Region, hair: float) -> Spot:
    """The point of a part's edge that lies farthest from where it is wanted: a hair inside."""
    points = boundary_points(part, STEP)
    off = directed_deviation(points, wanted)
    if hair:
        off = np.where(contains_points(wanted, points), np.abs(off - hair), off + hair)
    return _worst(points, off)


def _worst(points: Points, off: Distances) -> Spot:
    k = int(np.argmax(off))
    return Spot(complex(points[k]), float(off[k]))


@dataclass(frozen=True, slots=True)
class _Around:
    """The cuts about a piece that did not free it, and how wide they are."""

    lines: Region
    beam: Oval
    limit: float


def _not_free(name: str, ring: Region, cuts: _Around) -> tuple[Spot, Fault]:
    """Where and how widely a piece, or what lies in its opening, still hangs on."""
    points = boundary_points(ring, min(STEP, 0.1))
    off = _off_swept(points, cuts.lines, cuts.beam, cuts.limit)
    low_x, low_y, high_x, high_y = bounds(ring)
    off = np.minimum(off, max(high_x - low_x, high_y - low_y))
    k = int(np.argmax(off))
    spot = Spot(complex(points[k]), float(off[k]))
    if np.mean(off > cuts.limit) > MISSING_SHARE:
        return spot, Fault("V009", spot.at, f"{name} is not cut out: no cut lies there", _ANEW)
    bridge, width = _bridge(ring, cuts)
    what = f"{name} is not cut free: {width:.3f} mm of its edge is uncut"
    return spot, Fault("V009", spot.at if bridge is None else bridge, what, _ANEW)


def _bridge(ring: Region, cuts: _Around) -> tuple[complex | None, float]:
    """The longest stretch of a ring that no cut reaches within the limit."""
    runs = rings(minus(ring, swollen(cuts.lines, cuts.beam, cuts.limit, cuts.limit / 10)))
    if not runs:
        return None, 0.0
    lengths = [float(np.abs(np.diff(r)).sum()) for r in runs]
    k = int(np.argmax(lengths))
    return complex(runs[k][len(runs[k]) // 2]), lengths[k]


def unreached(target: Target, beam: Oval, limit: float) -> list[Spot]:
    """(c) What the tool's section can't reach of the target's edge, deeper than the limit.

    depth: from the target's edge to the edge that the tool leaves; r (1 / sin(phi / 2) - 1) for a
    disc in a wedge of angle phi.
    """
    if beam.radius == 0:
        return []
    wanted = target.closed(beam)
    points = boundary_points(target.area, STEP)
    points = points[contains_points(grown(wanted, -limit, limit / 40), points)]
    if not len(points):
        return []
    pockets = parts(minus(wanted, target.area))
    index = near(pockets)
    inside = np.array([index.nearest(point(complex(p))) for p in points])
    edge = boundary(wanted)
    spots = []
    for k in np.unique(inside):
        mine = points[inside == k]
        # the mouth alone: the far side of a thin land may be nearer
        mouth = common(edge, grown(pockets[k], limit))
        spots.append(_worst(mine, directed_deviation(mine, mouth)))
    return sorted(spots, key=lambda s: (-s.depth, s.at.real, s.at.imag))
