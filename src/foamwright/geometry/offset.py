"""Parallel curves of closed paths: round, mitred or bevelled at corners.

How: cubics become arcs first (`fit.py`), so that every element's parallel is a line or arc known in
closed form (`offset_raw.py`).  Where that raw parallel is known to bound the result but for loops
that are cut off at its crossings, that is it (`offset_simple.py`).  Else the polygon library tells
which stretches of it bound the result (`offset_fill.py`), these are cut from the exact elements
(`offset_trim.py`), and each path made is measured against the source; one that fails is made of the
polygon's own chords instead.
Does not offset open paths.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from foamwright.errors import GeometryError
from foamwright.geometry.batches import in_batches
from foamwright.geometry.chains import Chains
from foamwright.geometry.fit import AT_CORNERS, Fitted, fitted_many
from foamwright.geometry.offset_better import passes
from foamwright.geometry.offset_faults import (
    at_fault,
    joined_faults,
    own_faults,
    sharp_tips,
)
from foamwright.geometry.offset_fill import Ring, filled, flattened
from foamwright.geometry.offset_raw import (
    AT_MITRES,
    JOINS,
    SLIVER,
    Element,
    Join,
    Ways,
    raw_parallels,
)
from foamwright.geometry.offset_redrawn import laid_anew, redrawn
from foamwright.geometry.offset_simple import simple_results
from foamwright.geometry.offset_trim import Trimmed, exact_path
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region
from foamwright.geometry.segments import Arc, Line, Points
from foamwright.geometry.winding import twice_area

__all__ = ["Join", "Parallel", "offset", "offset_many", "parallels", "parallels_many"]

#: Shares of the tolerance: of the arcs through cubics, and of the chords that settle what is left.
FIT_SHARE = 0.7
CHORD_SHARE = 0.125
#: The share of a fit's tolerance for one that is finer.
FINER = 1 / 16
#: Places on each segment of a result at which it is measured, as parameters.
SAMPLES = (0.0, 0.5)


@dataclass(frozen=True, slots=True)
class Parallel:
    """One closed parallel. exact: cut from exact elements; else the chords of a polygon."""

    path: Path
    exact: bool


@dataclass(frozen=True, slots=True)
class _Joining:
    """How joints are joined: the reach and tolerance in mm, the style at outside corners."""

    reach: float
    tolerance: float
    join: Join
    mitre_limit: float

    @property
    def at_corners(self) -> float:
        """How far a fit's direction at a corner may be off the drawing's, radians."""
        return AT_CORNERS if self.join == "round" else AT_MITRES


def offset(
    path: Path,
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
) -> tuple[Path, ...]:
    """The closed curves parallel to a closed path, `distance` mm to the right of its travel.

    Material lies to the left, so a positive distance goes away from it (an outer boundary grows, a
    clockwise opening shrinks) and a negative one into it.  The result may be several paths (a neck
    vanished) or none (all vanished), each with the source's orientation.  Lines and arcs only.
    Every point of the result is `distance` from the source within tolerance (mm), mitres and
    bevels apart.  What is left narrower than an eighth of the tolerance counts as vanished.
    mitre_limit: a mitre that reaches farther than this many distances is cut square there.
    Raises GeometryError for an open path.
    """
    return offset_many((path,), distance, tolerance, join, mitre_limit)[0]


def offset_many(
    paths: Iterable[Path],
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
    threads: int = 1,
) -> tuple[tuple[Path, ...], ...]:
    """As `offset` of each path, to the last bit, in much less time than one by one.

    threads: how many batches of paths are worked on side by side.
    """
    found = parallels_many(paths, distance, tolerance, join, mitre_limit, threads)
    return tuple(tuple(p.path for p in made) for made in found)


def parallels(
    path: Path,
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
) -> tuple[Parallel, ...]:
    """As `offset`, and for each path whether it is exact."""
    return parallels_many((path,), distance, tolerance, join, mitre_limit)[0]


def parallels_many(
    paths: Iterable[Path],
    distance: float,
    tolerance: float,
    join: Join = "round",
    mitre_limit: float = 4.0,
    threads: int = 1,
) -> tuple[tuple[Parallel, ...], ...]:
    """As `offset_many`, and for each path whether it is exact."""
    how = _Joining(abs(distance), tolerance, join, mitre_limit)

    def work(batch: Sequence[Path]) -> list[tuple[Parallel, ...]]:
        if not all(p.closed for p in batch):
            raise GeometryError("only a closed path has a parallel")
        sources = fitted_many(batch, tolerance * FIT_SHARE, how.at_corners)
        if distance == 0:
            return [(Parallel(f.path, True),) for f in sources]
        made = list(_batch(sources, distance < 0, how))
        return _evened(made, batch, [f.path for f in sources], distance, how)

    return tuple(in_batches(work, paths, threads))


def _evened(
    made: Sequence[tuple[Parallel, ...]],
    drawn: Sequence[Path],
    fitted: Sequence[Path],
    distance: float,
    how: _Joining,
) -> list[tuple[Parallel, ...]]:
    """The parallels, with kinks, slivers and tips of those of cubics mended where they can be."""
    told = [
        (i, k, p.path)
        for i, found in enumerate(made)
        for k, p in enumerate(found)
        if drawn[i] is not fitted[i] and p.exact
    ]
    sources = [drawn[i] for i, _, _ in told]
    wrong = at_fault([p for _, _, p in told], sources, distance, how.tolerance)
    evened = [list(found) for found in made]
    again = set()
    for (i, k, path), is_wrong in zip(told, wrong, strict=True):
        if is_wrong:
            anew = redrawn(path, drawn[i], distance, how.tolerance)
            evened[i][k] = Parallel(anew, True)
            if own_faults(anew, drawn[i], distance, how.tolerance):
                again.add(i)
        if sharp_tips(evened[i][k].path):
            again.add(i)
    for i in again:
        evened[i] = _finely(evened[i], drawn[i], distance, how)
    return [tuple(found) for found in evened]


def _finely(made: list[Parallel], drawn: Path, distance: float, how: _Joining) -> list[Parallel]:
    """Parallels cut from a finer fit, which has its corners where they truly are, if it is better.

    What is too fine for the tolerance is laid anew within it.
    """
    fit = fitted_many((drawn,), how.tolerance * FIT_SHARE * FINER, how.at_corners)
    (fine,) = _batch(fit, distance < 0, how)
    if not all(p.exact for p in (*made, *fine)) or len(made) != len(fine):
        return made
    found = [laid_anew(p.path, drawn, distance, how.tolerance) for p in fine]
    before, after = (
        joined_faults([own_faults(p, drawn, distance, how.tolerance) for p in paths])
        for paths in ([p.path for p in made], found)
    )
    edge = _edge(fit[0].path, how.tolerance * CHORD_SHARE)
    whole = all(
        any(
            passes(f.segments, p.path.segments, how.tolerance, edge, how.reach, sharp_tips(p.path))
            for f in found
        )
        for p in made
    )
    return [Parallel(p, True) for p in found] if whole and after.no_more(before) else made


def _batch(
    sources: Sequence[Fitted], backwards: bool, how: _Joining
) -> Iterator[tuple[Parallel, ...]]:
    """backwards: the paths are travelled the other way round, with the material on the left."""
    chains = Chains.of([f.path for f in sources])
    ways = None if how.join == "round" else Ways.of(sources)
    if backwards:
        ways = ways and ways.reversed(chains.first)
        chains = chains.reversed()
    n = len(chains.start)
    reach = np.full(n, how.reach)
    joins = np.full(n, JOINS.index(how.join))
    raw = raw_parallels(chains, reach, joins, how.tolerance, how.mitre_limit, ways)
    clockwise = chains.clockwise()
    known = simple_results(raw, clockwise, how.tolerance * CHORD_SHARE)[0]
    for i, found in enumerate((known.reversed() if backwards else known).paths()):
        if found is not None:
            yield (Parallel(found, True),)
        else:
            made = _filled(chains.path(i), bool(clockwise[i]), raw.elements(i), how)
            yield tuple(Parallel(p.path.reversed(), p.exact) for p in made) if backwards else made


def _filled(
    travelled: Path, clockwise: bool, elements: tuple[Element, ...], how: _Joining
) -> tuple[Parallel, ...]:
    """The results that the polygon library settles."""
    if not elements:
        return ()
    rings = filled(elements, clockwise, how.tolerance * CHORD_SHARE)
    if not rings:
        return ()
    edge = _edge(travelled, how.tolerance * CHORD_SHARE)
    return tuple(p for r in rings if (p := _settled(r, elements, edge, how)) is not None)


def _settled(
    ring: Ring, elements: tuple[Element, ...], edge: Region, how: _Joining
) -> Parallel | None:
    """The ring's exact path if it keeps its distance, else its chords; None for a false ring."""
    for sliver in (SLIVER, 0.0):
        trimmed = exact_path(ring, elements, how.tolerance, sliver)
        if trimmed is not None and _holds(trimmed, ring, elements, edge, how):
            return Parallel(trimmed.path, True)
    keeps_its = np.array([_keeps(e, how) for e in elements])[ring.owner]
    both = keeps_its & np.roll(keeps_its, 1)
    return (
        Parallel(chord_path(ring), False) if _keep_distance(ring.points[both], edge, how) else None
    )


def _holds(
    trimmed: Trimmed, ring: Ring, elements: tuple[Element, ...], edge: Region, how: _Joining
) -> bool:
    """Whether a path cut from exact elements bounds its ring's area and keeps its distance."""
    told = [_keeps(elements[e], how) for e in trimmed.elements]
    curves = [s for s, keeps in zip(trimmed.path.segments, told, strict=True) if keeps]
    spots = np.array([s.point(t) for s in curves for t in SAMPLES])
    return _fills(trimmed.path, ring, how) and _keep_distance(spots, edge, how)


def _edge(path: Path, tolerance: float) -> Region:
    """The source as chords, prepared for many questions."""
    curves = [s for s in path.segments if isinstance(s, Line | Arc)]
    points = flattened(curves, tolerance)[0]
    ring: Region = shapely.LinearRing(np.column_stack([points.real, points.imag]))
    shapely.prepare(ring)
    return ring


def _fills(path: Path, ring: Ring, how: _Joining) -> bool:
    """Whether a path bounds the area that its ring does, within tolerance along its length."""
    area = math.fsum(s.area() for s in path.segments)
    return abs(area - twice_area(ring.points) / 2) <= how.tolerance * path.length


def _keeps(element: Element, how: _Joining) -> bool:
    """Whether every point of an element should be at the reach from the source."""
    return element.role == "parallel" or (element.role == "join" and how.join == "round")


def _keep_distance(points: Points, edge: Region, how: _Joining) -> bool:
    """Whether there are points and all keep their distance (where mitred: at least it)."""
    if not len(points):
        return False
    spots = shapely.points(points.real, points.imag)
    if shapely.dwithin(edge, spots, how.reach - how.tolerance).any():
        return False
    return how.join != "round" or bool(
        shapely.dwithin(edge, spots, how.reach + how.tolerance).all()
    )


def chord_path(ring: Ring) -> Path:
    """A ring's polygon as lines; corners where runs meet out of nature."""
    points = ring.points
    ends = np.roll(points, -1)
    lines = tuple(Line(complex(a), complex(b)) for a, b in zip(points, ends, strict=True))
    sharp = {r.begins for r in ring.runs if not r.own_start}
    corners = frozenset(i for i, s in enumerate(lines) if s.start in sharp)
    return Path(lines, True, corners)
