"""Affine maps of the plane. Points are complex numbers: x + iy, in millimetres, y up."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

#: Relative difference below which a map counts as a similarity (pure rounding of doubles).
SIMILARITY_EPS = 1e-12


@dataclass(frozen=True, slots=True)
class Affine:
    """x' = a x + c y + e, y' = b x + d y + f (the order of SVG's matrix())."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def __call__(self, p: complex) -> complex:
        return complex(
            self.a * p.real + self.c * p.imag + self.e, self.b * p.real + self.d * p.imag + self.f
        )

    def vector(self, v: complex) -> complex:
        """The image of a direction (no translation)."""
        return complex(self.a * v.real + self.c * v.imag, self.b * v.real + self.d * v.imag)

    def __matmul__(self, other: Affine) -> Affine:
        """The map that does `other` first, then this one."""
        col1 = self.vector(complex(other.a, other.b))
        col2 = self.vector(complex(other.c, other.d))
        origin = self(complex(other.e, other.f))
        return Affine(col1.real, col1.imag, col2.real, col2.imag, origin.real, origin.imag)

    @property
    def determinant(self) -> float:
        return self.a * self.d - self.b * self.c

    @property
    def is_mirror(self) -> bool:
        return self.determinant < 0

    @property
    def is_similarity(self) -> bool:
        """True where circles stay circles (turn, uniform scale, mirror)."""
        size = abs(self.a) + abs(self.b) + abs(self.c) + abs(self.d)
        eps = SIMILARITY_EPS * size
        if self.determinant >= 0:
            return abs(self.a - self.d) <= eps and abs(self.b + self.c) <= eps
        return abs(self.a + self.d) <= eps and abs(self.b - self.c) <= eps

    def inverse(self) -> Affine:
        """Raises ZeroDivisionError where the map flattens the plane."""
        det = self.determinant
        a, b, c, d = self.d / det, -self.b / det, -self.c / det, self.a / det
        return Affine(a, b, c, d, -(a * self.e + c * self.f), -(b * self.e + d * self.f))

    @staticmethod
    def translation(v: complex) -> Affine:
        return Affine(e=v.real, f=v.imag)

    @staticmethod
    def scaling(sx: float, sy: float | None = None) -> Affine:
        return Affine(a=sx, d=sx if sy is None else sy)

    @staticmethod
    def rotation(degrees: float) -> Affine:
        """About the origin, counter-clockwise. Quarter turns are exact."""
        quarter, rest = divmod(degrees, 90.0)
        if rest == 0.0:
            turn = (1 + 0j, 1j, -1 + 0j, -1j)[int(quarter) % 4]
        else:
            turn = cmath.rect(1.0, math.radians(degrees))
        return Affine(turn.real, turn.imag, -turn.imag, turn.real)

    @staticmethod
    def mirror_x() -> Affine:
        """Left becomes right: x -> -x."""
        return Affine(a=-1.0)


IDENTITY = Affine()
