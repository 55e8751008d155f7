"""Drafts: measures of a job become pieces, as drawings do.

Each piece's corners bear names (`bottom-start`), counter-clockwise, so that the job's edges can run
between them.  The developments are in `develop.py`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import MappingProxyType

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault, note
from foamwright.geometry.path import Path
from foamwright.job_drafts import DRAFT, DraftSpec
from foamwright.model import Drawing, Piece
from foamwright.stages.acquire.develop import (
    disc,
    frustum,
    gore,
    rectangle,
    slant_of,
    smooth_through,
    to_middle,
)

#: What a limb's core is narrower by on each side where the job doesn't say, mm: 1/2 in.
#: Common practice, no source.
INSET = 12.7
#: The corners of a development that is a band, counter-clockwise.
BAND = ("bottom-start", "bottom-end", "top-end", "top-start")

Made = tuple[list[Piece], list[Finding]]


def drafts(specs: Iterable[DraftSpec]) -> tuple[Drawing, tuple[Finding, ...]]:
    """The pieces of all drafts as one drawing named `draft`; R501 where measures make nothing."""
    pieces: list[Piece] = []
    findings: list[Finding] = []
    for spec in specs:
        try:
            made, told = _KINDS[spec.kind](spec)
        except GeometryError as why:
            mend = "check the measures"
            findings.append(fault("R501", f"draft {spec.name}", str(why), mend, piece=spec.name))
            continue
        pieces += made
        findings += told
    names = MappingProxyType({p.name: p.name for p in pieces})
    return Drawing(DRAFT, tuple(pieces), "mm", names), tuple(findings)


def _radius(value: float, spec: DraftSpec) -> float:
    return value / (2 * math.pi) if spec.measure == "girth" else value / 2


def _piece(name: str, outline: Path, corners: Sequence[str] = ()) -> Piece:
    joints = sorted(outline.corners)
    spots = [outline.segments[j].start for j in joints]
    named = dict(zip(corners, spots, strict=True)) if corners else {}
    return Piece(name, outline, points=MappingProxyType(named), source=f"{DRAFT}#{name}")


def _frustum(spec: DraftSpec) -> Made:
    bottom, top = _radius(spec.bottom or 0.0, spec), _radius(spec.top or 0.0, spec)
    slant = spec.slant or slant_of(bottom, top, spec.height or 0.0)
    if not slant > abs(bottom - top):
        raise GeometryError("a side that is too short for ends that differ so much")
    lean = math.asin((bottom - top) / slant)
    low, high = (to_middle(r, abs(lean), spec.thickness, spec.surface) for r in (bottom, top))
    outline = frustum(low, high, slant)
    if low == 0 or high == 0:
        corners: tuple[str, ...] = ("bottom-start", "bottom-end", "tip")
    else:
        corners = BAND
    return [_piece(spec.name, outline, corners)], []


def _cylinder(spec: DraftSpec) -> Made:
    radius, height = _radius(spec.across or 0.0, spec), spec.height or 0.0
    middle = to_middle(radius, 0.0, spec.thickness, spec.surface)
    outside = middle + spec.thickness / 2
    wall = height - (2 * spec.thickness if spec.ends == "over" else 0.0)
    if wall <= 0 or outside <= spec.thickness:
        raise GeometryError("a body that is no bigger than its sheet is thick")
    made = [_piece(spec.name, rectangle(2 * math.pi * middle, wall), BAND)]
    if spec.ends != "none":
        end = outside if spec.ends == "over" else outside - spec.thickness
        made.append(_piece(f"{spec.name}-end", disc(end)))
    return made, []


def _box(spec: DraftSpec) -> Made:
    """Front and back whole, sides between them, top and bottom between all four: square joints."""
    width, depth, height = spec.width or 0.0, spec.depth or 0.0, spec.height or 0.0
    t = spec.thickness
    if min(width, depth) <= 2 * t:
        raise GeometryError("a box that is no wider than its walls are thick")
    panels = {
        "front": (width, height),
        "side": (depth - 2 * t, height),
        "top": (width - 2 * t, depth - 2 * t),
    }
    made = [_piece(f"{spec.name}-{part}", rectangle(*size), BAND) for part, size in panels.items()]
    return made, [note("R502", f"draft {spec.name}", "each panel is cut twice")]


def _gores(spec: DraftSpec) -> Made:
    measured = _radius(spec.across or 0.0, spec)
    radius = to_middle(measured, 0.0, spec.thickness, spec.surface)
    opening = _radius(spec.opening, spec) * radius / measured  # its rim is cut square to the sheet
    outline = gore(radius, spec.gores or 0, opening)
    corners = ("bottom-end", "tip", "bottom-start") if spec.opening else ("low-tip", "tip")
    made = _piece(spec.name, outline, corners)
    told = note("R502", f"draft {spec.name}", f"{spec.gores} of it make the body")
    return [made], [told]


def _limb(spec: DraftSpec) -> Made:
    """A shell with one seam down its back, straight or flared below the knee, and its cores."""
    top, length = spec.top or 0.0, spec.length or 0.0
    bottom = top if spec.bottom is None else spec.bottom
    knee = length if spec.knee is None else spec.knee
    if knee > length:
        raise GeometryError("a knee above the limb's top")
    inset = INSET if spec.inset is None else spec.inset
    rolled = _rolled_girth(spec, top), _rolled_girth(spec, bottom)
    inner = top - 2 * inset, bottom - 2 * inset
    if min(inner) <= 0 or min(rolled) <= 0:
        raise GeometryError("a limb that is no wider than its core is thick")
    made = [
        _piece(spec.name, *_flared(top, bottom, length, knee)),
        _piece(f"{spec.name}-core", *_flared(*inner, length, knee)),
        _piece(f"{spec.name}-rolled-core", *_flared(*rolled, length, knee)),
    ]
    outside = inner[0] + math.pi * spec.thickness
    told = (
        f"the shell is {top:.1f} mm wide at the top, its core {inner[0]:.1f} mm: rolled from "
        f"{spec.thickness:g} mm sheet it is {outside:.1f} mm round, "
        f"{100 * (outside / top - 1):+.1f} % of the shell; the rolled core, {rolled[0]:.1f} mm, "
        "just fills it"
    )
    return made, [note("R502", f"draft {spec.name}", told)]


def _rolled_girth(spec: DraftSpec, girth: float) -> float:
    """Flat width of a sheet that is rolled to fill a girth, bent on its middle surface."""
    return girth - math.pi * spec.thickness


def _flared(top: float, bottom: float, length: float, knee: float) -> tuple[Path, tuple[str, ...]]:
    """A band symmetric about x = 0 that keeps its top width above the knee."""
    straight = knee >= length or top == bottom
    right = [complex(bottom / 2, 0), complex(top / 2, knee), complex(top / 2, length)]
    names = ["bottom-end", "knee-end", "top-end"]
    if straight:
        del right[1], names[1]
    left = [-p.conjugate() for p in right]
    corners = [left[0], *right, *reversed(left[1:])]
    other = [n.replace("end", "start") for n in names]
    outline = Path.polygon(corners)
    called = (other[0], *names, *reversed(other[1:]))
    if len(outline.corners) != len(called):  # a knee that turns by less than a corner does
        called = tuple(n for n in called if not n.startswith("knee"))
    return outline, called


def _stations(spec: DraftSpec) -> Made:
    """Widths at ruled lines across a centre line that runs up from the lowest."""
    rows = sorted(spec.station, key=lambda s: s.at)
    if len(rows) < 2 or len({s.at for s in rows}) < len(rows):
        raise GeometryError("stations need two or more different places along the centre line")
    up = [complex(s.halves[1], s.at) for s in rows]
    down = [complex(-s.halves[0], s.at) for s in rows]
    sharp = [s.corner for s in rows]
    first, last = (sum(rows[k].halves) > 0 for k in (0, -1))
    sharp[0] |= first
    sharp[-1] |= last
    spots = [*zip(up, sharp, strict=True)]
    back = [*zip(down, sharp, strict=True)]
    spots += reversed(back[0 if first else 1 : len(back) if last else -1])
    points = [p for p, _ in spots]
    corners = [k for k, (_, corner) in enumerate(spots) if corner]
    return [_piece(spec.name, smooth_through(points, corners))], []


_KINDS: Mapping[str, Callable[[DraftSpec], Made]] = MappingProxyType(
    {
        "frustum": _frustum,
        "cylinder": _cylinder,
        "box": _box,
        "gores": _gores,
        "limb": _limb,
        "stations": _stations,
    }
)
