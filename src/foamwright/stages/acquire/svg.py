"""Reads an SVG drawing by the standard into shapes in mm, y up, corners marked.

A walk of its own over the tree: viewports, transforms, `use` and `symbol`, `switch`, display and
visibility.  What a viewer would not draw is not cut: hidden content, definitions, markers, masks,
text, pictures, foreign elements; what was left out is counted and told.
Coordinates are measured from the lower left corner of the page (`svgroot`).
Names: an element's id, else its label or `title`; groups likewise, outermost first.
Does not know what a piece is: see `pieces`.
"""

from __future__ import annotations

import pathlib
from collections import Counter
from dataclasses import dataclass, field, replace

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import CORNER_ANGLE, Path
from foamwright.geometry.segments import Cubic, Line, Segment
from foamwright.stages.acquire import svgload
from foamwright.stages.acquire.curves import TINY, make_path, mapped
from foamwright.stages.acquire.join import join_loose
from foamwright.stages.acquire.pathgrammar import Subpath, decimals
from foamwright.stages.acquire.shapes import ROLES, Reading, Shape, role_of
from foamwright.stages.acquire.svgroot import known_unit, page, told_about_units
from foamwright.stages.acquire.svgshapes import DRAWN, Attributes, subpaths
from foamwright.stages.acquire.svgstyle import Element, StyleSheet, local_name, words_of
from foamwright.stages.acquire.svgvalues import (
    Viewport,
    checked,
    fit,
    length,
    transform,
    view_box,
)

#: Elements drawn through `use` before the file counts as hostile.
MOST_INSTANCES = 200_000
#: `use` within `use` deeper than this counts as endless.
DEEPEST_USE = 100
#: Coordinates beyond this, in mm (1 km), can't be meant.
FARTHEST = 1e6
#: The widest gap between loose ends, in mm, that is closed where the caller doesn't say.
JOIN_TOLERANCE = 0.05

_CONTAINERS = frozenset({"g", "a"})
#: Never drawn where they stand (SVG 1.1 section 5.3 and the chapters of each).
_DEFINITIONS = frozenset(
    (
        *("defs", "symbol", "clipPath", "mask", "pattern", "marker", "filter", "style", "script"),
        *("linearGradient", "radialGradient", "meshgradient", "solidcolor", "hatch"),
        *("title", "desc", "metadata", "view", "cursor", "color-profile"),
        *("font", "font-face", "glyph", "missing-glyph"),
        *("animate", "animateMotion", "animateTransform", "animateColor", "set"),
    )
)
_COUNTED = {"text": "text", "image": "picture", "foreignObject": "foreign object"}
_COUNTED |= {"flowRoot": "text", "video": "picture", "audio": "sound", "canvas": "picture"}
_COUNTED |= {"iframe": "foreign object"}
_CONDITIONS = ("requiredExtensions", "requiredFeatures", "systemLanguage")
_XLINK_HREF = "{http://www.w3.org/1999/xlink}href"


@dataclass(frozen=True, slots=True)
class Context:
    """What an element inherits from where it stands."""

    map: Affine
    viewport: Viewport
    groups: tuple[str, ...] = ()
    role: str | None = None
    visible: bool = True
    uses: tuple[Element, ...] = ()
    instance: Element | None = None


def read_svg(
    file: pathlib.Path,
    units: str | None = None,
    corner_angle: float = CORNER_ANGLE,
    join_tolerance: float = JOIN_TOLERANCE,
) -> Reading:
    """The shapes of an SVG file, what was noticed, and its unit. Faults are findings.

    units: what one user unit is, where the drawing states no physical size (else 1/96 in).
    corner_angle: degrees.  join_tolerance: mm, the widest gap between loose ends that is closed.
    """
    try:
        data = file.read_bytes()
    except OSError as why:
        return (), (fault("R001", file.name, f"can't be read: {why.strerror or why}"),), ""
    return read_svg_bytes(data, file.name, units, corner_angle, join_tolerance)


def read_svg_bytes(
    data: bytes,
    name: str,
    units: str | None = None,
    corner_angle: float = CORNER_ANGLE,
    join_tolerance: float = JOIN_TOLERANCE,
) -> Reading:
    """`read_svg` of a file's content; name is for messages."""
    wrong = known_unit(name, units)
    root, told = svgload.parse_tree(data, name)
    if root is None or wrong:
        return (), wrong + told, ""
    size = [root.get(k) for k in ("width", "height", "viewBox", "preserveAspectRatio")]
    try:
        found = page(size[0], size[1], size[2], size[3], units)
    except ValueError as why:
        mend = "state width and height in mm or in"
        return (), (*told, fault("R205", name, str(why), mend)), ""
    walk = Walk(root, name, corner_angle, join_tolerance)
    walk.run(root, Context(found.map, found.viewport))
    joined, more = join_loose(walk.shapes, join_tolerance, corner_angle, name)
    findings = (*told, *told_about_units(name, found, units), *walk.told(), *more)
    return joined, findings, found.unit


@dataclass(slots=True)
class _Style:
    css: dict[str, str]
    element: Element

    def get(self, name: str) -> str | None:
        return self.css.get(name, self.element.get(name))


@dataclass(slots=True)
class _Names:
    """How an element is called: id, label or title, and the role that it states."""

    id: str
    title: str
    role: str | None
    all: tuple[str, ...] = field(default=())


class Walk:
    """One pass over a tree, in drawing order, without recursion."""

    def __init__(self, root: Element, name: str, corner_angle: float, join_tolerance: float):
        self.shapes: list[Shape] = []
        self.findings: list[Finding] = []
        self._name = name
        self._corner_angle = corner_angle
        self._join_tolerance = join_tolerance
        self._ns = svgload.namespace(root)
        self._ids = svgload.ids(root)
        self._sheet: StyleSheet = svgload.style_sheet(root, self._ns)
        self._left_out: Counter[str] = Counter()
        self._instances = 0
        self._stack: list[tuple[Element, Context]] = []

    # the walk

    def run(self, root: Element, context: Context) -> None:
        """Draws everything below the root."""
        style = _Style(self._sheet.style(root), root)
        if style.get("display") == "none":
            self._left_out["hidden element"] += 1
            return
        context = self._inherit(root, style, context)
        moved = self._moved(root, style, context)
        if moved is None:
            return
        self._push(root, moved)
        while self._stack:
            self._visit(*self._stack.pop())

    def _push(self, parent: Element, context: Context) -> None:
        self._stack.extend((child, context) for child in reversed(parent))

    def _visit(self, el: Element, context: Context) -> None:
        if not local_name(el) or svgload.namespace(el) != self._ns:
            return
        kind = local_name(el)
        is_target = context.instance is not None
        if kind in _DEFINITIONS and not (kind == "symbol" and is_target):
            return
        if not self._within_budget(el, context) or not _conditions_hold(el):
            return
        style = _Style(self._sheet.style(el), el)
        if style.get("display") == "none":
            self._left_out["hidden element"] += 1
            return
        context = self._inherit(el, style, context)
        moved = self._moved(el, style, context)
        if moved is not None:
            self._draw(el, kind, style, moved)

    def _draw(self, el: Element, kind: str, style: _Style, context: Context) -> None:
        if (style.get("clip-path") or "none") != "none" or (style.get("mask") or "none") != "none":
            self._left_out["clipped"] += 1
        if kind in DRAWN:
            self._shape(el, kind, style, context)
        elif kind == "text" and self._names(el, context).role == "note":
            self._note(el, context)
        elif kind in _COUNTED:
            self._left_out[_COUNTED[kind]] += 1
        elif kind in _CONTAINERS:
            self._push(el, self._entered(el, context))
        elif kind in ("svg", "symbol"):
            self._nested(el, style, self._entered(el, context))
        elif kind == "switch":
            self._switch(el, self._entered(el, context))
        elif kind == "use":
            self._use(el, style, context)
        else:
            self._left_out["unknown element"] += 1

    def _within_budget(self, el: Element, context: Context) -> bool:
        if context.uses:
            self._instances += 1
        if self._instances <= MOST_INSTANCES:
            return True
        what = f"draws more than {MOST_INSTANCES} elements through use"
        self._fault("R207", el, what, "draw the parts once, without nested copies")
        self._stack.clear()
        return False

    def _inherit(self, el: Element, style: _Style, context: Context) -> Context:
        seen = style.get("visibility")
        if seen is None or seen == "inherit":
            return context
        return replace(context, visible=seen == "visible")

    def _moved(self, el: Element, style: _Style, context: Context) -> Context | None:
        """The context inside the element's transform; None, told, where that can't be read."""
        text = style.get("transform")
        if text is None:
            return context
        try:
            inner = transform(text)
            spot = self._transform_origin(style, context.viewport)
            about = Affine.translation(spot) @ inner @ Affine.translation(-spot)
            return replace(context, map=checked(context.map @ about))
        except ValueError as why:
            self._fault("R204", el, str(why), "apply the transform in the drawing program")
            return None

    def _transform_origin(self, style: _Style, viewport: Viewport) -> complex:
        text = style.get("transform-origin")
        if text is None:
            return 0j
        words = {"left": "0", "top": "0", "right": "100%", "bottom": "100%", "center": "50%"}
        parts = text.split()[:2]
        if parts[0] in ("top", "bottom") or parts[1:] in (["left"], ["right"]):
            parts.reverse()
        parts = [words.get(p, p) for p in parts] + ["50%"] * (2 - len(parts))
        return complex(length(parts[0], "x", viewport), length(parts[1], "y", viewport))

    # names

    def _names(self, el: Element, context: Context) -> _Names:
        label = next((v for k, v in el.attrib.items() if _is_label(str(k)) and v), "")
        title = str(label) or self._title(el)
        own = el.get("id") or ""
        stated = el.get("data-role")
        if stated is not None and stated not in ROLES:
            what = f"data-role {stated!r} is not known"
            self._fault("R112", el, what, f"known are {', '.join(ROLES)}")
        role = stated or role_of(own) or role_of(title) or context.role
        return _Names(own, title, role, tuple(n for n in (own, title) if n))

    def _title(self, el: Element) -> str:
        for child in el:
            if local_name(child) == "title":
                return words_of(child)
        return ""

    def _entered(self, el: Element, context: Context) -> Context:
        names = self._names(el, context)
        return replace(context, groups=context.groups + names.all, role=names.role, instance=None)

    # containers

    def _switch(self, el: Element, context: Context) -> None:
        for child in el:
            kind = local_name(child) if svgload.namespace(child) == self._ns else ""
            if kind and kind not in _DEFINITIONS and _conditions_hold(child):
                self._stack.append((child, context))
                return

    def _nested(self, el: Element, style: _Style, context: Context) -> None:
        """An inner viewport: nested `svg`, or `symbol` and `svg` drawn by `use`."""
        by_use = self._current_use(el, context)
        try:
            inner = self._viewport(el, style, by_use, context)
        except ValueError as why:
            self._fault("R203", el, str(why), "correct the attribute")
            return
        if inner is not None:
            self._push(el, inner)

    def _current_use(self, el: Element, context: Context) -> Element | None:
        """The `use` that draws this very element, if one does."""
        if not context.uses:
            return None
        last = context.uses[-1]
        return last if self._target(last) is el else None

    def _viewport(
        self, el: Element, style: _Style, use: Element | None, context: Context
    ) -> Context | None:
        outer = context.viewport
        own = Attributes(dict(el.attrib), style.css, outer)  # type: ignore[arg-type]
        size = own
        if use is not None:
            given = {k: v for k in ("width", "height") if (v := use.get(k)) is not None}
            size = Attributes({**dict(el.attrib), **given}, style.css, outer)  # type: ignore[arg-type]
        spot = complex(own.length("x", "x"), own.length("y", "y"))
        wide, high = size.size("width", "x"), size.size("height", "y")
        wide = outer.width if wide is None else wide
        high = outer.height if high is None else high
        if wide == 0 or high == 0:
            self._left_out["hidden element"] += 1
            return None
        frame, box = Affine.translation(spot), el.get("viewBox")
        inner = Viewport(wide, high)
        if box is not None and wide is not None and high is not None:
            found = view_box(box)
            frame = frame @ fit(found, wide, high, el.get("preserveAspectRatio") or "")
            inner = Viewport(found.width, found.height)
        return replace(context, map=checked(context.map @ frame), viewport=inner)

    def _target(self, use: Element) -> Element | None:
        href = use.get("href") or use.get(_XLINK_HREF) or ""
        return self._ids.get(href.strip()[1:]) if href.strip().startswith("#") else None

    def _use(self, el: Element, style: _Style, context: Context) -> None:
        target = self._target(el)
        if target is None:
            href = el.get("href") or el.get(_XLINK_HREF) or ""
            what = f"use of {href!r}, which is not in this file; nothing is drawn for it"
            self.findings.append(warning("R206", self._where(el), what, "draw it in place"))
            return
        if any(u is el for u in context.uses) or len(context.uses) >= DEEPEST_USE:
            self._fault("R207", el, "use leads back to itself", "draw the part in place")
            return
        given = Attributes(dict(el.attrib), style.css, context.viewport)  # type: ignore[arg-type]
        try:
            spot = complex(given.length("x", "x"), given.length("y", "y"))
            placed = checked(context.map @ Affine.translation(spot))
        except ValueError as why:
            self._fault("R203", el, str(why), "correct the attribute")
            return
        inside = self._entered(el, context)
        self._stack.append(
            (target, replace(inside, map=placed, uses=(*context.uses, el), instance=el))
        )

    # shapes

    def _shape(self, el: Element, kind: str, style: _Style, context: Context) -> None:
        if not context.visible:
            self._left_out["hidden element"] += 1
            return
        given = Attributes(dict(el.attrib), style.css, context.viewport)  # type: ignore[arg-type]
        try:
            data = subpaths(kind, given)
        except ValueError as why:
            self._fault("R203", el, str(why), "correct the attribute")
            return
        if data.error:
            mend = "only what stands before it is drawn: correct it"
            self._fault("R202", el, data.error, mend)
        names = self._names(el, context)
        whole = _Names(names.id, names.title, names.role)
        if context.instance is not None and context.instance.get("id"):
            whole.id, context = context.instance.get("id") or "", self._renamed(names, context)
        rounding = self._rounding(el, kind, context.map)
        for sub in data.subpaths:
            self._subpath(el, sub, whole, context, rounding)

    def _renamed(self, names: _Names, context: Context) -> Context:
        """A shape drawn by a named `use` bears that name; its own becomes a group's."""
        return replace(context, groups=context.groups + names.all)

    def _rounding(self, el: Element, kind: str, m: Affine) -> float:
        """The step of the coordinates in mm; 0 where they are whole numbers or exact by nature."""
        key = {"path": "d", "polygon": "points", "polyline": "points"}.get(kind)
        count = decimals(el.get(key) or "") if key else 0
        return 10.0**-count * abs(m.vector(1 + 0j)) if count else 0.0

    def _subpath(
        self, el: Element, sub: Subpath, names: _Names, context: Context, rounding: float
    ) -> None:
        where = self._where(el)
        try:
            segments = mapped(sub.segments, context.map)
            path = self._path(segments, sub.closed, rounding)
        except OverflowError:
            path = None
            segments = [Line(complex(FARTHEST * 2), 0j)]
        if any(not _is_near(s) for s in segments):
            what = "has coordinates more than 1 km away or not finite"
            self._fault("R113", el, what, "correct the coordinates or the unit")
            return
        if path is None:
            if names.role not in ("point", "note"):
                if not sub.closed and not sub.segments:
                    self._left_out["move without a line"] += 1
                    return
                spot = context.map(sub.start)
                what = f"has no size, at ({spot.real:.2f}, {spot.imag:.2f}) mm"
                self._fault("R103", el, what, "delete it, or give it the role point")
                return
            spot = context.map(sub.start)
            path = Path((Line(spot, spot),), False)
        self.shapes.append(
            Shape(
                path,
                names.id,
                names.title,
                context.groups,
                names.role,
                where,
                el.get("data-shape") or "",
            )
        )

    def _path(self, segments: list[Segment], closed: bool, rounding: float) -> Path | None:
        """One path, closed where its ends meet; None where it has no length."""
        if not segments or not all(_is_near(s) for s in segments):
            return None
        start, end = segments[0].start, segments[-1].end
        gap = abs(end - start)
        near = closed and gap <= min(self._join_tolerance, 3 * rounding)
        if not closed and len(segments) > 1 and gap <= TINY:
            near = closed = True
        if near and len(segments) > 1:
            segments = [*segments[:-1], replace(segments[-1], end=start)]
        elif closed and gap > 0:
            segments = [*segments, Line(end, start)]
        try:
            return make_path(segments, closed, self._corner_angle, rounding)
        except GeometryError:
            return None

    def _note(self, el: Element, context: Context) -> None:
        """A text with the role `note` becomes a dot at its place that bears the words."""
        words = words_of(el)
        given = Attributes({k: (el.get(k) or "0").split()[0] for k in "xy"}, {}, context.viewport)
        try:
            spot = context.map(complex(given.length("x", "x"), given.length("y", "y")))
        except ValueError:
            spot = context.map(0j)
        if words and context.visible:
            dot = Path((Line(spot, spot),), False)
            own = el.get("id") or ""
            self.shapes.append(Shape(dot, own, words, context.groups, "note", self._where(el)))

    # telling

    def _where(self, el: Element) -> str:
        own = el.get("id")
        line = f" line {el.sourceline}" if el.sourceline else ""
        return f"{self._name}{line}" + (f" #{own}" if own else f" <{local_name(el)}>")

    def _fault(self, code: str, el: Element, what: str, mend: str) -> None:
        self.findings.append(fault(code, self._where(el), what, mend))

    def told(self) -> tuple[Finding, ...]:
        """All findings of the walk, with the counts of what was left out."""
        found = list(self.findings)
        clipped = self._left_out.pop("clipped", 0)
        if clipped:
            what = f"{clipped} clipped or masked element(s) are taken whole, as drawn"
            found.append(warning("R209", self._name, what, "cut the outline in the drawing itself"))
        if self._left_out:
            counts = ", ".join(f"{n} x {kind}" for kind, n in sorted(self._left_out.items()))
            found.append(note("R208", self._name, f"not cut: {counts}"))
        if self._sheet.problems:
            what = f"style rules not understood: {', '.join(sorted(set(self._sheet.problems)))}"
            mend = "check that nothing hidden is cut"
            found.append(warning("R210", self._name, what, mend))
        return tuple(found)


def _is_label(attribute: str) -> bool:
    """`data-name`, `aria-label`, and `label` of any namespace but none: layer and object names."""
    return attribute in ("data-name", "aria-label") or attribute.endswith("}label")


def _conditions_hold(el: Element) -> bool:
    """The conditional attributes of SVG 1.1 section 5.8, for a reader of English."""
    if any((el.get(k) or "").strip() == "" for k in _CONDITIONS if el.get(k) is not None):
        return False
    if (el.get("requiredExtensions") or "").strip():
        return False
    asked = el.get("systemLanguage")
    if asked is None:
        return True
    return any(w.strip().lower().partition("-")[0] == "en" for w in asked.split(","))


def _is_near(s: Segment) -> bool:
    spots = [s.start, s.end]
    if isinstance(s, Cubic):
        spots += [s.control1, s.control2]
    return all(abs(p.real) <= FARTHEST and abs(p.imag) <= FARTHEST for p in spots)
