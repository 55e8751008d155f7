"""A closed path whose places have names, and the runs between them.

A *place* is a joint of the path that bears a name: a corner by its number, a drawn point by its id.
A place within a segment splits it, so that a run between two places is whole segments, and every
change of a line either keeps its joints or says where they went.  A *strand* is such a run cut
free: an open path with the places on it.  Does not offset, fit or intersect.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from types import MappingProxyType

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path, joined
from foamwright.geometry.segments import Arc, Cubic, Line, Segment

#: A place this near to a joint is that joint, mm: below it a split would leave a sliver.
JOINT_REACH = 0.05
#: The widest gap that `closed_up` takes for rounding, mm.
ROUNDING = 1e-6

Places = Mapping[str, int]


def _frozen(places: Mapping[str, int]) -> Places:
    return MappingProxyType(dict(places))


@dataclass(frozen=True)
class Strand:
    """An open path and the places on it: joint 0 is its start, joint n its end."""

    path: Path
    places: Places = field(default_factory=lambda: MappingProxyType({}))

    @property
    def start(self) -> complex:
        return self.path.start

    @property
    def end(self) -> complex:
        return self.path.end

    @property
    def length(self) -> float:
        return self.path.length

    def transformed(self, m: Affine) -> Strand:
        """The mapped strand, travelled the same way."""
        at = _mapped_joints(self.path, m)
        return Strand(self.path.transformed(m), _frozen({n: at[j] for n, j in self.places.items()}))

    def reversed(self) -> Strand:
        n = len(self.path.segments)
        return Strand(self.path.reversed(), _frozen({k: n - j for k, j in self.places.items()}))

    def renamed(self, rename: Callable[[str], str]) -> Strand:
        return Strand(self.path, _frozen({rename(k): j for k, j in self.places.items()}))

    def part(self, first: int, last: int) -> Strand:
        """From joint to joint, first < last."""
        corners = frozenset(j - first for j in self.path.corners if first < j < last)
        places = {n: j - first for n, j in self.places.items() if first <= j <= last}
        return Strand(Path(self.path.segments[first:last], False, corners), _frozen(places))

    def shortened(self, start: float, end: float) -> Strand:
        """Without so much of its length (mm) at its start and end; places there go to the new ends.

        Raises GeometryError where nothing is left.
        """
        low, high = start, self.length - end
        if high - low <= JOINT_REACH:
            raise GeometryError("a run that is shorter than what is to be taken off its ends")
        path = self.path
        at = (*path.joint_lengths(), self.length)
        kept = [j for j in range(1, len(path.segments)) if low + ROUNDING < at[j] < high - ROUNDING]
        first = path.between(low, at[kept[0]] if kept else high)
        last = path.between(at[kept[-1]], high) if kept else first
        inner = path.segments[kept[0] : kept[-1]] if kept else ()
        segments = (*first.segments, *inner, *(last.segments if kept else ()))
        before = kept[0] - 1 if kept else 0
        moved = {
            j: j - before if j in kept else (0 if at[j] <= low + ROUNDING else len(segments))
            for j in range(len(path.segments) + 1)
        }
        corners = frozenset(moved[j] for j in path.corners if j in kept)
        return Strand(
            Path(segments, False, corners), _frozen({n: moved[j] for n, j in self.places.items()})
        )

    def spanning(self, start: complex, end: complex) -> Strand:
        """The strand turned, moved and stretched as a whole so that it runs from start to end.

        Raises GeometryError where its ends or the places asked for fall together.
        """
        chord, wanted = self.end - self.start, end - start
        if chord == 0 or wanted == 0:
            raise GeometryError("a run whose ends fall together can't be stretched to others")
        k = wanted / chord
        e = start - k * self.start
        moved = self.transformed(Affine(k.real, k.imag, -k.imag, k.real, e.real, e.imag))
        return moved.ending_at(start, end)

    def ending_at(self, start: complex, end: complex) -> Strand:
        """The same strand with its ends set on these points: for mending what rounding parted."""
        segments = list(self.path.segments)
        segments[0] = _moved(segments[0], start, segments[0].end)
        segments[-1] = _moved(segments[-1], segments[-1].start, end)
        return replace(self, path=Path(tuple(segments), False, self.path.corners))


def _moved(s: Segment, start: complex, end: complex) -> Segment:
    if isinstance(s, Line):
        return Line(start, end)
    if isinstance(s, Arc):
        return Arc(start, end, s.bulge)
    by_start, by_end = start - s.start, end - s.end
    return Cubic(start, s.control1 + by_start, s.control2 + by_end, end)


@dataclass(frozen=True)
class Contour:
    """A closed path with its places by name, each the index of a joint."""

    path: Path
    places: Places = field(default_factory=lambda: MappingProxyType({}))

    @staticmethod
    def of(path: Path, points: Mapping[str, complex], numbered: bool = True) -> Contour:
        """The path with a place at the foot of each point; numbered: its corners are 1, 2, ...

        A point's name wins over a corner's number.
        """
        corners = sorted(path.corners) if numbered else []
        made = Contour(path, _frozen({str(n): j for n, j in enumerate(corners, 1)}))
        for name, p in points.items():
            made = made.with_place(name, nearest_length(made.path, p)[0])
        return made

    def with_place(self, name: str, along: float) -> Contour:
        """The contour with a place at arc length `along` (mm) from the path's start."""
        i, t = self.path.locate(along % self.path.length)
        segments = self.path.segments
        size = segments[i].length()
        head, tail = segments[i].split(t)
        if (before := _short(head, t, size)) or _short(tail, 1 - t, size):
            joint = i if before else (i + 1) % len(segments)
            return replace(self, places=_frozen({**self.places, name: joint}))
        path = Path(
            (*segments[:i], head, tail, *segments[i + 1 :]),
            True,
            frozenset(j + (j > i) for j in self.path.corners),
        )
        moved = {n: j + (j > i) for n, j in self.places.items()}
        return Contour(path, _frozen({**moved, name: i + 1}))

    @property
    def length(self) -> float:
        return self.path.length

    def point(self, name: str) -> complex:
        """Where a place lies. Raises KeyError."""
        return self.path.segments[self.places[name]].start

    def along(self, name: str) -> float:
        """Arc length of a place from the path's start, mm. Raises KeyError."""
        return self.path.joint_lengths()[self.places[name]]

    def strand(self, first: int, last: int) -> Strand:
        """The run from joint to joint, forwards; the same joint twice is once round."""
        n = len(self.path.segments)
        count = (last - first) % n or n
        order = [(first + k) % n for k in range(count)]
        segments = tuple(self.path.segments[i] for i in order)
        corners = frozenset(k for k, i in enumerate(order) if k and i in self.path.corners)
        places = {
            name: k
            for k, i in enumerate([*order, last])
            for name, j in self.places.items()
            if j == i
        }
        return Strand(Path(segments, False, corners), _frozen(places))

    def between(self, first: str, last: str) -> Strand:
        """The run from place to place. Raises KeyError."""
        return self.strand(self.places[first], self.places[last])

    def cut_at(self, joints: Iterable[int]) -> tuple[Strand, ...]:
        """The contour as strands between these joints, the first starting at the lowest."""
        order = sorted(set(joints)) or [0]
        return tuple(self.strand(a, b) for a, b in zip(order, [*order[1:], order[0]], strict=True))

    def transformed(self, m: Affine) -> Contour:
        """The mapped contour; after a mirror map it is travelled so that orientation holds."""
        at = _mapped_joints(self.path, m)
        path = self.path.transformed(m)
        places = {n: at[j] for n, j in self.places.items()}
        if m.is_mirror:
            n = len(path.segments)
            path = path.reversed()
            places = {k: (n - j) % n for k, j in places.items()}
        return Contour(path, _frozen(places))

    def renamed(self, rename: Callable[[str], str]) -> Contour:
        return Contour(self.path, _frozen({rename(k): j for k, j in self.places.items()}))


def strung(strands: Sequence[Strand]) -> Strand:
    """Strands end to end as one; ends that rounding parted are set on one another.

    Raises GeometryError where they leave a gap.
    """
    ends = [f.start if _near(s.end, f.start) else s.end for s, f in pairwise(strands)]
    fixed = [
        s.ending_at(s.start, e) for s, e in zip(strands, [*ends, strands[-1].end], strict=True)
    ]
    places: dict[str, int] = {}
    at = 0
    for s in fixed:
        places.update({name: at + j for name, j in s.places.items()})
        at += len(s.path.segments)
    return Strand(joined([s.path for s in fixed], closed=False), _frozen(places))


def closed_up(strands: Sequence[Strand]) -> Contour:
    """Strands end to end as a contour. Raises GeometryError where they leave a gap."""
    whole = strung(strands)
    if _near(whole.end, whole.start):
        whole = whole.ending_at(whole.start, whole.start)
    n = len(whole.path.segments)
    path = joined([whole.path], closed=True)
    return Contour(path, _frozen({name: j % n for name, j in whole.places.items()}))


def _near(a: complex, b: complex) -> bool:
    return abs(a - b) <= ROUNDING


def _short(part: Segment, share: float, size: float) -> bool:
    """Whether the part of a split segment is no more than a sliver."""
    rough = share * size
    return rough <= JOINT_REACH and (part.start == part.end or part.length() <= JOINT_REACH)


def _mapped_joints(path: Path, m: Affine) -> list[int]:
    """Where each joint stands in `path.transformed(m)`; an open path's end is its last."""
    at = [0]
    for s in path.segments:
        at.append(at[-1] + len(s.transformed(m)))
    return at


def similarity(scale: float, about: complex) -> Affine:
    """Scaling about a point."""
    return Affine.translation(about) @ Affine.scaling(scale) @ Affine.translation(-about)
