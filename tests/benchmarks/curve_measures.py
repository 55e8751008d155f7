"""What is measured of one real outline: its fit, its parallels, its cut from target to freed edge.

Everything is measured by `tests/geometry/dense.py`, which shares no code with the package.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
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
from tests.geometry.others import differences, geos_slack
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
            m.figures[name + "shortest segment, mm"] = min(shortest(p, path) for p in paths)
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
    """Degrees that tangents differ by at a joint that isn't a corner.

    Where the source itself has a kink too small to be a corner, what it has is allowed for; where
    the true parallel has a corner, what that turns by, and a degree more.
    """
    own = max((t for _, t in _turns(source) if t > 0.01), default=0.0)
    wrong = [
        t
        for p, t in _turns(path)
        if t > own + 0.01 and not (true and t > 1 and 0 < true.turn_near(p) >= t - 1)
    ]
    return max(wrong, default=0.0)


def _turns(path: Path) -> Iterator[tuple[complex, float]]:
    for i in range(0 if path.closed else 1, len(path.segments)):
        if i not in path.corners:
            before, after = path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)
            yield path.segments[i].start, abs(math.degrees(cmath.phase(after / before)))


def shortest(path: Path, source: Path) -> float:
    """The shortest segment, mm; SHORT where the drawing or a round join has ones as short."""
    sizes = [s.length() for s in path.segments if not _is_join(s)]
    own = min(s.length() for s in source.segments)
    least = min(sizes, default=SHORT)
    return least if least < min(SHORT, 0.5 * own) else max(least, SHORT)


def _is_join(s: Line | Arc | Cubic) -> bool:
    """An arc of half a kerf: a round join."""
    return isinstance(s, Arc) and abs(s.radius - KERF / 2) < 1e-6


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
