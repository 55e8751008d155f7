"""What is measured of one real outline: its fit, its parallels, its cut from target to freed edge.

Everything is measured by `tests/geometry/dense.py`, which shares no code with the package.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from foamwright.errors import FoamwrightError
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.offset import FIT_SHARE, parallels
from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.model import Tool
from tests.benchmarks.outlines import Outline
from tests.geometry import greedy
from tests.geometry.chain import SLACK, TOLERANCE, as_piece, freed_edge_off, written
from tests.geometry.dense import Edge, apart, feet_off, places, spots_on, written_paths
from tests.geometry.others import by_clipper, differences, geos_slack, sampled
from tests.geometry.true_parallel import TrueParallel

#: The offset's own default.
MITRE_LIMIT = 4.0
KERF = 0.2
#: What parallels are made and measured, mm.
PARALLELS = ((0.1, "round"), (-0.1, "round"), (2.0, "round"), (-2.0, "round"), (6.0, "mitre"))
#: A curve that turns by this much within the tolerance of a place has a corner there, radians.
SHARP = math.radians(30.0)
#: Samples of a segment when that is looked for.
FINELY = 4000
#: What a beam of its kerf can't cut of a shape, however exactly it is led: an opening or a gap that
#: it swallows, the point of a wedge.
OUT_OF_REACH = ("C501", "C502", "C504")
#: What a fit may add to a kink of the drawing, degrees.
FIT_ADDS = 0.05
#: A segment shorter than this makes a cutter stutter, mm.
SHORT = 0.05


@dataclass
class Measured:
    """Figures of one outline by name, and why anything of it was refused."""

    outline: Outline
    figures: dict[str, float] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    _bounds: dict[float, int] = field(default_factory=dict)

    def bound(self, tolerance: float) -> int:
        """The greedy bound of its curves at a tolerance, mm."""
        if tolerance not in self._bounds:
            self._bounds[tolerance] = greedy.count(self.outline.path, tolerance)
        return self._bounds[tolerance]


def measured(outline: Outline) -> Measured:
    made = Measured(outline)
    for take in (_fit, _parallels, _chain):
        try:
            take(made)
        except FoamwrightError as why:
            made.refused.append(f"{take.__name__.strip('_')}: {why}")
    made.figures["refused"] = float(len(made.refused))
    by_shape = sum(any(code in why for code in OUT_OF_REACH) for why in made.refused)
    made.figures["refused for accuracy"] = float(len(made.refused) - by_shape)
    return made


def _fit(m: Measured) -> None:
    path = m.outline.path
    fitted = fit_arcs(path, TOLERANCE)
    corners = set(fitted.corner_points())
    m.figures |= {
        "fit: deviation, mm": apart([path], [fitted]),
        "fit: kink at smooth joints, deg": worst_kink(fitted, path),
        "fit: shortest segment, mm": shortest(fitted, path),
        "corners read, against the reference": len(path.corners ^ reference_corners(path)),
        "fit: corners not kept": sum(p not in corners for p in path.corner_points()),
        "fit: corners not drawn": sum(
            not turns_back(path, p, TOLERANCE) for p in corners - set(path.corner_points())
        ),
    }
    runs = greedy.smooth_runs(path)
    if runs:
        kept = sum(not isinstance(s, Cubic) for s in path.segments)
        ours, bound = len(fitted.segments) - kept, m.bound(TOLERANCE)
        m.figures |= {
            "fit: arcs over the allowed": max(0.0, ours - max(1.1 * bound, bound + len(runs))),
            "fit: arcs / greedy bound": ours / bound,
            "fit: arcs / chords": ours / chords(path, TOLERANCE),
        }


def _parallels(m: Measured) -> None:
    path = m.outline.path
    edge = Edge([path])
    for distance, join in PARALLELS:
        name = f"{distance:+g} {join}: "
        made = parallels(path, distance, TOLERANCE, join, MITRE_LIMIT)
        paths = [p.path for p in made]
        _hold_against_others(m, name, paths, distance, join)
        m.figures[name + "chords in place of arcs"] = sum(not p.exact for p in made)
        m.figures[name + "deviation, mm"] = off_distance(path, edge, paths, distance, join)
        if paths:
            true = TrueParallel(path, distance)
            m.figures[name + "kink at smooth joints, deg"] = max(
                worst_kink(p, path, true) for p in paths
            )
            m.figures[name + "shortest segment, mm"] = min(
                shortest(p, path, distance, join) for p in paths
            )
        if join == "round" and greedy.smooth_runs(path):
            ours = sum(len(p.segments) for p in paths)
            joins = len(path.corners)
            kept = sum(not isinstance(s, Cubic) for s in path.segments)
            m.figures[name + "segments / greedy bound and joins"] = ours / (
                m.bound(TOLERANCE * FIT_SHARE) + kept + joins
            )
            m.figures[name + "segments / chords"] = ours / (
                chords(path, TOLERANCE) + joins * round_chords(abs(distance), TOLERANCE)
            )


def _hold_against_others(
    m: Measured, name: str, made: Sequence[Path], distance: float, join: str
) -> None:
    found = differences(m.outline.path, made, distance, TOLERANCE, join, MITRE_LIMIT)
    for library, d in found.items():
        own = geos_slack(distance) if library == "GEOS" else 0.0
        m.figures[f"{name}from {library}, mm"] = max(0.0, d.apart - own)
        if join == "mitre":
            m.figures[f"{name}tips from {library}, mm"] = d.tips
        area = abs(d.area) / d.length if d.length else abs(d.area)
        m.figures[f"{name}area from {library}, mm2 a mm"] = max(0.0, area - own)


def off_distance(path: Path, edge: Edge, made: Sequence[Path], distance: float, join: str) -> float:
    """How far, mm, a point of a parallel misses its distance, or a foot the parallel, at worst."""
    reach = abs(distance)
    if not made:
        none = Edge.through(np.array([1e9 + 0j, 1e9 + 1j]))
        return min(reach, float(feet_off(path, edge, distance, SLACK, none).max()))
    away = edge.off(places(made)[0])
    if join == "mitre":
        # mitres lie farther out and may cover other feet; a bevel passes nearer to its corner
        return float((_least_away(path, reach) - away).max())
    feet = feet_off(path, edge, distance, SLACK, Edge(made)).max()
    return max(float(np.abs(away - reach).max()), float(feet))


def _least_away(path: Path, reach: float) -> float:
    """How near a mitred parallel may come, where corners too sharp for a mitre are bevelled, mm."""
    least = reach
    for i in path.corners:
        came, goes = path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)
        half = cmath.phase(goes / came) / 2
        if half > 0 and math.cos(half) < 1 / MITRE_LIMIT:
            least = min(least, reach * math.cos(half))
    return least


def _chain(m: Measured) -> None:
    """Laser, kerf 0.2 mm: |path - target| = half a kerf in the written SVG, both ways."""
    path = m.outline.path
    piece = as_piece(path)
    svg, height, findings = written(piece, Tool("laser", kerf=KERF))
    m.refused.extend(f"chain: {f.code} {f.what} [{f.where}]" for f in findings if f.is_fault)
    paths = written_paths(svg, height)
    contours = [piece.outline, *(o.path for o in piece.openings)]
    m.figures["chain: deviation, mm"] = freed_edge_off(contours, paths, KERF / 2)
    unreached = [f for f in findings if f.code == "C503"]
    m.figures["chain: outlines with unreached"] = float(bool(unreached))


# Corners


def reference_corners(path: Path) -> set[int]:
    """Joints whose tangents turn by more than the corner angle, by `dense`'s own tangents."""
    ends = [spots_on(s, 64)[1] for s in path.segments]
    turns = [abs(math.degrees(cmath.phase(e[0] / ends[i - 1][-1]))) for i, e in enumerate(ends)]
    return {i for i, turn in enumerate(turns) if turn > CORNER_ANGLE}


def turns_back(path: Path, spot: complex, within: float) -> bool:
    """Whether a curve's directions within a distance (mm) of a place differ by SHARP at least."""
    for s in path.segments:
        at, way = spots_on(s, FINELY)
        near = way[np.abs(at - spot) <= within]
        if len(near) and np.abs(np.angle(near / near[0])).max() >= SHARP:
            return True
    return False


# Smoothness and counts


def worst_kink(path: Path, source: Path, true: TrueParallel | None = None) -> float:
    """Degrees that tangents differ by at a joint that isn't a corner, at worst.

    true: the path is a parallel of the source.  A kink within a degree of one that is drawn there,
    or of a corner that the true parallel has there, the same way, is theirs.  A fit has a drawn one
    as it is, within FIT_ADDS.
    """
    drawn = _drawn_kinks(source, true.distance if true else 0.0)
    allowed = 1.0 if true else FIT_ADDS
    wrong = [
        abs(t)
        for p, t in _turns(path)
        if abs(t) > 1.0
        and not any(abs(t) <= abs(own) + allowed and t * own > 0 and off(p) for own, off in drawn)
        and not (true and _at_true_corner(true, p, t))
    ]
    return max(wrong, default=0.0)


def _at_true_corner(true: TrueParallel, spot: complex, turn: float) -> bool:
    """Whether a turn, degrees, is that of a corner of the true parallel, within a degree.

    Two sides that meet at an angle meet at most the tolerance over half its sine off.  A corner
    inside a bend turns as the bend does, to the side on which the parallel is.
    """
    within = math.degrees(2 * TOLERANCE)
    return turn * true.distance < 0 and true.turn_near(spot, within) >= abs(turn) - 1


def _drawn_kinks(source: Path, distance: float) -> list[tuple[float, Callable[[complex], bool]]]:
    """The kinks of a drawing, degrees, each with a test whether a spot lies beside it."""
    found: list[tuple[float, Callable[[complex], bool]]] = []
    for i in range(len(source.segments)):
        before, after = source.segments[i - 1].tangent(1.0), source.segments[i].tangent(0.0)
        turn = math.degrees(cmath.phase(after / before))
        if i not in source.corners and abs(turn) > 0.01:
            joint = source.segments[i].start
            middle = joint - 1j * distance * (before + after) / abs(before + after)
            within = TOLERANCE + abs(distance * math.radians(turn))

            def beside(spot: complex, middle: complex = middle, within: float = within) -> bool:
                return abs(spot - middle) <= within

            found.append((turn, beside))
    return found


def _turns(path: Path) -> Iterator[tuple[complex, float]]:
    for i in range(0 if path.closed else 1, len(path.segments)):
        if i not in path.corners:
            before, after = path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)
            yield path.segments[i].start, math.degrees(cmath.phase(after / before))


def shortest(path: Path, source: Path, distance: float = 0.0, join: str = "round") -> float:
    """The shortest segment, mm; at least SHORT, where shorter ones are not the path's own fault.

    distance, join: the path is that parallel of the source.  Not its fault are segments that the
    drawing has itself, round joins, and runs between two corners of the true parallel.
    """
    least = SHORT
    few = [s for s in source.segments if s.length() < SHORT]
    own = Edge.through(*(np.array([s.point(t) for t in (0, 0.5, 1)]) for s in few)) if few else None
    corners, n = source.corner_points(), len(path.segments)
    for i, s in enumerate(path.segments):
        if s.length() >= least or _is_join(s, abs(distance), corners):
            continue
        foot = np.array([s.point(0.5) + 1j * distance * s.tangent(0.5)])
        if own is not None and own.off(foot)[0] <= TOLERANCE:
            continue
        between = {i, (i + 1) % n} <= path.corners
        if between and _is_true_run(s, source, distance, join):
            continue
        least = s.length()
    return least


def _is_join(s: Line | Arc | Cubic, reach: float, corners: Sequence[complex]) -> bool:
    """An arc about a corner of the drawing: a round join."""
    if not isinstance(s, Arc) or abs(s.radius - reach) > 1e-6:
        return False
    return any(abs(c - s.centre) < 1e-6 for c in corners)


def _is_true_run(s: Line | Arc | Cubic, source: Path, distance: float, join: str) -> bool:
    """Whether Clipper2's parallel, too, has corners less than SHORT apart at these ends."""
    way = 1 if source.area > 0 else -1
    points = sampled(source, abs(distance))[::way]
    rings = by_clipper([points], way * distance, join, MITRE_LIMIT)
    for p in rings:
        way = np.roll(p, -1) - p
        turns = np.degrees(np.abs(np.angle(way / np.roll(way, 1))))
        sharp = np.flatnonzero(turns > CORNER_ANGLE)
        if not len(sharp):
            continue
        ends = [sharp[np.abs(p[sharp] - z).argmin()] for z in (s.start, s.end)]
        away = max(abs(p[k] - z) for k, z in zip(ends, (s.start, s.end), strict=True))
        if ends[0] != ends[1] and away <= SHORT / 2:
            return bool(abs(p[ends[0]] - p[ends[1]]) < SHORT)
    return False


def chords(path: Path, tolerance: float) -> float:
    """Chords of even error that curves take: the integral of sqrt(curvature / (8 tolerance))."""
    total = 0.0
    for s in path.segments:
        if isinstance(s, Line):
            total += 1
        elif isinstance(s, Arc):
            total += math.ceil(round_chords(s.radius, tolerance) * abs(s.sweep) / math.tau)
        else:
            t = (np.arange(64) + 0.5) / 64
            p = np.array([s.start, s.control1, s.control2, s.end])
            u = 1 - t
            first = 3 * np.column_stack([u * u, 2 * u * t, t * t]) @ np.diff(p)
            second = 6 * np.column_stack([u, t]) @ np.diff(p, 2)
            bend = np.abs((first.conj() * second).imag) / np.maximum(np.abs(first), 1e-12)
            total += max(1.0, math.ceil(np.sqrt(bend / (8 * tolerance)).mean()))
    return total


def round_chords(radius: float, tolerance: float) -> float:
    """Chords of a whole circle."""
    return math.pi / math.acos(1 - min(1.0, tolerance / radius))
