"""Knives by the tests' own eye: what a trailing tip or a turned blade does along written paths.

Shares no code with the package's proof.  The tip of a drag knife is integrated as a tractrix over
fine chords (heading error tan(psi/2) falls by exp(-s/e) along a chord, as in any text on plane
curves).  An oscillating blade is its section: on the true face a straight line `section` long that
trails the stroke; at the bottom face the edge there, `overrun` behind.  Distances are from `dense`,
what is inside a piece from the polygon library.  Lengths in mm.
"""

from __future__ import annotations

import cmath
import math
import random
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Cubic, Line, Segment
from foamwright.model import (
    OPERATIONS,
    Cut,
    FileStyle,
    Opening,
    Piece,
    Program,
    Sheet,
    Slit,
    Tool,
)
from foamwright.stages.compensate import compensate
from foamwright.stages.save.svg import svg_text
from tests.geometry.chain import TOLERANCE, as_piece
from tests.geometry.dense import Edge, Floats, Points, fine_count, places, spots_on, written_paths
from tests.stages.compensate.sheets import sheet as laid

LIMIT = 0.01
#: mm between a chord and its arc, radians of an arc under a chord, and mm between places, at most.
CHORD, CHORD_TURN, STEP = 1e-5, 0.02, 0.1
#: Degrees that the blade may be off the first stroke of a file, and mm beside it at its end.
WORST_START, ALIGNED = 150.0, 0.002
#: Places across a blade's section.
ACROSS = 9
#: mm that a blade's flat may be off a curve, or a length uncut, without a word.
UNTOLD = 0.01
#: mm: a tip that moved less is at rest.
RESTS = 2e-4
#: mm between places at which a target is asked whether it is severed.
FINE = 0.05


@dataclass
class Seen:
    """Figures of a sheet by name, mm, and the codes for which it was refused or that tell."""

    figures: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    refused: frozenset[str] = frozenset()
    told: frozenset[str] = frozenset()

    def most(self, name: str, value: float) -> None:
        self.figures[name] = max(self.figures[name], value)


def beyond(seen: Seen, tool: Tool) -> dict[str, float]:
    """The figures that are beyond what is asked of the true face or told of the rest."""
    swings = tool.far_face_max if "C522" in seen.told else UNTOLD
    limits = dict.fromkeys(("missed", "astray", "inside", "top missed", "top inside"), LIMIT)
    limits |= dict.fromkeys(("body inside", "bottom inside", "bottom off"), swings + LIMIT)
    limits["untold"] = UNTOLD + 2 * FINE
    return {n: v for n, v in seen.figures.items() if v > limits.get(n, math.inf)}


# Sheets


def random_outline(rng: random.Random, size: float, bend: float) -> Path:
    """Lines, arcs and cubics between points all round the origin, `size` the farthest; no loops.

    bend: a side's at most, as an arc's bulge.
    """
    while True:
        n = rng.randint(3, 12)
        spots = [size * rng.uniform(0.3, 1) * cmath.rect(1, 2 * math.pi * k / n) for k in range(n)]
        sides = zip(spots, [*spots[1:], spots[0]], strict=True)
        made = [_side(rng, a, b, bend) for a, b in sides]
        path = Path.of(made, True)
        if path.area > 0 and solid(path).is_valid:
            return path


def _side(rng: random.Random, a: complex, b: complex, most: float) -> Segment:
    bend, skew, kind = rng.uniform(-most, most), 2 * rng.uniform(-most, most), rng.choice("lac")
    if kind == "l":
        return Line(a, b)
    if kind == "a":
        return Arc(a, b, bend)
    way = (b - a) / 3
    return Cubic(a, a + way * cmath.rect(1, bend), b - way * cmath.rect(1, bend + skew), b)


def random_piece(rng: random.Random, size: float, margin: float, bend: float) -> Piece:
    """A random outline, every other time with a random opening, else perhaps with a slit."""
    outline = random_outline(rng, size, bend)
    hole = random_outline(rng, size * rng.uniform(0.05, 0.3), bend)
    ground, gap = solid(outline), solid(hole)
    openings = ()
    if rng.random() < 0.5 and gap.within(ground) and gap.distance(ground.boundary) > 0.5:
        openings = (Opening("gap", hole.reversed()),)
    slits = () if openings else _slits(rng, size, bend, ground)
    x, y, _, _ = outline.bounds
    to = Affine.translation(complex(margin - x, margin - y))
    return Piece("random", outline, openings, slits).transformed(to)


def _slits(
    rng: random.Random, size: float, bend: float, ground: shapely.Polygon
) -> tuple[Slit, ...]:
    """A slit across the origin, if it lies clear of the edge."""
    a, b = (-size * rng.uniform(0.05, 0.25), size * rng.uniform(0.05, 0.25) * (1 + 0.5j))
    path = Path((_side(rng, a + 0j, b, bend),), False)
    at, _ = even_places(path)
    line = shapely.LineString(np.column_stack([at.real, at.imag]))
    return (Slit("s", path),) if line.distance(ground.boundary) > 0.5 else ()


def side_by_side(pieces: Sequence[Piece], margin: float, gap: float) -> Sheet:
    """Pieces in a row on a sheet with a margin."""
    x, row = margin, []
    for k, p in enumerate(pieces):
        low_x, low_y, high_x, _ = p.outline.bounds
        to = Affine.translation(complex(x - low_x, margin - low_y))
        row.append(replace(p.transformed(to), name=f"p{k}"))
        x += high_x - low_x + gap
    top = max(p.outline.bounds[3] for p in row)
    return laid(*row, width=x - gap + margin, length=top + margin)


def random_sheet(rng: random.Random, least: float, most: float, bend: float = 0.4) -> Sheet:
    """Two random pieces, by the magnitude of their size evenly."""
    margin = rng.uniform(6, 20)
    sizes = [math.exp(rng.uniform(math.log(least), math.log(most))) for _ in range(2)]
    pieces = [random_piece(rng, s, margin, bend) for s in sizes]
    return side_by_side(pieces, margin, rng.uniform(2, 15))


def sheet_of(outlines: Sequence[Path], margin: float, gap: float) -> Sheet:
    """Outlines as pieces (clockwise ones as openings of plates) in a row."""
    return side_by_side([as_piece(o) for o in outlines], margin, gap)


def contours(sheet: Sheet) -> Iterator[tuple[str, str, Path]]:
    """Copy, contour and path of every outline, opening and slit."""
    for placed in sheet.placements:
        yield placed.copy.name, "outline", placed.piece.outline
        for o in placed.piece.openings:
            yield placed.copy.name, f"opening:{o.name}", o.path
        for k in placed.piece.slits:
            yield placed.copy.name, f"slit:{k.name}", k.path


def solid(outline: Path, openings: Sequence[Path] = ()) -> shapely.Polygon:
    return shapely.Polygon(ring(outline), [ring(o) for o in openings])


def ring(path: Path) -> Floats:
    points = np.concatenate([spots_on(s, fine_count(s))[0][:-1] for s in path.segments])
    return np.column_stack([points.real, points.imag])


class Pieces:
    """What a tool must not enter."""

    def __init__(self, sheet: Sheet) -> None:
        pieces = [p.piece for p in sheet.placements]
        self._solids = [solid(p.outline, [o.path for o in p.openings]) for p in pieces]
        self._edges = [Edge([p.outline, *(o.path for o in p.openings)]) for p in pieces]
        for s in self._solids:
            shapely.prepare(s)

    def depth(self, points: Points) -> float:
        """How deep the deepest of the points lies in a piece, mm."""
        deepest = 0.0
        for s, edge in zip(self._solids, self._edges, strict=True):
            within = points[shapely.contains_xy(s, points.real, points.imag)]
            if len(within):
                deepest = max(deepest, float(edge.off(within).max()))
        return deepest


def cut_and_written(
    sheet: Sheet, tool: Tool, rng: random.Random
) -> tuple[list[Cut], list[Path], Sequence[Finding]]:
    """The cuts, each by one of its entries, and the paths of the SVG in their order."""
    found, findings = compensate(sheet, tool, TOLERANCE)
    chosen = [replace(c, path=rng.choice(c.entries).path) if c.entries else c for c in found]
    chosen.sort(key=lambda c: OPERATIONS.index(c.operation))
    svg = svg_text(Program(sheet, tool, tuple(chosen), 0.0), FileStyle())
    paths = written_paths(svg, sheet.length)
    assert len(paths) == len(chosen)
    return chosen, paths, findings


def _codes(findings: Sequence[Finding], faults: bool) -> frozenset[str]:
    return frozenset(f.code for f in findings if f.is_fault == faults)


def stations(path: Path) -> tuple[Floats, Points, Points]:
    """Lengths along a path of lines and arcs, places and headings, near enough for chords."""
    before, made = 0.0, []
    for s in path.segments:
        chord = abs(s.end - s.start)
        length, bend = chord, 0.0
        if isinstance(s, Arc):
            bend = 4 * abs(math.atan(s.bulge))
            length = chord * bend / (2 * math.sin(bend / 2))
            by_sagitta = bend / math.sqrt(8 * CHORD * bend / length)
            count = math.ceil(max(bend / CHORD_TURN, by_sagitta, length / STEP))
        else:
            count = math.ceil(length / STEP)
        at, way = spots_on(s, max(1, count))
        made.append((before + np.linspace(0.0, length, len(at)), at, way))
        before += length
    along, at, way = (np.concatenate(part) for part in zip(*made, strict=True))
    return along, at, way


# Drag knife


def any_drag_knife(rng: random.Random) -> Tool:
    return Tool(
        "drag-knife",
        blade_offset=rng.choice([0.2, 0.25, 0.5, 1.0]),
        curves=rng.choice(["arcs", "lines"]),
        swivel_angle=rng.choice([5.0, 10.0, 20.0]),
    )


def trailing(pivots: Points, offset: float, heading: complex) -> tuple[Points, complex]:
    """The tip's places while the pivot goes from point to point, and the last heading (unit)."""
    tips = [pivots[0] - offset * heading]
    for a, b in zip(pivots[:-1].tolist(), pivots[1:].tolist(), strict=True):
        gone = abs(b - a)
        if gone == 0:
            continue
        way = (b - a) / gone
        psi = cmath.phase(heading / way)
        heading = way * cmath.rect(1.0, 2 * math.atan(math.tan(psi / 2) * math.exp(-gone / offset)))
        tips.append(b - offset * heading)
    return np.array(tips), heading


def run_in(offset: float) -> float:
    """mm from WORST_START off until the tip is ALIGNED: e ln(tan(theta0/2) / tan(delta/2))."""
    ratio = math.tan(math.radians(WORST_START) / 2) / math.tan(ALIGNED / offset / 2)
    return offset * math.log(ratio)


def see_drag_knife(sheet: Sheet, tool: Tool, rng: random.Random) -> Seen:
    """missed: a target's place to the tips' trace.  astray: of the tip, once it is aligned and
    turned, from the contours.  inside: of the tip in a piece, ever but on slits.
    """
    cuts, paths, findings = cut_and_written(sheet, tool, rng)
    seen = Seen(refused=_codes(findings, True), told=_codes(findings, False))
    if seen.refused:
        return seen
    e, targets = tool.blade_offset, Edge([c for _, _, c in contours(sheet)])
    first = stations(paths[0])[2][0]
    heading = complex(first * cmath.rect(1, math.radians(rng.uniform(-WORST_START, WORST_START))))
    traces, whole = [], []
    for cut, path in zip(cuts, paths, strict=True):
        along, pivots, _ = stations(path)
        keep = np.append(True, np.diff(along) > 0)
        tips, heading = trailing(pivots[keep], e, heading)
        traces.append(tips)
        slit = cut.operation == "CUT_SLIT"
        if not slit:
            whole.append(tips)
        if cut.copy:  # not the stroke in the scrap that aligns
            settled = tips[along[keep] > (0.0 if slit else run_in(e) + math.pi * e)]
            if len(settled):
                seen.most("astray", float(targets.off(settled).max()))
    severed = _joined(traces)
    assert severed is not None
    seen.most("missed", float(severed.off(_fine([c for _, _, c in contours(sheet)])).max()))
    seen.most("inside", Pieces(sheet).depth(np.concatenate(whole)))
    return seen


def _fine(paths: Sequence[Path]) -> Points:
    """Places on paths, FINE apart or nearer, and their joints."""
    even = [even_places(p)[0] for p in paths]
    return np.concatenate([*even, places(paths)[0]])


def even_places(path: Path) -> tuple[Points, Floats]:
    """Places on a path about FINE apart, and the length that each stands for."""
    runs = [spots_on(s, 4 * fine_count(s))[0] for s in path.segments]
    points = np.concatenate([r[:-1] for r in runs] + [runs[-1][-1:]])
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(points)))])
    count = max(8, math.ceil(along[-1] / FINE))
    at = (np.arange(count) + 0.5) * along[-1] / count
    made = np.interp(at, along, points.real) + 1j * np.interp(at, along, points.imag)
    return made, np.full(count, along[-1] / count)


# Oscillating knife


def any_oscillating_knife(rng: random.Random) -> Tool:
    return Tool(
        "oscillating-knife",
        overrun=rng.choice([0.5, 1.0, 2.0, 3.0, 6.0]),
        plunge=rng.choice([0.0, 2.0, 4.0]),
        edges=rng.choice(["single", "double"]),
        curves=rng.choice(["arcs", "lines"]),
        far_face_max=rng.choice([0.2, 1.0, 3.0]),
    )


def see_oscillating_knife(sheet: Sheet, tool: Tool, rng: random.Random) -> Seen:
    """top missed: a target's place to the strokes.  astray: of a slit's stroke from the contours.
    top inside: of a stroke in a piece.  body inside: of the section behind a stroke, or as it goes
    in.  bottom inside, bottom off: of the edge at the bottom face in a piece, and from a target
    that it severs.  left: a contour's length uncut at the bottom face; untold: what of it is
    beyond what its cuts tell; told too much: the other way round.
    """
    cuts, paths, findings = cut_and_written(sheet, tool, rng)
    seen = Seen(refused=_codes(findings, True), told=_codes(findings, False))
    if seen.refused:
        return seen
    pieces, every = Pieces(sheet), [c for _, _, c in contours(sheet)]
    severed: list[Points] = []
    below: list[Points] = []
    for cut, path in zip(cuts, paths, strict=True):
        along, at, way = stations(path)
        if cut.operation == "CUT_SLIT":
            seen.most("astray", float(Edge(every).off(at).max()))
        else:
            seen.most("top inside", pieces.depth(at))
            seen.most("body inside", pieces.depth(_body(along, at, way, tool)))
            low = along >= tool.overrun * (2 if tool.edges == "double" else 1)
            seen.most("bottom inside", pieces.depth((at - tool.overrun * way)[low]))
        start = tool.overrun if tool.edges == "double" else 0.0
        run = _between(along, at, start, along[-1] - tool.overrun)
        severed.append(run)
        below.append(_between(along, at - tool.overrun * way, tool.overrun, float(along[-1])))
    seen.most("top missed", float(Edge(paths).off(_fine(every)).max()))
    left: dict[tuple[str, str], float] = defaultdict(float)
    for cut in cuts:
        left[cut.copy, cut.contour] += cut.left
    edge, low_edge = _joined(severed), _joined(below)
    for copy, name, path in contours(sheet):
        at, each = even_places(path)
        is_cut = edge.off(at) <= LIMIT if edge else np.zeros(len(at), dtype=bool)
        uncut = float(each[~is_cut].sum())
        if low_edge and is_cut.any():
            seen.most("bottom off", float(low_edge.off(at[is_cut]).max()))
        seen.most("left", uncut)
        seen.most("untold", uncut - left[copy, name])
        seen.most("told too much", left[copy, name] - uncut)
    return seen


def _body(along: Floats, at: Points, way: Points, tool: Tool) -> Points:
    """Places of the blade's section on the true face: along the stroke, and as it goes in."""
    width = min(tool.section, float(along[-1]))
    down = along >= width
    behind = np.linspace(0.0, tool.section, ACROSS)
    trailing = (at[down, None] - behind * way[down, None]).ravel()
    far = _between(along, at, 0.0, width)[-1]
    ahead = (far - at[0]) / max(abs(far - at[0]), 1e-12) * np.linspace(0.0, width, ACROSS)
    return np.concatenate([trailing, at[0] + ahead])


def _between(along: Floats, at: Points, start: float, end: float) -> Points:
    """The places from one length to another."""
    if end <= start:
        return at[:0]
    ends = np.interp([start, end], along, at.real) + 1j * np.interp([start, end], along, at.imag)
    inner = at[(along > start) & (along < end)]
    return np.concatenate([ends[:1], inner, ends[1:]])


def _joined(runs: Sequence[Points]) -> Edge | None:
    """Runs of places as one set of chords, none between two runs and none where a tip rests."""
    moving = [r for r in (_moving(r) for r in runs) if len(r) > 1]
    if not moving:
        return None
    made = Edge.through(moving[0])
    made._set(moving)
    return made


def _moving(run: Points) -> Points:
    """The run without places within RESTS of the one kept before: a search for the nearest chord
    would find nothing else there."""
    kept: list[complex] = []
    for p in run.tolist():
        if not kept or abs(p - kept[-1]) > RESTS:
            kept.append(p)
    return np.array(kept)
