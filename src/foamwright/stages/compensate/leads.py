"""Leads: the beam's way from the scrap onto a contour, and from it back into the scrap.

Where a beam pierces and where it stops leaves a scar, so both are laid into the scrap.  A *lead* is
straight and meets the line that the beam's middle follows at a slant: a lead-in comes from behind,
a lead-out goes on ahead.  Beside a holding bridge both lean away from it, or they would cut it off.
A lead lies clear where what the beam removes along it touches no piece and no bridge.  Else it is
moved along the contour, then turned, then shortened.
Does not know what a contour is of, nor choose between the places that are clear (`order`).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from foamwright.geometry import region
from foamwright.geometry.path import Path
from foamwright.geometry.region import Region
from foamwright.geometry.segments import Line, Segment
from foamwright.model import Entry, Tool
from foamwright.stages.compensate.ground import HAIR, Ground
from foamwright.stages.compensate.places import even_places

#: Degrees to the contour that are tried where the asked ones are not clear anywhere.
OTHER_ANGLES = (45.0, 30.0, 60.0, 90.0)
#: Shares of the asked length that are tried.
SHARES = (1.0, 0.5, 0.25)
#: Segments whose middles are tried, the longest first: bounds the search.
PLACES = 64
#: mm that a lead's contact may miss by: fit and flattening.
SLACK = 0.01


@dataclass(frozen=True, slots=True)
class Kept:
    """A line that no lead may cut off: the stock within `half` mm of it must stay.

    Such are a holding bridge's neck across the cut, and the leads beside it, whose scrap holds it.
    """

    line: Region
    half: float


@dataclass(frozen=True, slots=True)
class Leads:
    """Leads as they were made. begin, end: lengths in mm, 0 where there is none; angle: degrees."""

    begin: float
    end: float
    angle: float


class LeadGround:
    """Where leads of this tool lie clear on one sheet."""

    def __init__(self, ground: Ground, tool: Tool, kept: Sequence[Kept]) -> None:
        self.ground, self.kept = ground, tuple(kept)
        self.narrow = min(tool.beam.rx, tool.beam.ry)
        self.wide = tool.widest_kerf / 2
        self._near = region.near([k.line for k in self.kept])

    def is_clear(self, far: complex, contact: complex, angle: float) -> bool:
        """Whether the beam may run between a place in the scrap and one on its contour.

        The contour itself comes as near to its piece there as the beam's narrow side; beyond, the
        lead keeps as far as the widest face asks.  angle: degrees between the two.
        """
        line = region.polyline([far, contact])
        if not self.ground.is_clear(line, max(self.narrow - SLACK, HAIR)):
            return False
        way = contact - far
        left = (self.wide - self.narrow + SLACK) / math.sin(math.radians(angle))
        if left < abs(way):
            outer = region.polyline([far, contact - left * way / abs(way)])
            if not self.ground.is_clear(outer, max(self.wide, HAIR)):
                return False
        reach = self.wide + max((k.half for k in self.kept), default=0.0)
        return all(
            region.distance(line, self.kept[i].line) >= self.kept[i].half + self.wide - SLACK
            for i in self._near.within(line, reach)
        )


def led_ways(path: Path, tool: Tool, ground: LeadGround) -> tuple[tuple[Entry, ...], Leads]:
    """The ways to run a closed path with a lead-in and a lead-out at one clear place of it.

    Where no place is clear for both, with a lead-in alone; where none is, no way at all.
    """
    wishes = [(tool.lead_in, tool.lead_out)]
    if tool.lead_in and tool.lead_out:
        wishes.append((tool.lead_in, 0.0))
    places = _places(path)
    for wish in wishes:
        for begin, end, angle in _tries(wish, tool.lead_angle, _room(path)):
            found = tuple(e for p in places if (e := _entry(path, p, (begin, end, angle), ground)))
            if found:
                return found, Leads(begin, end, angle)
    return (), Leads(0.0, 0.0, tool.lead_angle)


def _entry(
    path: Path, place: tuple[int, float], lead: tuple[float, float, float], ground: LeadGround
) -> Entry | None:
    """The way by leads of these lengths and this angle at a place; None where they aren't clear."""
    segment, t = place
    begin, end, angle = lead
    spot = path.segments[segment]
    contact, along = spot.point(t), spot.tangent(t)
    first = contact - begin * along * _turned(angle)
    last = contact + end * along * _turned(-angle)
    if not all(ground.is_clear(p, contact, angle) for p in (first, last) if p != contact):
        return None
    before = (Line(first, contact),) if begin else ()
    after = (Line(contact, last),) if end else ()
    return Entry(path, segment, t, before, after)


def keeping(path: Path, leads: Leads, width: float, wide: float) -> list[Kept]:
    """A run's leads as lines from which other leads keep a bridge's width of stock.

    width: of the bridge, mm.  wide: half the kerf on its widest face.
    """
    ends = [path.segments[0]] if leads.begin else []
    ends += [path.segments[-1]] if leads.end else []
    return [Kept(region.polyline([s.start, s.end]), width + wide) for s in ends]


def led_at_bridges(run: Path, tool: Tool, ground: LeadGround) -> tuple[Path, Leads]:
    """A run between two bridges with leads that lean away from them, each where it lies clear."""
    first = _off_end(run.start, -run.segments[0].tangent(0.0), tool, ground, True)
    last = _off_end(run.end, run.segments[-1].tangent(1.0), tool, ground, False)
    angle = next((a for _, length, a in (first, last) if length), tool.lead_angle)
    return _joined(first[0], run, last[0]), Leads(first[1], last[1], angle)


def _off_end(
    contact: complex, away: complex, tool: Tool, ground: LeadGround, entering: bool
) -> tuple[complex, float, float]:
    """The far place of a lead at a run's end, its length and angle; away: the way off the run.

    It leans back over the scrap beside its own run, so that the bridge's root widens.
    """
    asked = tool.lead_in if entering else tool.lead_out
    side = 1 if entering else -1
    for length, _, angle in _tries((asked, 0.0), tool.lead_angle, math.inf):
        far = contact + length * away * _turned(side * (180.0 - angle))
        if ground.is_clear(far, contact, angle):
            return far, length, angle
    return contact, 0.0, tool.lead_angle


def _turned(degrees: float) -> complex:
    return cmath.rect(1.0, math.radians(degrees))


def _tries(
    wish: tuple[float, float], asked: float, room: float
) -> Iterator[tuple[float, float, float]]:
    """Both lengths and the angle in the order in which they are tried; none without a wish.

    room: mm beyond which no lead can lie.
    """
    angles = (asked, *(a for a in OTHER_ANGLES if a != asked))
    for share in SHARES if any(wish) else ():
        begin, end = share * wish[0], share * wish[1]
        if max(begin, end) < room:
            yield from ((begin, end, angle) for angle in angles)


def _room(path: Path) -> float:
    """The longest straight way inside an opening; outside an outline there is no such bound."""
    low_x, low_y, high_x, high_y = path.bounds
    return math.hypot(high_x - low_x, high_y - low_y) if path.area < 0 else math.inf


def _places(path: Path) -> tuple[tuple[int, float], ...]:
    """The middle of the longest segment, away from corners and notches; even places; the middles
    of the others.
    """
    order = sorted(range(len(path.segments)), key=lambda i: (-path.segments[i].length(), i))
    longest, *others = ((i, 0.5) for i in order[:PLACES])
    return (longest, *even_places(path), *others)


def _joined(first: complex, run: Path, last: complex) -> Path:
    """The run with straight ways before and after it where there are any."""
    segments: list[Segment] = list(run.segments)
    corners = set(run.corners)
    if first != run.start:
        segments.insert(0, Line(first, run.start))
        corners = {1} | {i + 1 for i in corners}
    if last != run.end:
        corners.add(len(segments))
        segments.append(Line(run.end, last))
    return Path(tuple(segments), False, frozenset(corners))
