"""Ovals: the section of a tool that is wider one way than the other, and what it sweeps.

Terms.  An *oval* here is an ellipse with its axes along x and y.  The *stretch* is the map that
widens the plane along the oval's shorter axis until the oval is a disc of its longer one: there all
that is known of discs holds, for a linear map of a Minkowski sum is the sum of the maps.  No
distance is shorter there than on the sheet, so that a tolerance kept there is kept here too.
Does not offset paths (`offset_oval.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.geometry.region import Region, closing, grown

#: Halvings that find a nearest point: more than a double has digits.
HALVINGS = 64


@dataclass(frozen=True, slots=True)
class Oval:
    """Half axes along x and y, mm: both above 0, or both 0 (a point)."""

    rx: float
    ry: float

    @staticmethod
    def disc(radius: float) -> Oval:
        return Oval(radius, radius)

    @property
    def is_disc(self) -> bool:
        return self.rx == self.ry

    @property
    def radius(self) -> float:
        """The longer half axis, mm: that of the disc which the stretch makes of it."""
        return max(self.rx, self.ry)

    @property
    def ratio(self) -> float:
        """How much the stretch lengthens at most."""
        return 1.0 if self.is_disc else self.radius / min(self.rx, self.ry)

    @property
    def stretch(self) -> Affine:
        """The map under which this is a disc of its radius."""
        if self.is_disc:
            return IDENTITY
        return Affine.scaling(self.radius / self.rx, self.radius / self.ry)

    def at_least(self, radius: float) -> Oval:
        """Each half axis no less than radius mm."""
        return Oval(max(self.rx, radius), max(self.ry, radius))

    def beyond(self, p: complex) -> float:
        """mm from the oval about the origin to a point; 0 inside it.

        The nearest point is (a^2 x / (t + a^2), b^2 y / (t + b^2)), with t from 0 up where that
        lies on the oval (Lagrange's condition).
        """
        a, b, x, y = self.rx, self.ry, abs(p.real), abs(p.imag)
        if self.is_disc:
            return max(0.0, abs(p) - self.radius)
        if math.hypot(x / a, y / b) <= 1:
            return 0.0
        low, high = 0.0, self.radius * abs(p)
        for _ in range(HALVINGS):
            t = (low + high) / 2
            outside = math.hypot(a * x / (t + a * a), b * y / (t + b * b)) > 1
            low, high = (t, high) if outside else (low, t)
        return math.hypot(x - a * a * x / (high + a * a), y - b * b * y / (high + b * b))

    def __str__(self) -> str:
        """Full widths: `0.2 mm`, `0.2 x 0.3 mm`."""
        x, y = f"{2 * self.rx:g}", f"{2 * self.ry:g}"
        return f"{x} mm" if x == y else f"{x} x {y} mm"


#: A tool without width.
POINT = Oval(0.0, 0.0)


def mapped(material: Region, m: Affine) -> Region:
    """A region under an affine map."""

    def moved(xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        x, y = xy[:, 0], xy[:, 1]
        return np.column_stack([m.a * x + m.c * y + m.e, m.b * x + m.d * y + m.f])

    return material if m == IDENTITY else shapely.transform(material, moved)


def swollen(material: Region, oval: Oval, by: float = 0.0, tolerance: float = 0.002) -> Region:
    """What an oval covers as its centre runs over a region or along lines.

    by: mm that its disc is wider (or narrower) once stretched: that much along its longer axis, and
    in proportion along the shorter one.
    """
    stretch = oval.stretch
    made = grown(mapped(material, stretch), oval.radius + by, tolerance)
    return mapped(made, stretch.inverse())


def closed_by(material: Region, oval: Oval, tolerance: float = 0.002) -> Region:
    """All but what an oval outside the region can reach: inside corners are filled."""
    if oval.radius == 0:
        return material
    stretch = oval.stretch
    return mapped(closing(mapped(material, stretch), oval.radius, tolerance), stretch.inverse())
