"""The section of a turned blade at both faces of the stock, while its edge runs along a stroke.

The edge's upper end follows the stroke, held along the tangent; behind it the blade reaches back by
its width at the face, and at the bottom face from the edge there, which trails by the overrun, to
its *heel*: the tip of a single-edged blade, the rear edge of a double-edged one.  It goes in as a
chord from the stroke's start.  On a straight stroke all of that lies on the stroke; on a curve the
*body* swings out, and the bottom edge cuts beside the top one.

Does not know pieces; what is proven of it is in `body`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.segments import Arc, Points
from foamwright.model import Tool

Floats: TypeAlias = npt.NDArray[np.float64]

#: Places along a stroke are at most this share of the blade's width apart.
SHARE = 0.1
#: Places on one segment, at most.
MOST = 4000
#: Places looked at across a blade's section.
ACROSS = 6
#: Degrees of turn between two lines that count as none.
STRAIGHT = 0.01


@dataclass(frozen=True, slots=True)
class Sections:
    """Places of a blade on its way, one a row; the first is as it went in.

    leads, backs: its ends at the top face.  edges, heels: those at the bottom face.  under: the
    stroke's place over each bottom edge.
    """

    leads: Points
    backs: Points
    edges: Points
    heels: Points
    under: Points

    def body(self) -> Points:
        """Places all over the sections of both faces."""
        share = np.linspace(0.0, 1.0, ACROSS)[:, None]
        top = self.backs + share * (self.leads - self.backs)
        bottom = self.heels + share * (self.edges - self.heels)
        whole: Points = np.concatenate([top.ravel(), bottom.ravel()])
        return whole


def sections(path: Path, tool: Tool) -> Sections:
    """Where the tool's blade is on an open stroke of lines and arcs; its section must be a width.

    A stroke shorter than the section is reached beyond as far as the blade goes in.
    """
    width = tool.section
    first = path.point_at(width) - path.start
    chord = first / abs(first)
    along, places, headings = _stations(path, width * SHARE)
    running = along >= width
    heads: Points = np.concatenate([[chord], headings[running]])
    leads: Points = np.concatenate([[path.start + width * chord], places[running]])
    under = np.concatenate([[width], along[running]]) - tool.overrun
    behind = width - (tool.overrun if tool.edges == "double" else 0.0)
    return Sections(
        leads,
        leads - width * heads,
        leads - tool.overrun * heads,
        leads - behind * heads,
        np.interp(under, along, places),
    )


def _stations(path: Path, step: float) -> tuple[Floats, Points, Points]:
    """Lengths along a path, the places there and the tangents, each segment with both its ends."""
    before, made = 0.0, []
    for s in path.segments:
        length = s.length()
        count = min(MOST, max(1, math.ceil(length / step)))
        ways = np.linspace(0.0, 1.0, count + 1)
        places = np.array([s.point(float(t)) for t in ways])
        heads = np.array([s.tangent(float(t)) for t in ways])
        made.append((before + length * ways, places, heads))
        before += length
    along, places, heads = (np.concatenate(part) for part in zip(*made, strict=True))
    return along, places, heads


def is_straight(path: Path) -> bool:
    """Lines only, one straight on after the other."""
    if any(isinstance(s, Arc) for s in path.segments):
        return False
    return all(
        abs(turn_degrees(a.tangent(1.0), b.tangent(0.0))) <= STRAIGHT
        for a, b in pairwise(path.segments)
    )


def severed_below(path: Path, tool: Tool, blade: Sections) -> tuple[float, float]:
    """Lengths along a stroke between which the bottom face is severed: from over the heel as the
    blade goes in to over the edge as it stops."""
    window = min(path.length, tool.section + tool.overrun)
    start, _ = nearest_length(path.between(0.0, window), complex(blade.heels[0]))
    end, _ = nearest_length(
        path.between(path.length - window, path.length), complex(blade.edges[-1])
    )
    return start, path.length - window + end


def overreach(path: Path, blade: Sections) -> Points:
    """What a blade wider than its stroke cuts beyond the stroke's end as it goes in."""
    lead = complex(blade.leads[0])
    return np.array([lead]) if len(blade.leads) == 1 and lead != path.end else np.zeros(0, complex)
