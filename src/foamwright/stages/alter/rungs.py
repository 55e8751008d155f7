"""How far round a shell and its core are, at places along the sides that are joined.

Terms.  A *shell* is closed into a tube by joining its two *sides*; its *girth* at a place is the
way round it there, on the stitch line.  A *rung* is such a place: the arc that meets both sides
squarely, exact for a tube and for a cone, whose wall leans from its axis by asin(a / 2 pi) where
its flat sides stand at an angle of a (handbook development of a frustum).  A rolled sheet keeps its
length at its neutral surface; outside it is longer by 2 pi times what lies beyond.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from foamwright.geometry.contour import Strand
from foamwright.geometry.nearest import nearest_length
from foamwright.job_cores import CoreKeys
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern

#: Rungs from one end of the sides to the other.
RUNGS = 41
#: Sides that are nearer to each other meet, at a cone's tip, mm: nothing is compared there.
MET = 1e-6
#: Sides at less than this angle are parallel, radians.
PARALLEL = 1e-9


@dataclass(frozen=True, slots=True)
class Rung:
    """at: where along the core's first side, 0 to 1.  shell: its girth inside; flat: the core's
    width; outside: the core's girth when it is rolled; all mm.
    """

    at: float
    shell: float
    flat: float
    outside: float

    @property
    def strain(self) -> float:
        """Per cent that the core is wider outside than its shell is inside: it is pressed by so
        much, or the shell stretched; less than nought: it is loose.
        """
        return 100 * (self.outside / self.shell - 1)


def rungs_of(
    shell: Pattern, core: Pattern, keys: CoreKeys, thickness: float, lies_in: bool
) -> tuple[Rung, ...]:
    """The rungs from one end of the core's sides to the other.

    thickness: of the foam, mm.  lies_in: the core was derived, so that the shell's sides lie beside
    its own; a drawn one is taken to lie in the middle of their length.  Raises NoSuchEdgeError for
    sides that aren't there or aren't opposite one another.
    """
    assert keys.sides is not None
    sides = _sides(core, keys.sides)
    shell_sides = _sides(shell, keys.sides)
    found = []
    for k in range(RUNGS):
        at = k / (RUNGS - 1)
        feet = [s.length * at for s in sides]
        flat, lean = _across(sides, feet)
        outside = flat + 2 * math.pi * (1 - keys.neutral) * thickness * math.cos(lean)
        on_shell = _beside(shell_sides, sides, feet, lies_in)
        girth = _across(shell_sides, on_shell)[0]
        if girth > MET:
            found.append(Rung(at, girth, flat, outside))
    if not found:
        raise NoSuchEdgeError(f"{keys.sides[0]} and {keys.sides[1]} lie on one another")
    return tuple(found)


Sides = tuple[Strand, Strand]


def _sides(pattern: Pattern, names: tuple[str, str]) -> Sides:
    """Both sides from the same end of the tube. Raises NoSuchEdgeError."""
    runs = [pattern.run(n) for n in names]
    if names[0] == names[1] or any(r.ring != runs[0].ring for r in runs):
        raise NoSuchEdgeError(f"{names[0]} and {names[1]} are not two sides of one outline")
    first, second = (pattern.strand(n) for n in names)
    return first, second.reversed()


def _beside(shell: Sides, core: Sides, feet: list[float], derived: bool) -> list[float]:
    """Arc lengths on the shell's sides that lie beside these on the core's."""
    if derived:
        spots = (s.path.point_at(f) for s, f in zip(core, feet, strict=True))
        return [nearest_length(s.path, p)[0] for s, p in zip(shell, spots, strict=True)]
    middles = ((s.length - c.length) / 2 for s, c in zip(shell, core, strict=True))
    wanted = (m + f for m, f in zip(middles, feet, strict=True))
    return [min(max(w, 0.0), s.length) for w, s in zip(wanted, shell, strict=True)]


def _across(sides: Sides, feet: list[float]) -> tuple[float, float]:
    """Length of the arc between two places on the sides, mm, and how a cone's wall leans there."""
    spots = [s.path.point_at(f) for s, f in zip(sides, feet, strict=True)]
    ways = [s.path.tangent_at(min(f, s.length)) for s, f in zip(sides, feet, strict=True)]
    angle = abs(cmath.phase(ways[1] / ways[0]))
    chord = abs(spots[1] - spots[0])
    if angle <= PARALLEL:
        return chord, 0.0
    arc = chord * (angle / 2) / math.sin(angle / 2)
    return arc, math.asin(min(1.0, angle / (2 * math.pi)))
