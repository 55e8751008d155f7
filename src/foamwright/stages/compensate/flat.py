"""A flat blade on a curve: where its back and its lower edge lie while its edge follows a stroke.

The edge's upper end runs on the stroke, so the top face is the *true face* of a knife: there the
freed edge is as exact as the path.  The machine holds the blade along the tangent there, so what
lies x mm behind that end is off a curve of radius R by sqrt(R^2 + x^2) - R: the edge at the bottom
face, which trails by the overrun, and the blade's back, which trails by the section's width and
pushes the stock aside.  Where the blade goes in it stands as a chord of the stroke, and its flat of
width w bows off a curve by R - sqrt(R^2 - w^2/4), about w^2 / 8R.
All is measured on the stroke as it is, so that a short or a sharp bend counts for no more than it
does.  Does not know pieces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry import region
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Points
from foamwright.model import Tool

Floats: TypeAlias = npt.NDArray[np.float64]

#: Places looked at along a stroke are at most this share of the blade's width apart.
SHARE = 0.125
#: Places on one segment, at most.
MOST = 2000
#: Degrees of turn between segments that count as none, and mm that the flattening may take.
STRAIGHT, FINE = 0.1, 0.0002


@dataclass(frozen=True, slots=True)
class Bent:
    """A blade's worst place on a stroke, mm.

    far: how far the edge at the bottom face is off.  back: the same of the blade's back.  flat: the
    bow between the stroke and the blade's flat as a chord.  radius: of the tightest curve under the
    blade there; endless at a kink.
    """

    at: complex
    far: float
    back: float
    flat: float
    radius: float

    @property
    def worst(self) -> float:
        return max(self.far, self.back, self.flat)


def bent(stroke: Path, tool: Tool) -> Bent | None:
    """The place on an open stroke of lines and arcs where the blade is off most; None: straight."""
    width = tool.section
    if width <= 0 or is_straight(stroke):
        return None
    along, leads, headings = stations(stroke, width * SHARE)
    inside = along >= min(width, along[-1])
    along, leads, headings = along[inside], leads[inside], headings[inside]
    line = region.curve(stroke, FINE)
    far, back = (
        region.directed_deviation(leads - behind * headings, line)
        for behind in (tool.overrun, width)
    )
    k = int(np.argmax(back))
    here = float(along[k])
    under = stroke.between(max(0.0, here - width), here) if here > 0 else stroke
    radii = [s.radius for s in under.segments if isinstance(s, Arc)]
    return Bent(
        complex(leads[k]),
        float(far.max()),
        float(back[k]),
        max(bow(under), bow(stroke, width)),
        min(radii, default=math.inf),
    )


def bow(stroke: Path, width: float = math.inf) -> float:
    """How far the first `width` mm of a stroke lie off the straight line between their ends."""
    run = stroke if width >= stroke.length else stroke.between(0.0, width)
    if is_straight(run):
        return 0.0
    points = run.flatten(FINE)
    return float(region.directed_deviation(points, region.polyline([run.start, run.end])).max())


def is_straight(stroke: Path) -> bool:
    """Lines only, with no turn between them worth speaking of."""
    if any(isinstance(s, Arc) for s in stroke.segments):
        return False
    return all(
        abs(turn_degrees(a.tangent(1.0), b.tangent(0.0))) < STRAIGHT
        for a, b in pairwise(stroke.segments)
    )


def stations(path: Path, step: float) -> tuple[Floats, Points, Points]:
    """Lengths along a path of lines and arcs, the places there and the unit tangents; each segment
    with both its ends, at most `step` mm apart."""
    before, made = 0.0, []
    for s in path.segments:
        length, start = s.length(), s.tangent(0.0)
        ways = np.linspace(0.0, length, min(MOST, math.ceil(length / step)) + 1)
        turned = ways * (s.sweep / length if isinstance(s, Arc) and length else 0.0)
        chords = ways * np.sinc(turned / 2 / np.pi) * np.exp(0.5j * turned)
        made.append((before + ways, s.start + start * chords, start * np.exp(1j * turned)))
        before += length
    along, places, headings = (np.concatenate(part) for part in zip(*made, strict=True))
    return along, places, headings
