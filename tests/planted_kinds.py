"""The kinds of faults that are planted in written files, as changes of a file's runs.

Each kind gives its cases for a cut folder; whether a case moves an edge is measured in `planting`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import shapely

from .planting import DRAGGED, Measured, Points, Run, dragged

Change = Callable[[Sequence[Run]], list[Run]]
#: How far vertices are moved, mm.
SIZES = (0.05, 0.1, 0.2)
#: Ways in which a vertex is moved.
WAYS = (1, 1j, -1, -1j)
#: Kinds that move no edge of a beam: the record's contours alone can tell.
BY_THE_RECORD = frozenset({"contour doubled", "contour reversed", "order swapped"})


@dataclass(frozen=True)
class Planted:
    """A fault: its kind and size, where it is, and what it makes of the runs."""

    kind: str
    size: str
    where: str
    change: Change


def planted(good: Measured, runs: Sequence[Run], places: int) -> Iterator[Planted]:
    """All kinds. places: how many vertices of each run are moved, each four ways."""
    yield from vertices_moved(runs, places)
    yield from contours_changed(good, runs)
    yield from orders_swapped(good, runs)
    yield from whole_file(good, runs)
    if good.tool["kerf"]:
        yield Planted("kerf applied twice", "", "all", lambda rs: beside(good, rs))
    if good.tool["blade_offset"]:
        for by in (0.1, -0.1):
            yield Planted(
                "blade offset off", f"{by:+g} mm", "all", lambda rs, by=by: hung(good, rs, by)
            )
    yield from leads(good, runs)


def outlines(good: Measured) -> list[int]:
    """The runs of outlines and openings."""
    contours = good.record["files"][0]["contours"]
    return [k for k, c in enumerate(contours) if c["operation"] in ("CUT_OUTER", "CUT_INNER")]


def vertices_moved(runs: Sequence[Run], places: int) -> Iterator[Planted]:
    for size in SIZES:
        for k, run in enumerate(runs):
            chosen = np.unique(np.linspace(0, len(run.corners) - 1, places).astype(int))
            for j in chosen.tolist():
                for way in WAYS:
                    yield Planted(
                        "vertex moved",
                        f"{size:g} mm",
                        f"path {k + 1}, vertex {j + 1}, towards {way}",
                        moved(k, j, size * way),
                    )


def moved(k: int, j: int, by: complex) -> Change:
    def change(runs: Sequence[Run]) -> list[Run]:
        corners = list(runs[k].corners)
        corners[j] = (corners[j][0] + by, corners[j][1])
        return [*runs[:k], replace(runs[k], corners=tuple(corners)), *runs[k + 1 :]]

    return change


def contours_changed(good: Measured, runs: Sequence[Run]) -> Iterator[Planted]:
    contours = good.record["files"][0]["contours"]
    for k in range(len(runs)):
        name = f"path {k + 1}, {contours[k]['copy_name']} {contours[k]['contour']}"
        yield Planted("contour dropped", "", name, lambda rs, k=k: [*rs[:k], *rs[k + 1 :]])
        yield Planted("contour doubled", "", name, lambda rs, k=k: [*rs[: k + 1], *rs[k:]])
        yield Planted(
            "contour reversed", "", name, lambda rs, k=k: [*rs[:k], rs[k].reversed(), *rs[k + 1 :]]
        )


def orders_swapped(good: Measured, runs: Sequence[Run]) -> Iterator[Planted]:
    """Each two runs of a group that are of different contours."""
    contours = good.record["files"][0]["contours"]
    names = [(c["copy_name"], c["contour"]) for c in contours]
    for a, b in combinations(range(len(runs)), 2):
        if runs[a].block == runs[b].block and names[a] != names[b]:
            yield Planted("order swapped", "", f"paths {a + 1}, {b + 1}", swapped(a, b))


def swapped(a: int, b: int) -> Change:
    def change(runs: Sequence[Run]) -> list[Run]:
        made = list(runs)
        made[a], made[b] = made[b], made[a]
        return made

    return change


def whole_file(good: Measured, runs: Sequence[Run]) -> Iterator[Planted]:
    wide = good.record["sheets"][0]["width"]

    def over(p: complex) -> complex:
        return complex(wide - p.real, p.imag)

    yield Planted("mirrored", "", "all", lambda rs: [r.mapped(over, True) for r in rs])
    for factor, size in ((25.4, "x 25.4"), (1 / 25.4, "/ 25.4")):
        yield Planted(
            "scaled",
            size,
            "all",
            lambda rs, factor=factor: [r.mapped(lambda p: p * factor) for r in rs],
        )


def beside(good: Measured, runs: Sequence[Run]) -> list[Run]:
    """Outlines half a kerf farther out, openings half a kerf farther in, by another library."""
    contours = good.record["files"][0]["contours"]
    r = good.tool["kerf"] / 2
    made = list(runs)
    for k in outlines(good):
        ring = runs[k].dense(0.2)
        out = r if contours[k]["operation"] == "CUT_OUTER" else -r
        grown = shapely.Polygon(np.column_stack([ring.real, ring.imag])).buffer(out, 32)
        points = shapely.get_coordinates(shapely.orient_polygons(grown).exterior)[:-1]
        new = Run(tuple((complex(*p), 0.0) for p in points), True, runs[k].block)
        made[k] = new if contours[k]["operation"] == "CUT_OUTER" else new.reversed()
    return made


def hung(good: Measured, runs: Sequence[Run], by: float) -> list[Run]:
    """The way of a pivot that stands farther from the same tip."""
    offset = good.tool["blade_offset"]
    made, heading = [], None
    for run in runs:
        pivots = run.dense(DRAGGED)
        tips, heading = dragged(pivots, offset, heading)
        farther = tips + (offset + by) * (pivots - tips) / offset
        made.append(Run(tuple((complex(p), 0.0) for p in thinned(farther)), False, run.block))
    return made


def thinned(points: Points, flat: float = 5e-4) -> Points:
    """Points that a line may pass over within so many mm left out (Douglas and Peucker)."""
    line = shapely.LineString(np.column_stack([points.real, points.imag])).simplify(flat)
    xy = shapely.get_coordinates(line)
    return np.asarray(xy[:, 0] + 1j * xy[:, 1])


def leads(good: Measured, runs: Sequence[Run]) -> Iterator[Planted]:
    """A run begun 3 mm inside its piece, over the place of the edge that lies nearest."""
    contours = good.record["files"][0]["contours"]
    order = [p["copy_name"] for p in good.record["pieces"]]
    first: dict[tuple[str, str], int] = {}
    for k in outlines(good):
        first.setdefault((contours[k]["copy_name"], contours[k]["contour"]), k)
    for (copy, _), k in first.items():
        piece, _ = good.pieces[order.index(copy)]
        yield Planted("lead-in through a piece", "3 mm", f"path {k + 1}", led_in(k, 3.0, piece))


def led_in(k: int, length: float, piece: shapely.Polygon) -> Change:
    def change(runs: Sequence[Run]) -> list[Run]:
        run = runs[k]
        start = run.corners[0][0]
        nearest = shapely.shortest_line(piece.boundary, shapely.Point(start.real, start.imag))
        edge = complex(*nearest.coords[0])
        ahead = next(p - start for p in run.dense(0.05)[1:] if abs(p - start) > 0.04)
        inward = edge - start if abs(edge - start) > 0.01 else 1j * ahead
        corners = [(edge + length * inward / abs(inward), 0.0), *run.corners]
        if run.closed:
            corners.append((start, 0.0))
        return [*runs[:k], Run(tuple(corners), False, run.block), *runs[k + 1 :]]

    return change
