"""Open lines that bear a fill: a viewer closes them with a straight line, and so are they read.

SVG 1.1, section 11.3: a fill closes every open subpath.  Where only the fill is seen, that is the
outline.  Where the line is stroked too, it may be one of several that make an outline together, so
it is closed only when no other end was found for it.
Knows nothing of elements: a reader says what bears a fill by the shape's `kind`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from foamwright.findings import Finding, warning
from foamwright.geometry.path import CORNER_ANGLE, Path, joined
from foamwright.geometry.segments import Line
from foamwright.stages.acquire.shapes import FILLED, SEEN_FILL, Shape

#: A fill with less area than this, in mm2, shows nothing: a line drawn there and back.
LEAST_AREA = 1e-6
#: Places told of one drawing.
MOST_TOLD = 3


def is_painted(*paints: str) -> bool:
    """Whether a fill or a stroke shows anything."""
    return any(p.strip().lower() not in ("none", "transparent") for p in paints)


def kind_of_fill(fill: str, stroke: str) -> str:
    """What a line's paint makes of it: FILLED, SEEN_FILL (no stroke besides), or nothing."""
    if not is_painted(fill):
        return ""
    return FILLED if is_painted(stroke) else SEEN_FILL


def sealed(
    shapes: Iterable[Shape], kind: str, least: float, corner_angle: float = CORNER_ANGLE
) -> tuple[tuple[Shape, ...], list[tuple[float, complex]]]:
    """The shapes, open ones of this kind closed; for each of those the line's length and place.

    least: mm; ends no farther apart are loose ends, left for `join`.
    """
    made: list[Shape] = []
    closings: list[tuple[float, complex]] = []
    for s in shapes:
        gap = abs(s.path.end - s.path.start)
        asked = s.kind == kind and not s.path.closed and s.role in (None, "cut")
        whole = _closed(s.path, corner_angle) if asked and gap > least else None
        if whole is not None:
            closings.append((gap, (s.path.end + s.path.start) / 2))
        made.append(s if whole is None else replace(s, path=whole))
    return tuple(made), closings


def told_of_closing(where: str, closings: list[tuple[float, complex]]) -> tuple[Finding, ...]:
    """What was closed, with the first places."""
    if not closings:
        return ()
    spots = ", ".join(f"({p.real:.2f}, {p.imag:.2f}) mm" for _, p in closings[:MOST_TOLD])
    what = (
        f"{len(closings)} filled lines without an end are closed as a viewer closes a fill, "
        f"by a straight line at {spots}, the longest {max(n for n, _ in closings):.3g} mm"
    )
    mend = "close them in the drawing, or take the fill away from a line that is to stay open"
    return (warning("R118", where, what, mend, spots=[p for _, p in closings]),)


def _closed(path: Path, corner_angle: float) -> Path | None:
    """The line with its ends joined by a straight one; None where that encloses nothing."""
    whole = joined([path, Path((Line(path.end, path.start),), False)], True, corner_angle)
    return whole if abs(whole.area) > LEAST_AREA else None
