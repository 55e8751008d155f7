"""Curves sampled densely and measured by scipy alone: the tests' own eye for deviations.

Shares no code with the package's flattening, regions, fit or offset: points come from the
segments' defining numbers (Bernstein's form of a cubic, the circle through a bulge), distances from
a k-d tree over them and the chords beside the nearest.  A distance is never less than the true one
and at most SAGITTA more.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

Points = NDArray[np.complex128]
Floats = NDArray[np.float64]
#: How far a chord of a sampled curve may lie from it, and how long it may be, mm.
SAGITTA, LONGEST = 1e-4, 0.2
#: Neighbours in the k-d tree that are asked for, one after the other until they must suffice.
NEIGHBOURS = (3, 12, 48, 192)
#: Places on each segment that are measured at least, and the widest gap between them, mm.
PLACES, GAP = 20, 0.5

#: What is longer than so many chords or places gets longer ones and wider gaps.
MANY = 20_000
#: Points that are looked at together, so that the pairs fit into memory.
AT_ONCE = 256
#: A foot farther off than this is asked for its side, mm.
DOUBTFUL = 0.003


def spots_on(segment: Segment, count: int) -> tuple[Points, Points]:
    """count + 1 points of a segment, even in its parameter, and the directions of travel there."""
    return spots_at(segment, np.linspace(0.0, 1.0, count + 1))


def spots_at(segment: Segment, t: Floats) -> tuple[Points, Points]:
    """The points of a segment at parameters, rising, two at least; the directions of travel."""
    a, b = segment.start, segment.end
    if isinstance(segment, Cubic):
        p = np.array([a, segment.control1, segment.control2, b])
        u = 1 - t
        at = np.column_stack([u**3, 3 * u * u * t, 3 * u * t * t, t**3]) @ p
        way = np.column_stack([u * u, 2 * u * t, t * t]) @ np.diff(p)
        stuck = np.abs(way) < 1e-9 * np.abs(np.diff(p)).sum()
        if stuck.any():  # a stop, where a control point lies on its end
            beyond = np.append(np.diff(at), at[-1] - at[-2])
            way = np.where(stuck, beyond, way)
    elif isinstance(segment, Arc):
        turn = 4 * math.atan(segment.bulge)
        centre = (a + b) / 2 + 1j * (b - a) / (2 * math.tan(turn / 2))
        at = centre + (a - centre) * np.exp(1j * turn * t)
        way = 1j * math.copysign(1.0, turn) * (at - centre)
    else:
        at = a + (b - a) * t
        way = np.full(len(t), b - a)
    return at, way / np.abs(way)


def rough_length(segment: Segment) -> float:
    """mm, from above."""
    if isinstance(segment, Cubic):
        p = np.array([segment.start, segment.control1, segment.control2, segment.end])
        return float(np.abs(np.diff(p)).sum())
    chord = abs(segment.end - segment.start)
    if isinstance(segment, Arc):
        return chord * (1 + segment.bulge**2)
    return chord


def fine_count(segment: Segment, sagitta: float = SAGITTA, longest: float = LONGEST) -> int:
    """Even steps of the parameter that keep a sagitta and a longest chord, mm."""
    bend = 0.0
    if isinstance(segment, Cubic):
        p = np.array([segment.start, segment.control1, segment.control2, segment.end])
        bend = 6 * float(np.abs(np.diff(p, 2)).max())
    elif isinstance(segment, Arc):
        turn = abs(4 * math.atan(segment.bulge))
        bend = turn * turn * abs(segment.end - segment.start) / (2 * math.sin(turn / 2))
    by_bend = math.sqrt(bend / (8 * sagitta))
    speed = 3.0 if isinstance(segment, Cubic) else 1.0  # a cubic's steps may be uneven
    return max(1, math.ceil(by_bend), math.ceil(speed * rough_length(segment) / longest))


def places(paths: Iterable[Path], joints: bool = True) -> tuple[Points, Points]:
    """Points all along paths and the directions of travel there: where to measure."""
    within = slice(None) if joints else slice(1, -1)
    found = []
    segments = [s for p in paths for s in p.segments]
    gap = max(GAP, math.fsum(map(rough_length, segments)) / MANY)
    for s in segments:
        at, way = spots_on(s, max(PLACES, math.ceil(rough_length(s) / gap)))
        found.append((at[within], way[within]))
    return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])


class Edge:
    """Paths as a dense set of chords, to measure distances to."""

    def __init__(self, paths: Iterable[Path]) -> None:
        segments = [s for p in paths for s in p.segments]
        longest = max(LONGEST, math.fsum(map(rough_length, segments)) / MANY)
        self._set([spots_on(s, fine_count(s, longest=longest))[0] for s in segments])

    @staticmethod
    def through(*runs: Points) -> Edge:
        """Straight lines from point to point of each run."""
        made = Edge.__new__(Edge)
        made._set(list(runs))
        return made

    def _set(self, runs: list[Points]) -> None:
        self.starts = np.concatenate([r[:-1] for r in runs])
        self.ends = np.concatenate([r[1:] for r in runs])
        middle = (self.starts + self.ends) / 2
        self._half = float(np.abs(self.ends - self.starts).max()) / 2
        self._tree = cKDTree(np.column_stack([middle.real, middle.imag]))

    def off(self, points: Points) -> Floats:
        """For each point its distance to the nearest chord, mm."""
        found = np.empty(len(points))
        left = np.arange(len(points))
        for k in NEIGHBOURS:
            asked = points[left]
            count = min(k, len(self.starts))
            away, near = self._tree.query(np.column_stack([asked.real, asked.imag]), k=count)
            away, near = away.reshape(len(left), -1), near.reshape(len(left), -1)
            found[left] = self._to_chords(asked, near).min(axis=1)
            unsure = away[:, -1] < found[left] + self._half
            left = left[unsure & (count < len(self.starts))]
            if not len(left):
                break
        return found

    def _to_chords(self, points: Points, chords: NDArray[np.intp]) -> Floats:
        a = self.starts[chords]
        way = self.ends[chords] - a
        from_a = points[:, None] - a
        share = (from_a * way.conj()).real / np.maximum(np.abs(way) ** 2, 1e-300)
        return np.asarray(np.abs(from_a - np.clip(share, 0.0, 1.0) * way))


def apart(a: Iterable[Path], b: Iterable[Path]) -> float:
    """Hausdorff distance of two sets of paths, mm."""
    a, b = list(a), list(b)
    there = Edge(b).off(places(a)[0]).max()
    back = Edge(a).off(places(b)[0]).max()
    return float(max(there, back))


def winds(points: Points, ring: Path) -> NDArray[np.bool_]:
    """Which points a closed path winds round, by crossings of a ray to the right."""
    runs = [spots_on(s, fine_count(s))[0] for s in ring.segments]
    a, b = np.concatenate([r[:-1] for r in runs]), np.concatenate([r[1:] for r in runs])
    found = np.zeros(len(points), dtype=bool)
    for k in range(0, len(points), AT_ONCE):
        some = points[k : k + AT_ONCE, None]
        which, chord = np.nonzero((a.imag <= some.imag) != (b.imag <= some.imag))
        from_a, way = some[which, 0] - a[chord], b[chord] - a[chord]
        right = from_a.real < from_a.imag * way.real / way.imag
        found[k : k + AT_ONCE] = np.bincount(which[right], minlength=len(some)) % 2 == 1
    return found


def feet_off(target: Path, edge: Edge, distance: float, slack: float, made: Edge) -> Floats:
    """How far from `made` are the feet `distance` mm to the right of a target's points, mm.

    edge: of all targets together.  A foot nearer to a target than the distance is left out (a disc
    can't touch its point: unreached), and one on the wrong side, as in a sharp cleft where it lies
    beyond the other wall.
    """
    points, ways = places([target], joints=False)
    feet = points - 1j * ways * distance
    feet = feet[edge.off(feet) >= abs(distance) - slack]
    if not len(feet):
        return np.zeros(1)
    off = made.off(feet)
    doubtful = np.flatnonzero(off > DOUBTFUL)
    if len(doubtful):
        wrong = winds(feet[doubtful], target) == ((target.area > 0) == (distance > 0))
        off[doubtful[wrong]] = 0.0
    return off


# Written files

_NUMBER = re.compile(r"[MLAZ]|[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?")


def written_paths(svg: str, height: float) -> list[Path]:
    """The paths of a written SVG in coordinates with y up; arcs by SVG 1.1, appendix F.6.5."""
    return [_written(d, height) for d in re.findall(r'<path d="([^"]*)"', svg)]


def _written(data: str, height: float) -> Path:
    words = _NUMBER.findall(data)
    made: list[Segment] = []
    here = start = 0j
    i = 0
    while i < len(words):
        command = words[i]
        if command == "Z":
            if abs(here - start) > 0:
                made.append(Line(here, start))
            i += 1
            continue
        x, y = (float(w) for w in words[i + 1 + 5 * (command == "A") :][:2])
        there = complex(x, height - y)
        if command == "M":
            start = there
            i += 3
        elif command == "L":
            made.append(Line(here, there))
            i += 3
        else:
            radius, large, sweep = float(words[i + 1]), words[i + 4], words[i + 5]
            half = math.asin(min(1.0, abs(there - here) / 2 / radius))
            turn = 2 * math.pi - 2 * half if large == "1" else 2 * half
            way = -1 if sweep == "1" else 1  # the text's y runs down
            made.append(Arc(here, there, way * math.tan(turn / 4)))
            i += 8
        here = there
    made = [s for s in made if s.start != s.end]  # points that the text's decimals made one
    return Path(tuple(made), words[-1] == "Z")
