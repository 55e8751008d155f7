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
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line
from foamwright.model import Tool
from tests.benchmarks.outlines import Outline
from tests.geometry import greedy
from tests.geometry.chain import SLACK, TOLERANCE, as_piece, freed_edge_off, written
from tests.geometry.dense import Edge, apart, feet_off, places, written_paths

#: The offset's own default.
MITRE_LIMIT = 4.0
KERF = 0.2
#: A segment shorter than this makes a cutter stutter, mm.
SHORT = 0.05


@dataclass
class Measured:
    """Figures of one outline by name, and why anything of it was refused."""

    outline: Outline
    figures: dict[str, float] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)


def measured(outline: Outline) -> Measured:
    made = Measured(outline)
    for take in (_fit, _parallels, _chain):
        try:
            take(made)
        except FoamwrightError as why:
            made.refused.append(f"{take.__name__.strip('_')}: {why}")
    return made


def _fit(m: Measured) -> None:
    path = m.outline.path
    fitted = fit_arcs(path, TOLERANCE)
    corners = set(fitted.corner_points())
    m.figures |= {
        "fit: deviation, mm": apart([path], [fitted]),
        "fit: kink at smooth joints, deg": worst_kink(fitted, path),
        "fit: shortest segment, mm": shortest(fitted, path),
        "fit: corners not kept": sum(p not in corners for p in path.corner_points()),
    }
    runs = greedy.smooth_runs(path)
    if runs:
        kept = sum(not isinstance(s, Cubic) for s in path.segments)
        ours, bound = len(fitted.segments) - kept, greedy.count(path, TOLERANCE)
        m.figures |= {
            "fit: arcs over the allowed": max(0.0, ours - max(1.1 * bound, bound + len(runs))),
            "fit: arcs / greedy bound": ours / bound,
            "fit: arcs / chords": ours / chords(path, TOLERANCE),
        }


def _parallels(m: Measured) -> None:
    path = m.outline.path
    edge = Edge([path])
    for distance, join in ((0.1, "round"), (-0.1, "round"), (6.0, "mitre")):
        name = f"{distance:+g} {join}: "
        made = parallels(path, distance, TOLERANCE, join)
        paths = [p.path for p in made]
        m.figures[name + "chords in place of arcs"] = sum(not p.exact for p in made)
        m.figures[name + "deviation, mm"] = off_distance(path, edge, paths, distance, join)
        if paths:
            m.figures[name + "kink at smooth joints, deg"] = max(worst_kink(p, path) for p in paths)
            m.figures[name + "shortest segment, mm"] = min(shortest(p, path) for p in paths)
        if join == "round" and greedy.smooth_runs(path):
            ours = sum(len(p.segments) for p in paths)
            bound = greedy.count(path, TOLERANCE * FIT_SHARE) + sum(
                not isinstance(s, Cubic) for s in path.segments
            )
            joins = len(path.corners)
            m.figures[name + "segments / greedy bound and joins"] = ours / (bound + joins)
            m.figures[name + "segments / chords"] = ours / (
                chords(path, TOLERANCE) + joins * round_chords(abs(distance), TOLERANCE)
            )


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


# Smoothness and counts


def worst_kink(path: Path, source: Path) -> float:
    """Degrees that tangents differ by at a joint that isn't a corner.

    Where the source itself has a kink too small to be a corner, what it has is allowed for.
    """
    own = max((t for t in _turns(source) if t > 0.01), default=0.0)
    worst = max(_turns(path), default=0.0)
    return worst if worst > own + 0.01 else 0.0


def _turns(path: Path) -> Iterator[float]:
    for i in range(0 if path.closed else 1, len(path.segments)):
        if i not in path.corners:
            before, after = path.segments[i - 1].tangent(1.0), path.segments[i].tangent(0.0)
            yield abs(math.degrees(cmath.phase(after / before)))


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
