"""A laser beam's width through the stock, as its optics let expect: never a kerf.

Terms.  *Waist*: the beam's full width at its focus.  *Rayleigh range*: the way from there on which
it grows by sqrt(2).  M2: how many times faster than an ideal one the beam spreads, 1 or more.
Textbook Gaussian optics.  What a beam burns away hangs on the stock too, so that nothing here is
ever compensated for: a profile's figure is shown beside an estimate, and a coupon measures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Optics:
    """waist, wavelength: mm, above nought.  m2: 1 or more."""

    waist: float
    wavelength: float
    m2: float

    @property
    def rayleigh(self) -> float:
        """The Rayleigh range, mm: pi w0^2 / (lambda M2), w0 half the waist."""
        return math.pi * (self.waist / 2) ** 2 / (self.wavelength * self.m2)

    def width(self, distance: float) -> float:
        """The beam's full width so many mm off its focus, mm: 2 w0 sqrt(1 + (z / z_R)^2)."""
        return self.waist * math.hypot(1.0, distance / self.rayleigh)


@dataclass(frozen=True, slots=True)
class Faces:
    """The beam's full widths where it goes in and where it comes out, mm."""

    entry: float
    exit: float


def at_the_faces(
    optics: Optics, thickness: float, focus_depth: float, passes: int = 1, focus_step: float = 0.0
) -> Faces:
    """What the beam measures at both faces of a slab.

    focus_depth: of the first pass's focus below the face, mm.  Each pass lies focus_step deeper.
    Every pass goes in through the face, so the widest counts there; the last one comes out.
    """
    depths = [focus_depth + k * focus_step for k in range(passes)]
    return Faces(max(map(optics.width, depths)), optics.width(thickness - depths[-1]))
