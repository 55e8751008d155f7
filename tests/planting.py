"""Faults planted in written cut files, and what each does to the freed edge, measured here.

A file's runs are read and rewritten as text by code of this module alone, both formats alike, in
sheet millimetres.  The measure is brute force on dense points: a disc's edge, or the tip of a blade
dragged in small steps; it shares no code with the proof.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from foamwright.record import checksum_of

Points = npt.NDArray[np.complex128]
#: Distance of the dense points along a way, mm, and of a dragged pivot's steps.
DENSE, DRAGGED = 0.01, 0.01
#: Farther from its edge than this in the untouched file, a place is one that the tool can't reach.
REACHED = 0.009


@dataclass(frozen=True)
class Run:
    """One path of a file. corners: each with the bulge of what follows it; block: its group."""

    corners: tuple[tuple[complex, float], ...]
    closed: bool
    block: int

    def reversed(self) -> Run:
        points = [p for p, _ in self.corners]
        bulges = [b for _, b in self.corners]
        if self.closed:
            points = [points[0], *reversed(points[1:])]
            turned = [-b for b in reversed(bulges)]
        else:
            points = points[::-1]
            turned = [*(-b for b in reversed(bulges[:-1])), 0.0]
        return replace(self, corners=tuple(zip(points, turned, strict=True)))

    def mapped(self, change: Callable[[complex], complex], mirror: bool = False) -> Run:
        sign = -1 if mirror else 1
        return replace(self, corners=tuple((change(p), sign * b) for p, b in self.corners))

    def dense(self, step: float) -> Points:
        """Points along the run, every corner among them."""
        made: list[Points] = []
        rest = [*self.corners[1:], self.corners[0]] if self.closed else self.corners[1:]
        for (start, bulge), (end, _) in zip(self.corners, rest, strict=False):
            made.append(along(start, end, bulge, step))
        return np.concatenate([*made, [rest[-1][0]]])


def along(start: complex, end: complex, bulge: float, step: float) -> Points:
    """A line, or the arc of a bulge (tan of a quarter of its turn), without its last point."""
    chord = abs(end - start)
    if abs(bulge) < 1e-12:
        t = np.linspace(0, 1, max(2, math.ceil(chord / step) + 1))[:-1]
        return np.asarray(start + t * (end - start))
    turn = 4 * math.atan(bulge)
    radius = chord / (2 * math.sin(turn / 2))
    centre = (start + end) / 2 + 1j * (end - start) / chord * radius * math.cos(turn / 2)
    t = np.linspace(0, 1, max(2, math.ceil(abs(radius * turn) / step) + 1))[:-1]
    return np.asarray(centre + (start - centre) * np.exp(1j * turn * t))


# Reading and writing the text


def read_runs(folder: Path, entry: dict[str, Any]) -> list[Run]:
    text = (folder / entry["name"]).read_text("utf-8")
    made = _svg_runs(text) if entry["format"] == "svg" else _dxf_runs(text)
    to_sheet, mirror = _map(entry)
    return [r.mapped(to_sheet, mirror) for r in made]


def write_runs(
    folder: Path, entry: dict[str, Any], runs: Sequence[Run], changed: bool = True
) -> None:
    """The file with these runs in the place of its own, and the record's hashes made to fit.

    changed: the text must come out another.
    """
    file = folder / entry["name"]
    text = file.read_text("utf-8")
    _, mirror = _map(entry)
    zero, scale = complex(*entry["origin"]), entry["scale"]

    def back(p: complex) -> complex:
        q = (p - zero) / scale
        return q.conjugate() if mirror else q

    there = [r.mapped(back, mirror) for r in runs]
    made = _svg_text(text, there) if entry["format"] == "svg" else _dxf_text(text, there)
    assert made != text or not changed
    file.write_text(made, "utf-8")
    seal(folder, entry["name"], made)


def seal(folder: Path, name: str, text: str) -> None:
    data = json.loads((folder / "record.json").read_text("utf-8"))
    for entry in data["files"]:
        if entry["name"] == name:
            entry["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    data["checksum"] = checksum_of(data)
    (folder / "record.json").write_text(json.dumps(data), "utf-8")


def _map(entry: dict[str, Any]) -> tuple[Callable[[complex], complex], bool]:
    zero, scale = complex(*entry["origin"]), entry["scale"]
    flipped = entry["format"] == "svg"
    return lambda p: (p.conjugate() if flipped else p) * scale + zero, flipped


_PATH = re.compile(r'<path d="([^"]*)"/>\n')
_WORD = re.compile(r"([MLAZ])([^MLAZ]*)")


def _svg_runs(text: str) -> list[Run]:
    return [
        _svg_run(data, block)
        for block, group in enumerate(text.split("<g ")[1:])
        for data in _PATH.findall(group)
    ]


def _svg_run(data: str, block: int) -> Run:
    corners: list[tuple[complex, float]] = []
    for word, rest in _WORD.findall(data):
        n = [float(v) for v in rest.split()]
        if word == "A":
            here, there = corners[-1][0], complex(n[5], n[6])
            turn = 2 * math.asin(min(1.0, abs(there - here) / (2 * n[0])))
            corners[-1] = (here, math.tan(turn / 4) * (1 if n[4] else -1))
            corners.append((there, 0.0))
        elif word in "ML":
            corners.append((complex(n[0], n[1]), 0.0))
    closed = "Z" in data
    if closed and abs(corners[-1][0] - corners[0][0]) < 1e-9:
        corners.pop()
    return Run(tuple(corners), closed, block)


def _svg_text(text: str, runs: Sequence[Run]) -> str:
    head, *groups = text.split("<g ")
    made = [head]
    for block, group in enumerate(groups):
        paths = "".join(f'<path d="{_svg_data(r)}"/>\n' for r in runs if r.block == block)
        bare = _PATH.sub("", group)
        made.append("<g " + bare.replace(">\n", f">\n{paths}", 1))
    return "".join(made)


def _svg_data(run: Run) -> str:
    out = [f"M{_xy(run.corners[0][0])}"]
    rest = [*run.corners[1:], run.corners[0]] if run.closed else run.corners[1:]
    for (here, bulge), (there, _) in zip(run.corners, rest, strict=False):
        if bulge:
            r = abs(there - here) / (2 * abs(math.sin(2 * math.atan(bulge))))
            out.append(f"A{r:.6f} {r:.6f} 0 0 {int(bulge > 0)} {_xy(there)}")
        elif there != run.corners[0][0] or not run.closed:
            out.append(f"L{_xy(there)}")
    return " ".join([*out, "Z"] if run.closed else out)


def _xy(p: complex) -> str:
    return f"{p.real:.6f} {p.imag:.6f}"


_POLYLINE = re.compile(
    r"^  0\nLWPOLYLINE\n(?:(?!  0\n).*\n.*\n)*"
    r"|^  0\nPOLYLINE\n(?:.*\n)*?  0\nSEQEND\n(?:(?!  0\n).*\n.*\n)*",
    re.MULTILINE,
)
_HANDLE = re.compile(r"^  5\n.*\n", re.MULTILINE)
_CODES = re.compile(r"^ *(\d+)\n(.*)\n", re.MULTILINE)


def _dxf_runs(text: str) -> list[Run]:
    _, entities = text.split("\nENTITIES\n", 1)
    runs: list[Run] = []
    layer, block = "", -1
    for chunk in _POLYLINE.findall(entities):
        tags = [(int(c), v) for c, v in _CODES.findall(chunk)]
        mine = next(v for c, v in tags if c == 8)
        block += mine != layer
        layer = mine
        start = next((k for k, (_, v) in enumerate(tags) if v == "VERTEX"), 0)
        flags = next(int(v) for c, v in tags if c == 70)
        points: list[complex] = []
        bulges: list[float] = []
        for code, value in tags[start:]:
            if code == 10:
                points.append(complex(float(value)))
                bulges.append(0.0)
            elif code == 20:
                points[-1] += 1j * float(value)
            elif code == 42:
                bulges[-1] = float(value)
        runs.append(Run(tuple(zip(points, bulges, strict=True)), bool(flags & 1), block))
    return runs


def _dxf_text(text: str, runs: Sequence[Run]) -> str:
    head, entities = text.split("\nENTITIES\n", 1)
    chunks = _POLYLINE.findall(entities)
    start, stop = entities.index(chunks[0]), entities.index(chunks[-1]) + len(chunks[-1])
    models: dict[int, str] = {}
    for chunk, run in zip(chunks, _dxf_runs(text), strict=True):
        models.setdefault(run.block, chunk)
    made = "".join(
        _HANDLE.sub(f"  5\n{0xF000 + k:X}\n", _dxf_chunk(models[r.block], r), count=1)
        for k, r in enumerate(runs)
    )
    return head + "\nENTITIES\n" + entities[:start] + made + entities[stop:]


def _dxf_chunk(model: str, run: Run) -> str:
    """A polyline like the model, with the run's vertices; its closed flag as the run's."""
    flag = re.compile(r"^( 70\n) *\d+\n", re.MULTILINE)
    if "LWPOLYLINE" in model:
        head = re.split(r"^ 10\n", model, maxsplit=1, flags=re.MULTILINE)[0]
        head = flag.sub(rf"\g<1>     {int(run.closed)}\n", head, count=1)
        head = re.sub(r"^( 90\n) *\d+\n", rf"\g<1>{len(run.corners):9d}\n", head, flags=re.M)
        rows = [
            f" 10\n{p.real:.6f}\n 20\n{p.imag:.6f}\n" + (f" 42\n{b!r}\n" if b else "")
            for p, b in run.corners
        ]
        return head + "".join(rows)
    first, *vertices = re.split(r"(?=^  0\nVERTEX\n)", model, flags=re.MULTILINE)
    tail = re.search(r"^  0\nSEQEND\n[\s\S]*", vertices[-1], re.MULTILINE)
    assert tail is not None
    plain = re.sub(r"^ 42\n.*\n", "", vertices[0].split("  0\nSEQEND")[0], flags=re.M)
    first = flag.sub(rf"\g<1>     {int(run.closed)}\n", first, count=1)
    rows = []
    for p, b in run.corners:
        row = re.sub(r"^ 10\n.*\n", f" 10\n{p.real:.6f}\n", plain, flags=re.M)
        row = re.sub(
            r"^ 20\n.*\n", f" 20\n{p.imag:.6f}\n" + (f" 42\n{b!r}\n" if b else ""), row, flags=re.M
        )
        rows.append(row)
    return first + "".join(rows) + tail[0]


# The measure


@dataclass(frozen=True)
class Measured:
    """A cut folder's record with what its untouched files do to the edges of its targets.

    edges: dense points on each outline and opening; those that the tool reaches not are left out.
    pieces: each target as an area, with an index of dense points on its edge.
    """

    record: dict[str, Any]
    edges: Points
    pieces: tuple[tuple[shapely.Polygon, cKDTree], ...]

    @property
    def tool(self) -> dict[str, Any]:
        tool: dict[str, Any] = self.record["files"][0]["tool"]
        return tool


def measured(record: dict[str, Any], runs: Sequence[Run]) -> Measured:
    targets = [_target(p["target"]) for p in record["pieces"]]
    edges = np.concatenate([r.dense(0.05) for target in targets for r in target])
    entry = record["files"][0]
    off = _edge_off(edges, entry["tool"]["kerf"], ways(entry, runs))
    assert np.mean(off < REACHED) > 0.95, "the measure finds a good file good"
    return Measured(record, edges[off < REACHED], tuple(map(_area, targets)))


def _area(contours: Sequence[Run]) -> tuple[shapely.Polygon, cKDTree]:
    rings = [_xy_rows(r.dense(0.2)) for r in contours]
    edge = np.concatenate([r.dense(DENSE) for r in contours])
    area = shapely.Polygon(rings[0], rings[1:])
    shapely.prepare(area)
    return area, cKDTree(_xy_rows(edge))


def _target(data: str) -> list[Run]:
    """The recorded target's contours; its cubics as dense corners."""
    runs = []
    for part in data.replace("Z", "Z|").split("|"):
        if not part.strip():
            continue
        corners: list[tuple[complex, float]] = []
        for word, rest in re.findall(r"([MLACZ])([^MLACZ]*)", part):
            n = [float(v) for v in re.split(r"[ ,]+", rest.strip()) if v]
            if word == "A":
                here, there = corners[-1][0], complex(n[5], n[6])
                half = math.asin(min(1.0, abs(there - here) / (2 * n[0])))
                turn = 2 * (math.pi - half if n[3] else half)
                corners[-1] = (here, math.tan(turn / 4) * (1 if n[4] else -1))
                corners.append((there, 0.0))
            elif word == "C":
                a, b, c, d = corners[-1][0], *(complex(*n[k : k + 2]) for k in (0, 2, 4))
                for t in np.linspace(0, 1, 400)[1:]:
                    p = a * (1 - t) ** 3 + 3 * b * t * (1 - t) ** 2
                    corners.append((complex(p + 3 * c * t**2 * (1 - t) + d * t**3), 0.0))
            elif word in "ML":
                corners.append((complex(n[0], n[1]), 0.0))
        runs.append(Run(tuple(corners), True, 0))
    return runs


def ways(entry: dict[str, Any], runs: Sequence[Run]) -> Points:
    """Where the middle of the beam, or the tip, of every cutting run goes."""
    tool = entry["tool"]
    cutting = [
        r
        for r, c in zip(runs, [*entry["contours"], *[None] * len(runs)], strict=False)
        if c is None or c["operation"] in ("CUT_OUTER", "CUT_INNER", "CUT_SLIT")
    ]
    if not tool["blade_offset"] or "blade-offset" in tool["applies"]:
        return np.concatenate([r.dense(DENSE) for r in cutting])
    made, tip = [], None
    for run in cutting:
        trail, tip = dragged(run.dense(DRAGGED), tool["blade_offset"], tip)
        made.append(trail)
    return np.concatenate(made)


def dragged(pivots: Points, offset: float, heading: complex | None) -> tuple[Points, complex]:
    """The tip that hangs behind a pivot, step by step; heading None: straight behind it."""
    steps = pivots.tolist()
    back = heading or (steps[1] - steps[0]) / abs(steps[1] - steps[0])
    tip = steps[0] - offset * back
    made = []
    for p in steps:
        away = p - tip
        tip = p - offset * away / abs(away)
        made.append(tip)
    return np.array(made), (steps[-1] - tip) / offset


def _edge_off(edges: Points, kerf: float, way: Points) -> npt.NDArray[np.float64]:
    distance, _ = cKDTree(_xy_rows(way)).query(_xy_rows(edges))
    return np.asarray(np.abs(distance - kerf / 2))


def deviation(good: Measured, runs: Sequence[Run]) -> float:
    """How far these runs leave an edge from its target at worst, mm: a cut into it counts too."""
    way = ways(good.record["files"][0], runs)
    off = float(_edge_off(good.edges, good.tool["kerf"], way).max())
    return max(off, _depth_inside(good, way))


def _depth_inside(good: Measured, way: Points) -> float:
    """The deepest that a way runs inside a piece, mm."""
    deepest = 0.0
    for piece, edge in good.pieces:
        inside = way[shapely.contains_xy(piece, way.real, way.imag)]
        if len(inside):
            distance, _ = edge.query(_xy_rows(inside))
            deepest = max(deepest, float(distance.max()))
    return deepest


def _xy_rows(points: Points) -> npt.NDArray[np.float64]:
    return np.column_stack([points.real, points.imag])
