"""Holding bridges: each that the record tells of must stand as told, and hold its piece.

The record says where a stretch of a target's outline stays uncut, how long it is and how wide the
stock stands there.  Looked at is what the beam leaves: the stretch that no cut reaches, and the
neck across the cut in its middle.  What no bridge of the record explains is `compare`'s matter.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from foamwright.geometry.oval import Oval, swollen
from foamwright.geometry.region import (
    Region,
    box,
    common,
    directed_deviation,
    distance,
    is_empty,
    polyline,
    touches_or_overlaps,
    union,
)
from foamwright.stages.verify.compare import REACH, Fault
from foamwright.stages.verify.simulate import Trace
from foamwright.stages.verify.targets import Held, Target

#: mm by which a bridge's width or stretch may differ from what is told.
SLACK = 0.05
#: Distance between places looked at along a stretch, mm.
LOOK = 0.02


def prove_bridges(
    target: Target, cuts: Sequence[Trace], beam: Oval, limit: float
) -> Iterator[Fault]:
    """Faults of a target's bridges. cuts: the severing traces near it."""
    lines = union([c.line(0) for c in cuts])
    for held in target.bridges:
        reach = held.length + held.width + 2 * beam.radius + REACH
        x, y = held.at.real, held.at.imag
        near = common(lines, box((x - reach, y - reach, x + reach, y + reach)))
        swept = swollen(near, beam, tolerance=limit / 40)
        told = f"the record tells of a holding bridge {held.width:g} mm wide"
        width = _width(held, swept, beam)
        uncut = _uncut(target, held, swept, limit)
        if width == 0 or uncut == 0:
            yield Fault("V024", held.at, f"{told}, and it is cut through", _ANEW)
        elif width < held.width - SLACK:
            yield Fault("V024", held.at, f"{told}, and it is {width:.2f} mm", _ANEW)
        elif not -SLACK <= held.length - uncut <= 2 * _hidden(beam, limit) + SLACK:
            what = f"{told} with {held.length:.2f} mm of edge uncut, and {uncut:.2f} mm are"
            yield Fault("V024", held.at, what, _ANEW)


_ANEW = "cut the job anew"


def _hidden(beam: Oval, limit: float) -> float:
    """mm of a straight edge past the place where a beam touches it that lie within the limit of it.

    sqrt(2 R d + d^2) for a disc of radius R at a depth d; R is a^2 / b at an oval's flat side.
    """
    flat = beam.radius * beam.ratio
    return math.sqrt(2 * flat * limit + limit**2)


def _width(held: Held, swept: Region, beam: Oval) -> float:
    """How wide the stock stands at the neck, mm; 0 where the neck is cut."""
    out = held.at + held.outward * (2 * beam.radius + REACH)
    neck = polyline([held.at, out])
    if is_empty(swept):
        return math.inf
    return 0.0 if touches_or_overlaps(neck, swept) else 2 * distance(neck, swept)


def _uncut(target: Target, held: Held, swept: Region, limit: float) -> float:
    """mm of the outline about the bridge's middle that no cut comes within the limit of."""
    half = 0.75 * held.length + SLACK
    around = target.outline.between(held.along - half, held.along + half)
    at = np.arange(0.0, around.length, LOOK)
    points = np.array([around.point_at(s) for s in at])
    off = directed_deviation(points, swept) if not is_empty(swept) else np.full(len(at), np.inf)
    cut = np.flatnonzero(off <= limit)
    middle = len(at) // 2
    if middle in cut:
        return 0.0
    before = cut[cut < middle].max(initial=-1)
    after = cut[cut > middle].min(initial=len(at))
    return float((after - before) * LOOK)
