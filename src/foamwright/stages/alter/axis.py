"""The line about which a pattern is opened or evened out: drawn, an edge, or through two places."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Segment
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern

#: A line bends by no more than this where it counts as straight, and what lies this near to the
#: axis lies on it, mm: what a drawing's rounding may move it by.
ON_AXIS = 0.05
#: Steps along a segment in which it is looked for on which side of the axis it is.
STEPS = 32
#: Halvings of such a step: to the last digit.
HALVINGS = 50
#: Ends in the name of everything that an axis mirrored.
TWIN = "'"


@dataclass(frozen=True, slots=True)
class Axis:
    """A straight line through `at` with the unit direction `along`."""

    at: complex
    along: complex

    @staticmethod
    def through(a: complex, b: complex) -> Axis:
        """Raises NoSuchEdgeError where the two are one."""
        if abs(b - a) <= ON_AXIS:
            raise NoSuchEdgeError("it has no length, so it gives no direction")
        return Axis(a, (b - a) / abs(b - a))

    @property
    def mirror(self) -> Affine:
        turn = self.along * self.along
        c, s = turn.real, turn.imag
        moved = self.at - turn * self.at.conjugate()
        return Affine(c, s, s, -c, moved.real, moved.imag)

    def beside(self, p: complex) -> float:
        """Signed distance to the left of the axis, mm."""
        return ((p - self.at) * self.along.conjugate()).imag

    def ahead(self, p: complex) -> float:
        """Signed distance along the axis from where it was begun, mm."""
        return ((p - self.at) * self.along.conjugate()).real

    def crossings(self, path: Path) -> tuple[float, ...]:
        """Arc lengths at which a path goes from one side to the other, mm."""
        found = []
        for s, start in zip(path.segments, path.joint_lengths(), strict=True):
            sides = [self.beside(s.point(k / STEPS)) for k in range(STEPS + 1)]
            for k, (a, b) in enumerate(pairwise(sides)):
                if (a > 0) != (b > 0):
                    t = self._crossing(s, k / STEPS, (k + 1) / STEPS)
                    found.append(start + (s.split(t)[0].length() if t > 0 else 0.0))
        return tuple(found)

    def _crossing(self, s: Segment, low: float, high: float) -> float:
        left = self.beside(s.point(low)) > 0
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            here = (self.beside(s.point(middle)) > 0) == left
            low, high = (middle, high) if here else (low, middle)
        return low

    def foot(self, p: complex) -> complex:
        return self.at + self.along * ((p - self.at) * self.along.conjugate()).real

    def bears(self, path: Path) -> bool:
        """Whether all of a path lies on the axis."""
        spots = (s.point(t) for s in path.segments for t in (0.0, 0.5, 1.0))
        return all(abs(self.beside(p)) <= ON_AXIS for p in spots)


def axis_of(pattern: Pattern, name: str | tuple[str, str]) -> Axis:
    """The axis by a fold's, line's or edge's name, or by two places. Raises NoSuchEdgeError."""
    if not isinstance(name, str):
        a, b = (pattern.spot(n) for n in name)
        if a is None or b is None:
            raise NoSuchEdgeError(f"no place {name[0] if a is None else name[1]!r}")
        return Axis.through(a, b)
    drawn = [k.paths[0] for k in pattern.marks if k.name == name and k.shape in ("fold", "line")]
    if not drawn:
        if name not in pattern.edges:
            lines = [k.name for k in pattern.marks if k.shape in ("fold", "line")]
            known = ", ".join([*lines, *pattern.edges]) or "none"
            raise NoSuchEdgeError(f"no line or edge {name!r}; there are {known}")
        drawn = [pattern.strand(name).path]
    axis = Axis.through(drawn[0].start, drawn[0].end)
    if not axis.bears(drawn[0]):
        raise NoSuchEdgeError(f"{name!r} is not straight")
    return axis


def twin(name: str) -> str:
    """What the mirror image of a named thing is called; a twin's twin is the thing itself."""
    return name.removesuffix(TWIN) if name.endswith(TWIN) else name + TWIN
