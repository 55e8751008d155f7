"""The outermost `svg` element: what one user unit is in mm, and where y is turned up.

The drawing's origin is the lower left corner of its page (height - y); a drawing that states no
height at all keeps its own zero line, with y turned up.  A user unit of a drawing without a
physical size is 1 px = 1/96 in (CSS), or the unit that the caller asks for.
"""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.stages.acquire.svgvalues import (
    PHYSICAL,
    PIXELS,
    ViewBox,
    Viewport,
    fit,
    split_length,
    view_box,
)
from foamwright.units import MM, unit_size


@dataclass(frozen=True, slots=True)
class Page:
    """outer: px (or the unit asked for) to mm, y up.  inner: user units to px, by the viewBox.

    viewport: in user units.  unit: of the stated size.  stated: it is physical.
    """

    outer: Affine
    inner: Affine
    viewport: Viewport
    unit: str
    stated: bool


@dataclass(frozen=True, slots=True)
class _Side:
    """A side of the root: pixels, or None where it is absent, `auto` or a percentage."""

    pixels: float | None
    unit: str

    @property
    def physical(self) -> bool:
        return self.pixels is not None and self.unit in PHYSICAL


def page(
    sides: tuple[str | None, str | None], box: str | None, aspect: str | None, units: str | None
) -> Page:
    """The root's coordinate system from its attributes. Raises ValueError with the reason.

    sides: width and height.  box: viewBox.  aspect: preserveAspectRatio.
    """
    w, h = _side("width", sides[0]), _side("height", sides[1])
    frame = view_box(box) if box is not None else None
    stated = w.physical or h.physical
    if units is not None and not stated:
        return _in_units(frame, w.pixels, h.pixels, units)
    wide, high = _sizes(w.pixels, h.pixels, frame)
    inner = IDENTITY
    if frame is not None and wide is not None and high is not None:
        inner = fit(frame, wide, high, aspect or "")
    unit = next((s.unit for s in (w, h) if s.physical), "px")
    viewport = Viewport(wide, high) if frame is None else Viewport(frame.width, frame.height)
    return Page(_turned_up(MM["px"], high), inner, viewport, unit, stated)


def _in_units(frame: ViewBox | None, wide: float | None, high: float | None, units: str) -> Page:
    """A drawing without physical size: one user unit inside the viewBox is one of `units`."""
    size = unit_size(units)
    if frame is None:
        return Page(_turned_up(size, high), IDENTITY, Viewport(wide, high), units, False)
    move = Affine.translation(complex(-frame.x, -frame.y))
    viewport = Viewport(frame.width, frame.height)
    return Page(_turned_up(size, frame.height), move, viewport, units, False)


def _side(name: str, text: str | None) -> _Side:
    if text is None or text.strip() in ("", "auto"):
        return _Side(None, "")
    try:
        value, unit = split_length(text)
    except ValueError as why:
        raise ValueError(f"{name}: {why}") from None
    if unit == "%":
        return _Side(None, "%")
    if unit not in PIXELS:
        raise ValueError(f"{name} {text!r} has the unit {unit!r}, which doesn't give a fixed size")
    if value <= 0:
        raise ValueError(f"{name} {text!r} leaves no room to draw")
    return _Side(value * PIXELS[unit], unit)


def _sizes(
    wide: float | None, high: float | None, frame: ViewBox | None
) -> tuple[float | None, float | None]:
    """A side that isn't given follows from the viewBox's proportions."""
    if frame is None:
        return wide, high
    if wide is None and high is None:
        return frame.width, frame.height
    if wide is None and high is not None:
        return high * frame.width / frame.height, high
    if high is None and wide is not None:
        return wide, wide * frame.height / frame.width
    return wide, high


def _turned_up(size: float, height: float | None) -> Affine:
    """User units of `size` mm, y down, to mm, y up from the page's lower edge."""
    return Affine(a=size, d=-size, f=size * (height or 0.0))


def told_about_units(where: str, found: Page, units: str | None) -> tuple[Finding, ...]:
    """What people should know about the unit that was taken."""
    if units is None and not found.stated:
        what = "states no physical size; one unit was taken as 1/96 in"
        return (note("R213", where, what, "state width and height in mm or in, or give --units"),)
    if units is not None and found.stated and unit_size(units) != unit_size(found.unit):
        what = f"states its size in {found.unit}: no number of it is bare, so {units} was not used"
        mend = "leave the unit out, or correct the drawing's width and height"
        return (warning("R006", where, what, mend),)
    return ()


def known_unit(where: str, units: str | None) -> tuple[Finding, ...]:
    """A fault where the unit asked for isn't known."""
    if units is not None:
        try:
            unit_size(units)
        except ValueError as why:
            return (fault("R004", where, f"--units: {why}"),)
    return ()
