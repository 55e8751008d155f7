"""What a drawn mark, point or grain line means: its kind, its place, its direction."""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Arc, Line
from foamwright.model import MarkShape
from foamwright.stages.acquire.shapes import Shape

#: Two strokes make a cross where each middle lies within this share of the stroke's length.
CROSS_SHARE = 0.05
#: How far from round, as a share of the radius, still counts as a circle.
ROUND_SHARE = 0.01

_HOLE = re.compile(r"hole|drill", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Symbol:
    """One or two shapes that stand for one thing. shape: the first, with the names."""

    shape: Shape
    paths: tuple[Path, ...]
    kind: MarkShape
    at: complex


def symbols(shapes: Sequence[Shape]) -> tuple[Symbol, ...]:
    """Shapes as symbols; two neighbouring strokes through each other's middle are one cross."""
    made: list[Symbol] = []
    at = 0
    while at < len(shapes):
        pair = shapes[at : at + 2]
        if len(pair) == 2 and _is_cross(pair[0].path, pair[1].path):
            paths = (pair[0].path, pair[1].path)
            made.append(Symbol(pair[0], paths, "cross", _middle(paths[0])))
        else:
            pair = shapes[at : at + 1]
            made.append(_symbol(pair[0]))
        at += len(pair)
    return tuple(made)


def _symbol(s: Shape) -> Symbol:
    if s.path.length == 0:
        return Symbol(s, (s.path,), "dot", s.path.start)
    if s.path.closed and is_round(s.path):
        called = " ".join((s.kind, s.id, s.title, *s.groups[-1:]))
        return Symbol(s, (s.path,), "hole" if _HOLE.search(called) else "dot", centre(s.path))
    if s.path.closed:
        return Symbol(s, (s.path,), "line", centre(s.path))
    return Symbol(s, (s.path,), "line", s.path.point_at(s.path.length / 2))


def centre(path: Path) -> complex:
    """The middle of the bounding box."""
    low_x, low_y, high_x, high_y = path.bounds
    return complex(low_x + high_x, low_y + high_y) / 2


def is_round(path: Path) -> bool:
    """A closed path that is a circle, however it was drawn."""
    low_x, low_y, high_x, high_y = path.bounds
    radius, middle = (high_x - low_x) / 2, centre(path)
    if radius <= 0 or abs((high_y - low_y) / 2 - radius) > ROUND_SHARE * radius:
        return False
    if any(isinstance(s, Line) for s in path.segments):
        return False
    if all(isinstance(s, Arc) for s in path.segments) and len(path.segments) == 1:
        return True
    spots = [s.point(t) for s in path.segments for t in (0.0, 0.25, 0.5, 0.75)]
    return all(abs(abs(p - middle) - radius) <= ROUND_SHARE * radius for p in spots)


def _middle(path: Path) -> complex:
    return (path.start + path.end) / 2


def _is_stroke(path: Path) -> bool:
    return (
        not path.closed
        and path.length > 0
        and abs(abs(path.end - path.start) - path.length) <= 1e-6 * path.length
    )


def _is_cross(a: Path, b: Path) -> bool:
    if not (_is_stroke(a) and _is_stroke(b)):
        return False
    apart = abs(_middle(a) - _middle(b))
    turn = abs(((b.end - b.start) / (a.end - a.start)).imag) / (b.length / a.length)
    return apart <= CROSS_SHARE * min(a.length, b.length) and turn > 0.5


def direction(paths: Sequence[Path]) -> float:
    """Degrees of the longest straight stretch among the paths, as it was drawn."""
    lines = [s for p in paths for s in p.segments if isinstance(s, Line)]
    if lines:
        longest = max(lines, key=Line.length)
        run = longest.end - longest.start
    else:
        run = paths[0].end - paths[0].start
    return math.degrees(cmath.phase(run))
