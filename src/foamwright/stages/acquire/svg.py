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
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import CORNER_ANGLE
from foamwright.stages.acquire import svgload
from foamwright.stages.acquire.fills import is_painted, kind_of_fill, sealed, told_of_closing
from foamwright.stages.acquire.join import join_loose
from foamwright.stages.acquire.shapes import FILLED, ROLES, SEEN_FILL, Reading, Shape
from foamwright.stages.acquire.svgcontext import (
    WIDE_STROKE,
    Context,
    attributes,
    conditions_hold,
    inner_viewport,
    is_wide,
    transform_origin,
)
from foamwright.stages.acquire.svgdraw import Pen, dot
from foamwright.stages.acquire.svgnames import Names, names_of
from foamwright.stages.acquire.svgroot import Page, known_unit, page, told_about_units
from foamwright.stages.acquire.svgshapes import DRAWN, Attributes
from foamwright.stages.acquire.svgstyle import Element, local_name, words_of
from foamwright.stages.acquire.svgvalues import checked, css_transform, transform
from foamwright.stages.acquire.told import one_line, tidied

#: Elements drawn through `use` before the file counts as hostile.
MOST_INSTANCES = 50_000
#: `use` within `use` deeper than this counts as endless.
DEEPEST_USE = 100
#: The widest gap between loose ends, in mm, that is closed where the caller doesn't say.
JOIN_TOLERANCE = 0.05
#: Findings of one walk that name their place; more are counted.
MOST_TOLD = 200

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
_COUNTED = {"text": "text", "flowRoot": "text", "image": "picture", "video": "picture"}
_COUNTED |= {"canvas": "picture", "audio": "sound"}
_COUNTED |= {"foreignObject": "foreign object", "iframe": "foreign object"}
#: CSS that moves an element and is not read.
_MOVES = ("translate", "rotate", "scale", "zoom", "transform-box")
_XLINK_HREF = "{http://www.w3.org/1999/xlink}href"


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
    sides = (root.get("width"), root.get("height"))
    try:
        found = page(sides, root.get("viewBox"), root.get("preserveAspectRatio"), units)
    except ValueError as why:
        mend = "state width and height in mm or in"
        return (), (*told, fault("R205", name, str(why), mend)), ""
    walk = Walk(root, name, Pen(corner_angle, join_tolerance))
    walk.run(root, found)
    seen, closings = sealed(walk.shapes, SEEN_FILL, join_tolerance, corner_angle)
    joined, more = join_loose(seen, join_tolerance, corner_angle, name)
    whole, later = sealed(joined, FILLED, join_tolerance, corner_angle)
    more += told_of_closing(name, closings + later)
    findings = (*told, *told_about_units(name, found, units), *walk.told(), *more)
    return whole, tidied(findings), found.unit


@dataclass(frozen=True, slots=True)
class _Style:
    """css: declared values.  get: those, else the presentation attribute."""

    css: Mapping[str, str]
    element: Element

    def get(self, name: str) -> str | None:
        return self.css.get(name, self.element.get(name))


class Walk:
    """One pass over a tree, in drawing order, without recursion."""

    def __init__(self, root: Element, name: str, pen: Pen) -> None:
        self.shapes: list[Shape] = []
        self._findings: list[Finding] = []
        self._untold: Counter[str] = Counter()
        self._name = name
        self._pen = pen
        self._namespaces = svgload.namespaces(root)
        self._ids = svgload.ids(root)
        self._sheet = svgload.style_sheet(root, self._namespaces)
        self._left_out: Counter[str] = Counter()
        self._remarks: dict[str, list[complex]] = defaultdict(list)
        self._elements = 0
        self._clipped = 0
        self._instances = 0
        self._stack: list[tuple[Element, Context]] = []

    # the walk

    def run(self, root: Element, found: Page) -> None:
        """Draws everything below the root."""
        style = _Style(self._sheet.style(root), root)
        if style.get("display") == "none":
            self._left_out["hidden element"] += 1
            return
        context = self._inherited(style, Context(found.outer, found.viewport))
        moved = self._moved(root, style, context)
        if moved is not None:
            self._push(root, replace(moved, map=moved.map @ found.inner))
        while self._stack:
            self._visit(*self._stack.pop())

    def _push(self, parent: Element, context: Context) -> None:
        self._stack.extend((child, context) for child in reversed(parent))

    def _visit(self, el: Element, context: Context) -> None:
        kind = self._kind(el)
        is_symbol = kind == "symbol" and context.instance is not None
        if not kind or (kind in _DEFINITIONS and not is_symbol):
            return
        if not self._within_budget(el, context) or not conditions_hold(el):
            return
        style = _Style(self._sheet.style(el), el)
        if style.get("display") == "none":
            self._left_out["hidden element"] += 1
            return
        moved = self._moved(el, style, self._inherited(style, context))
        if moved is not None:
            self._draw(el, kind, style, moved)

    def _kind(self, el: Element) -> str:
        """The element's name; empty where it is none of SVG's."""
        return local_name(el) if svgload.namespace(el) in self._namespaces else ""

    def _draw(self, el: Element, kind: str, style: _Style, context: Context) -> None:
        if any((style.get(k) or "none") != "none" for k in ("clip-path", "mask")):
            self._clipped += 1
        if kind in DRAWN:
            self._shape(el, kind, style, context)
        elif kind == "text" and names_of(el, context.role).role == "note":
            self._note(el, context)
        elif kind in _COUNTED:
            self._left_out[_COUNTED[kind]] += 1
        elif kind in _CONTAINERS:
            self._push(el, self._entered(el, context))
        elif kind in ("svg", "symbol"):
            self._nested(el, style, context)
        elif kind == "switch":
            self._switch(el, self._entered(el, context))
        elif kind == "use":
            self._use(el, style, context)
        else:
            self._left_out["unknown element"] += 1

    def _within_budget(self, el: Element, context: Context) -> bool:
        self._instances += bool(context.uses)
        if self._instances <= MOST_INSTANCES:
            return True
        what = f"draws more than {MOST_INSTANCES} elements through use"
        self._fault("R207", el, what, "draw the parts once, without nested copies")
        self._stack.clear()
        self.shapes.clear()
        return False

    # what is inherited

    def _inherited(self, style: _Style, context: Context) -> Context:
        seen, stroke = style.get("visibility"), style.get("stroke")
        width, fill = style.get("stroke-width"), style.get("fill")
        if seen is None and stroke is None and width is None and fill is None:
            return context
        visible = context.visible if seen in (None, "inherit") else seen == "visible"
        return replace(
            context,
            visible=visible,
            fill=context.fill if fill in (None, "inherit") else fill,
            stroke=context.stroke if stroke in (None, "inherit") else stroke,
            stroke_width=width or context.stroke_width,
        )

    def _moved(self, el: Element, style: _Style, context: Context) -> Context | None:
        """The context inside the element's transform; None, told, where that can't be read."""
        css, text = style.css.get("transform"), el.get("transform")
        unread = [k for k in _MOVES if style.css.get(k, "none") not in ("none", "1", "view-box")]
        if css is None and text is None and not unread:
            return context
        try:
            if unread:
                raise ValueError(f"style has {unread[0]!r}, which is not read")
            inner = css_transform(css) if css is not None else transform(text or "")
            spot = transform_origin(style.get("transform-origin"), context.viewport)
            about = Affine.translation(spot) @ inner @ Affine.translation(-spot)
            return replace(context, map=checked(context.map @ about))
        except ValueError as why:
            self._fault("R204", el, str(why), "apply the transform in the drawing program")
            return None

    def _names(self, el: Element, context: Context) -> Names:
        names = names_of(el, context.role)
        if names.unknown:
            what = f"data-role {names.unknown!r} is not known"
            self._fault("R112", el, what, f"known are {', '.join(ROLES)}")
        return names

    def _entered(self, el: Element, context: Context) -> Context:
        names = self._names(el, context)
        return replace(context, groups=context.groups + names.all, role=names.role, instance=None)

    # containers

    def _switch(self, el: Element, context: Context) -> None:
        for child in el:
            kind = self._kind(child)
            if kind and kind not in _DEFINITIONS and conditions_hold(child):
                self._stack.append((child, context))
                return

    def _nested(self, el: Element, style: _Style, context: Context) -> None:
        """An inner viewport: nested `svg`, or `symbol` and `svg` drawn by `use`."""
        try:
            inner = inner_viewport(el, style.css, context)
        except ValueError as why:
            self._fault("R203", el, str(why), "correct the attribute")
            return
        if inner is None:
            self._left_out["hidden element"] += 1
        else:
            self._push(el, self._entered(el, inner))

    def _use(self, el: Element, style: _Style, context: Context) -> None:
        href = (el.get("href") or el.get(_XLINK_HREF) or "").strip()
        target = self._ids.get(href[1:]) if href.startswith("#") else None
        if target is None:
            what = f"use of {href!r}, which is not in this file; nothing is drawn for it"
            spots = [context.map(0j)]
            self._tell(warning("R206", self._where(el), what, "draw it in place", spots=spots))
            return
        if any(u is el for u in context.uses) or len(context.uses) >= DEEPEST_USE:
            self._fault("R207", el, "use leads back to itself", "draw the part in place")
            return
        given = Attributes(attributes(el), style.css, context.viewport)
        try:
            spot = complex(given.length("x", "x"), given.length("y", "y"))
            placed = checked(context.map @ Affine.translation(spot))
        except ValueError as why:
            self._fault("R203", el, str(why), "correct the attribute")
            return
        inside = replace(self._entered(el, context), map=placed, uses=(*context.uses, el))
        self._stack.append((target, replace(inside, instance=el)))

    # shapes

    def _shape(self, el: Element, kind: str, style: _Style, context: Context) -> None:
        if not context.visible:
            self._left_out["hidden element"] += 1
            return
        names = self._names(el, context)
        if names.role is None and not is_painted(context.fill, context.stroke):
            self._remarks["unpainted"].append(context.map(0j))
            return
        made = self._pen.draw(el, kind, style.css, context.map, context.viewport)
        paths = list(made.paths)
        ends = [p.end for p in paths[-1:]]
        for problem in made.problems:
            self._fault(problem.code, el, problem.what, problem.mend, ends)
        self._left_out["move without a line"] += made.moves
        if paths:
            self._remarks["merged"] += made.merged
        if is_wide(context):
            self._remarks["wide"] += [p.start for p in paths[:1]]
        if names.role in ("point", "note"):
            paths += map(dot, made.dots)
        elif made.dots and paths:
            self._remarks["dots"] += made.dots
        elif made.dots:
            at = made.dots[0]
            what = f"has no size, at ({at.real:.2f}, {at.imag:.2f}) mm"
            self._fault("R103", el, what, "delete it, or give it the role point", [at])
        own, groups = names.id, context.groups
        if context.instance is not None and context.instance.get("id"):
            own, groups = context.instance.get("id") or "", groups + names.all
        fill = kind_of_fill(context.fill, context.stroke) if names.role in (None, "cut") else ""
        where, shape_kind = self._where(el), el.get("data-shape") or ""
        self._elements += 1
        for path in paths:
            meant = shape_kind or ("" if path.closed else fill)
            shape = Shape(path, own, names.title, groups, names.role, where, meant, self._elements)
            self.shapes.append(shape)

    def _note(self, el: Element, context: Context) -> None:
        """A text with the role `note` becomes a dot at its place that bears the words."""
        first = {k: ((el.get(k) or "").replace(",", " ").split() or ["0"])[0] for k in "xy"}
        given = Attributes(first, {}, context.viewport)
        try:
            spot = context.map(complex(given.length("x", "x"), given.length("y", "y")))
        except ValueError:
            spot = context.map(0j)
        words = words_of(el)
        if words and context.visible:
            own = el.get("id") or ""
            where = self._where(el)
            self.shapes.append(Shape(dot(spot), own, words, context.groups, "note", where))

    # telling

    def _where(self, el: Element) -> str:
        own = el.get("id")
        line = f" line {el.sourceline}" if el.sourceline else ""
        called = f" #{own}" if own else f" <{local_name(el)}>"
        return one_line(f"{self._name}{line}{called}")

    def _fault(
        self, code: str, el: Element, what: str, mend: str, spots: Sequence[complex] = ()
    ) -> None:
        self._tell(fault(code, self._where(el), what, mend, spots=spots))

    def _tell(self, finding: Finding) -> None:
        if len(self._findings) < MOST_TOLD:
            self._findings.append(finding)
        else:
            self._untold[finding.code] += 1

    def told(self) -> tuple[Finding, ...]:
        """All findings of the walk, with the counts of what was left out."""
        found = list(self._findings)
        for code, count in sorted(self._untold.items()):
            what = f"{count} more like those told"
            found.append(fault(code, self._name, what, "mend the first ones and read it again"))
        if self._clipped:
            what = f"{self._clipped} clipped or masked element(s) are taken whole, as drawn"
            found.append(warning("R209", self._name, what, "cut the outline in the drawing itself"))
        if unpainted := self._remarks["unpainted"]:
            what = f"{len(unpainted)} shape(s) have neither fill nor stroke and are left out"
            mend = "give a shape that is to be cut a stroke, or the role cut"
            found.append(warning("R214", self._name, what, mend))
        if merged := self._remarks["merged"]:
            what = f"{len(merged)} points on top of their neighbours are left out"
            what += f", the first at ({merged[0].real:.3f}, {merged[0].imag:.3f}) mm"
            found.append(note("R315", self._name, what, spots=merged))
        if wide := self._remarks["wide"]:
            width = f"{WIDE_STROKE:g} mm"
            what = f"{len(wide)} stroke(s) wider than {width}: the cut follows their middle"
            mend = "turn a stroke into an outline if meant so"
            found.append(note("R212", self._name, what, mend, spots=wide))
        if dots := self._remarks["dots"]:
            what = f"{len(dots)} part(s) without length in longer paths were left out"
            what += f", the first at ({dots[0].real:.2f}, {dots[0].imag:.2f}) mm"
            found.append(note("R114", self._name, what, spots=dots))
        counts = [f"{n} x {kind}" for kind, n in sorted(self._left_out.items()) if n]
        if counts:
            found.append(note("R208", self._name, f"not cut: {', '.join(counts)}"))
        if self._sheet.problems:
            what = f"style rules not understood: {', '.join(sorted(set(self._sheet.problems)))}"
            mend = "check that nothing hidden is cut"
            found.append(warning("R210", self._name, what, mend))
        return tuple(found)
