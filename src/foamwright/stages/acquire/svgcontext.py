"""What an SVG element inherits from where it stands: map, viewport, names, visibility, stroke.

Also what decides that from attributes: inner viewports, transform origin, conditions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from foamwright.geometry.affine import Affine
from foamwright.stages.acquire.svgshapes import Attributes
from foamwright.stages.acquire.svgstyle import Element
from foamwright.stages.acquire.svgvalues import Viewport, checked, fit, length, view_box

#: A stroke wider than this, in mm, may be meant as a shape of its own.
WIDE_STROKE = 2.0
_CONDITIONS = ("requiredExtensions", "requiredFeatures", "systemLanguage")


@dataclass(frozen=True, slots=True)
class Context:
    """What an element inherits from where it stands. instance: the `use` that draws it."""

    map: Affine
    viewport: Viewport
    groups: tuple[str, ...] = ()
    role: str | None = None
    visible: bool = True
    fill: str = "black"
    stroke: str = "none"
    stroke_width: str = "1"
    uses: tuple[Element, ...] = ()
    instance: Element | None = None


def attributes(el: Element) -> dict[str, str]:
    return {str(k): str(v) for k, v in el.attrib.items()}


def inner_viewport(el: Element, css: Mapping[str, str], context: Context) -> Context | None:
    """The context inside a nested `svg` or a used `symbol` (SVG 1.1 sections 5.6 and 7.9).

    None where it has no size and so draws nothing.  Raises ValueError on a bad attribute.
    """
    outer, use = context.viewport, context.instance
    given = attributes(el)
    if use is not None:
        given |= {k: v for k in ("width", "height") if (v := use.get(k)) is not None}
    own = Attributes(given, css, outer)
    spot = complex(own.length("x", "x"), own.length("y", "y"))
    wide, high = own.size("width", "x"), own.size("height", "y")
    wide = outer.width if wide is None else wide
    high = outer.height if high is None else high
    if wide == 0 or high == 0:
        return None
    frame, box, inner = Affine.translation(spot), el.get("viewBox"), Viewport(wide, high)
    if box is not None and wide is not None and high is not None:
        found = view_box(box)
        frame = frame @ fit(found, wide, high, el.get("preserveAspectRatio") or "")
        inner = Viewport(found.width, found.height)
    return replace(context, map=checked(context.map @ frame), viewport=inner)


def transform_origin(text: str | None, viewport: Viewport) -> complex:
    """The fixed point of a transform; SVG elements turn about the viewport's zero by default."""
    if text is None or not text.strip():
        return 0j
    words = {"left": "0", "top": "0", "right": "100%", "bottom": "100%", "center": "50%"}
    parts = [*text.split()[:2], "center"][:2]
    if parts[0] in ("top", "bottom") or parts[1] in ("left", "right"):
        parts.reverse()
    x, y = (words.get(p, p) for p in parts)
    return complex(length(x, "x", viewport), length(y, "y", viewport))


def conditions_hold(el: Element) -> bool:
    """The conditional attributes of SVG 1.1 section 5.8, for a reader of English."""
    if any((el.get(k) or "").strip() == "" for k in _CONDITIONS if el.get(k) is not None):
        return False
    if (el.get("requiredExtensions") or "").strip():
        return False
    asked = el.get("systemLanguage")
    if asked is None:
        return True
    return any(w.strip().lower().partition("-")[0] == "en" for w in asked.split(","))


def is_wide(context: Context) -> bool:
    if context.stroke == "none":
        return False
    try:
        width = length(context.stroke_width, "other", context.viewport)
    except ValueError:
        return False
    return bool(width * math.sqrt(abs(context.map.determinant)) > WIDE_STROKE)
