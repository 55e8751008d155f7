"""Expected beam widths against the figures of textbook Gaussian optics."""

from __future__ import annotations

import math

import pytest

from foamwright.beam import Optics, at_the_faces

#: A carbon dioxide laser's wavelength, mm.
CO2 = 0.0106


@pytest.mark.parametrize(("waist", "depth"), [(0.12, 2.13), (0.25, 9.26)])
def test_depth_of_focus(waist: float, depth: float) -> None:
    """2 z_R = 2 pi w0^2 / (lambda M2) at M2 = 1 (Gaussian optics, own arithmetic)."""
    assert 2 * Optics(waist, CO2, 1.0).rayleigh == pytest.approx(depth, abs=0.005)


@pytest.mark.parametrize(("thickness", "width"), [(12.7, 0.865), (25.4, 1.718)])
def test_a_slab_with_the_focus_half_way(thickness: float, width: float) -> None:
    """M2 = 1.2, waist 0.12 mm: 0.86 and 1.72 mm at both faces (own arithmetic)."""
    faces = at_the_faces(Optics(0.12, CO2, 1.2), thickness, thickness / 2)
    assert faces.entry == pytest.approx(width, abs=5e-4)
    assert faces.exit == pytest.approx(faces.entry)


@pytest.mark.parametrize(("thickness", "waist", "width"), [(12.7, 0.32, 0.45), (25.4, 0.45, 0.64)])
def test_the_best_waist(thickness: float, waist: float, width: float) -> None:
    """Found by trying waists a thousandth of a mm apart; facts' figures, own arithmetic."""
    tried = [k / 1000 for k in range(100, 1000)]
    found = min(
        tried, key=lambda w: at_the_faces(Optics(w, CO2, 1.2), thickness, thickness / 2).exit
    )
    assert found == pytest.approx(waist, abs=0.005)
    best = at_the_faces(Optics(found, CO2, 1.2), thickness, thickness / 2)
    assert best.entry == pytest.approx(width, abs=0.005)


def test_the_focus_on_the_face_and_a_step_by_pass() -> None:
    optics = Optics(0.2, CO2, 1.0)
    z = optics.rayleigh
    once = at_the_faces(optics, z, 0.0)
    assert (once.entry, once.exit) == pytest.approx((0.2, 0.2 * math.sqrt(2)))
    thrice = at_the_faces(optics, 2 * z, 0.0, passes=3, focus_step=z)
    assert (thrice.entry, thrice.exit) == pytest.approx((0.2 * math.sqrt(5), 0.2))
