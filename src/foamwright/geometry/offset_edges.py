"""Allowances: parallels of a closed path whose edges have distances of their own.

Terms.  The allowance of an edge lies between it and its parallel.  At an inside corner two
allowances end where their parallels cross; at an outside corner a *join* says what lies between:

- `mitre`: both parallels run straight on until they meet, or are cut off square at the limit;
- `round`: an arc about the corner with the larger distance, and a step down to the smaller;
- `bevel`: straight across from the end of one parallel to the start of the other;
- `butt-before`: made for the edge before the corner.  Its allowance runs straight on, and ends
  square to it where its own line, run on, meets the other allowance's outer edge.  So two edges
  that are sewn together have ends alike whatever the angles beside them, where the outer edges run
  on across the seam (common practice, no source);
- `butt-after`: the same for the edge after the corner;
- `fold-before`: made for a hem before the corner, to be folded back on its own line.  The end of
  the hem is the mirror image, across that line, of the other allowance's outer edge, so that it
  lies within the piece when folded (common practice, no source).  Exact where that edge is
  straight; a curved one is mirrored by its tangent;
- `fold-after`: the same for a hem after the corner.

Before and after are in the path's own travel.  Where a join can't be made (beyond the limit, or it
would cost a neighbour nearly half of its length) the next simpler is: a fold becomes a butt, a
butt is cut square at the limit, a mitre becomes a bevel.  Where neighbours of unlike distance meet
smoothly, there is a step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from foamwright.errors import GeometryError
from foamwright.geometry.chains import (
    Chains,
    Floats,
    Indices,
    curves,
    joints_turned_round,
    turned_round,
)
from foamwright.geometry.fit import fit_arcs, fitted_many
from foamwright.geometry.offset import CHORD_SHARE, FIT_SHARE, chord_path
from foamwright.geometry.offset_fill import filled, flattened
from foamwright.geometry.offset_raw import AT_MITRES, JOINS, Raw, Ways, raw_parallels
from foamwright.geometry.offset_simple import simple_results
from foamwright.geometry.offset_trim import exact_path
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic

EdgeJoin: TypeAlias = Literal[
    "round", "mitre", "bevel", "butt-before", "butt-after", "fold-before", "fold-after"
]
_TURNED = {
    "butt-before": "butt-after",
    "butt-after": "butt-before",
    "fold-before": "fold-after",
    "fold-after": "fold-before",
}


@dataclass(frozen=True, slots=True)
class EdgeParallel:
    """One closed parallel.

    edges: for each of its segments the index of the source's segment that it is parallel to, None
    for a join; a run of segments that was fitted counts as its first.  exact: cut from exact
    elements, else the chords of a polygon.
    """

    path: Path
    edges: tuple[int | None, ...]
    exact: bool


@dataclass(frozen=True, slots=True)
class _Source:
    """Chains of one path with each segment's distance and own index, each joint's join and ways."""

    chains: Chains
    reach: Floats
    index: Indices
    joins: Indices
    ways: Ways

    def reversed(self) -> _Source:
        order, joints = turned_round(self.chains.first), joints_turned_round(self.chains.first)
        turned = [JOINS.index(_TURNED.get(name, name)) for name in JOINS]
        return _Source(
            self.chains.reversed(),
            self.reach[order],
            self.index[order],
            np.array(turned)[self.joins[joints]],
            self.ways.reversed(self.chains.first),
        )


def offset_edges(
    path: Path,
    distances: Sequence[float],
    tolerance: float,
    joins: Mapping[int, EdgeJoin] | None = None,
    join: EdgeJoin = "mitre",
    mitre_limit: float = 4.0,
) -> tuple[EdgeParallel, ...]:
    """The closed curves that bound the path's material and the allowances of all its segments.

    distances: of each segment in mm, to the right of travel (away from the material); all at least
    0, or all at most 0: then they are taken off the material.  joins: for joints (a joint's index
    is that of the segment it starts) other than `join`.  mitre_limit: in the larger of the two
    distances at a corner.  tolerance: mm, of arcs in the place of cubics, and of what is narrower
    than an eighth of it and counts as nothing.  Each result has the source's orientation.
    Raises GeometryError for an open path, a wrong number of distances, or signs of both kinds.
    """
    _must_fit(path, distances)
    if not any(distances):
        return (EdgeParallel(path, tuple(range(len(path.segments))), True),)
    source = _source(path, distances, joins or {}, join, tolerance * FIT_SHARE)
    backwards = min(distances) < 0
    if backwards:
        source = source.reversed()
    raw = raw_parallels(
        source.chains, source.reach, source.joins, tolerance, mitre_limit, source.ways
    )
    made = _settled(source, raw, tolerance)
    return tuple(_reversed(p) for p in made) if backwards else made


def _must_fit(path: Path, distances: Sequence[float]) -> None:
    if not path.closed:
        raise GeometryError("only a closed path has a parallel")
    if len(distances) != len(path.segments):
        raise GeometryError(f"{len(distances)} distances for {len(path.segments)} segments")
    if min(distances) < 0 < max(distances):
        raise GeometryError("distances of both signs: some allowances out, some in")


def _source(
    path: Path,
    distances: Sequence[float],
    joins: Mapping[int, EdgeJoin],
    join: EdgeJoin,
    tolerance: float,
) -> _Source:
    """Lines and arcs with their distances; where these change a fit keeps the joint's place."""
    n = len(path.segments)
    codes = np.array([JOINS.index(joins.get(k, join)) for k in range(n)])
    reach = np.abs(np.array(distances, dtype=np.float64))
    if not any(isinstance(s, Cubic) for s in path.segments):
        return _Source(Chains.of([path]), reach, np.arange(n), codes, Ways.none(n))
    kept = {k for k in range(n) if reach[k] != reach[k - 1]} | set(joins) | path.corners
    if not kept:
        fitted = fit_arcs(path, tolerance)
        none = np.zeros(len(fitted.segments), dtype=np.intp)
        ways = Ways.none(len(none))
        return _Source(Chains.of([fitted]), reach[none], none, codes[none], ways)
    starts = sorted(kept)
    turned = replace(path, corners=frozenset(kept)).starting_at(starts[0])
    (fit,) = fitted_many([turned], tolerance, AT_MITRES)
    fitted = fit.path
    begins = np.array([i for i, _, _ in fit.corners])  # without the cusps within a segment
    run = np.searchsorted(begins, np.arange(len(fitted.segments)), "right") - 1
    index = np.array(starts)[run]
    smooth = {int(b) for b, own in zip(begins, starts, strict=True) if own not in path.corners}
    at_start = np.full(len(index), JOINS.index(join))
    at_start[begins] = codes[starts]
    chains = Chains.of([replace(fitted, corners=fitted.corners - smooth)])
    return _Source(chains, reach[index], index, at_start, Ways.of([fit]))


def _settled(source: _Source, raw: Raw, tolerance: float) -> tuple[EdgeParallel, ...]:
    clockwise, fine = source.chains.clockwise(), tolerance * CHORD_SHARE
    known, element = simple_results(raw, clockwise, fine)
    of = [
        int(source.index[s]) if r == 0 else None for s, r in zip(raw.source, raw.role, strict=True)
    ]
    (found,) = known.paths()
    if found is not None:
        return (EdgeParallel(found, tuple(of[e] for e in element), True),)
    elements = raw.elements(0)
    made = []
    for ring in filled(elements, bool(clockwise[0]), fine) if elements else ():
        trimmed = exact_path(ring, elements, tolerance)
        if trimmed is not None:
            p = EdgeParallel(trimmed.path, tuple(of[e] for e in trimmed.elements), True)
        else:
            p = EdgeParallel(chord_path(ring), tuple(of[e] for e in ring.owner), False)
        if not _is_false(p, source, tolerance):
            made.append(p)
    return tuple(made)


def _is_false(p: EdgeParallel, source: _Source, tolerance: float) -> bool:
    """Whether most of a path lies within allowances: what an opening leaves when it vanishes."""
    c = source.chains
    chords, owner = flattened(curves(c.start, c.end, c.bulge), tolerance * CHORD_SHARE)
    way = np.roll(chords, -1) - chords
    size = np.abs(way)
    told = zip(p.path.segments, p.edges, strict=True)
    middles = np.array([s.point(0.5) for s, edge in told if edge is not None])
    hidden = 0
    for z in middles:
        local = (z - chords) * way.conjugate() / size
        beside = (local.real >= 0) & (local.real <= size)
        within = -local.imag < source.reach[owner] - tolerance
        hidden += bool((beside & within & (local.imag < -tolerance)).any())
    return 2 * hidden >= len(middles)


def _reversed(p: EdgeParallel) -> EdgeParallel:
    return replace(p, path=p.path.reversed(), edges=p.edges[::-1])
