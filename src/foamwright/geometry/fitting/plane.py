"""Vectors of the plane as complex numbers, for compiled loops."""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

from foamwright.geometry.compiled import within


@within
def magnitude(z: complex) -> float:
    return math.sqrt(z.real * z.real + z.imag * z.imag)


@within
def dot(a: complex, b: complex) -> float:
    return a.real * b.real + a.imag * b.imag


@within
def cross(a: complex, b: complex) -> float:
    return a.real * b.imag - a.imag * b.real


@within
def turn_between(a: complex, b: complex) -> float:
    return math.atan2(cross(a, b), dot(a, b))


@within
def wrapped(angle: float) -> float:
    return angle - math.tau * math.floor(angle / math.tau + 0.5)


@within
def times(z: complex, size: float) -> complex:
    """z by a real number: half the work of a product of two complex numbers."""
    return complex(z.real * size, z.imag * size)


@within
def direction(v: complex) -> complex:
    """The direction of v; nought where it has none."""
    size = magnitude(v)
    return times(v, 1 / size) if size > 0 else v
