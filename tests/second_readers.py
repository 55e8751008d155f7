"""What other programs make of a drawing: a browser of an SVG, GDAL of a DXF.

Each gives the total length of all that is drawn and the box round it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import pyogrio
import shapely

from foamwright.stages.acquire.dxf_open import INSUNITS, stated_insunits
from tests.browser import evaluate

#: x_min, y_min, x_max, y_max.
Box: TypeAlias = tuple[float, float, float, float]
#: Files measured by one page of the browser.
AT_ONCE = 300
_PEOPLE_S = ("Text", "Dimension", "Hatch")

#: For each [text, width, height]: length and box in px of all shapes seen, each first turned into a
#: path; a box of null where one lies askew (its own box would be loose); null where one is sheared.
MEASURE_DRAWINGS = r"""
const NS = "http://www.w3.org/2000/svg", XLINK = "http://www.w3.org/1999/xlink";
const APART = "defs,symbol,clipPath,mask,pattern,marker,linearGradient,radialGradient,filter,text";
const made = (name) => document.createElementNS(NS, name);
function expand(root) {
  for (let n = 0; n < 3000; n++) {
    const use = [...root.querySelectorAll("use")].find(u => !u.closest(APART));
    if (!use) return true;
    const ref = use.getAttribute("href") || use.getAttributeNS(XLINK, "href");
    const target = ref && ref.startsWith("#") && root.querySelector("#" + CSS.escape(ref.slice(1)));
    const outer = made("g"), inner = made("g");
    for (const a of use.attributes)
      if (!["x", "y", "width", "height", "href", "xlink:href"].includes(a.name))
        outer.setAttribute(a.name, a.value);
    inner.setAttribute("transform", `translate(${use.x.baseVal.value} ${use.y.baseVal.value})`);
    outer.append(inner);
    if (target && !target.contains(use)) {
      let copy = target.cloneNode(true);
      if (["symbol", "svg"].includes(target.localName)) {
        const box = made("svg");
        for (const a of copy.attributes) box.setAttribute(a.name, a.value);
        for (const k of ["width", "height"])
          if (use.hasAttribute(k)) box.setAttribute(k, use.getAttribute(k));
        box.append(...copy.childNodes);
        copy = box;
      }
      inner.append(copy);
    }
    use.replaceWith(outer);
  }
  return false;
}
const v = (e, k) => e[k].baseVal.value;
function oval(cx, cy, rx, ry) {
  const half = (x) => `A${rx} ${ry} 0 0 1 ${x} ${cy}`;
  return rx > 0 && ry > 0 ? `M${cx + rx} ${cy}${half(cx - rx)}${half(cx + rx)}Z` : "";
}
function data(e) {
  switch (e.localName) {
    case "path": return e.getAttribute("d") || "";
    case "line": return `M${v(e, "x1")} ${v(e, "y1")}L${v(e, "x2")} ${v(e, "y2")}`;
    case "circle": return oval(v(e, "cx"), v(e, "cy"), v(e, "r"), v(e, "r"));
    case "ellipse": {
      const [rx, ry] = ["rx", "ry"].map(k => e.hasAttribute(k) ? v(e, k) : null);
      return oval(v(e, "cx"), v(e, "cy"), rx ?? ry ?? 0, ry ?? rx ?? 0);
    }
    case "polyline": case "polygon": {
      const spots = [...e.points].map(p => `${p.x} ${p.y}`);
      return spots.length ? "M" + spots.join("L") + (e.localName == "polygon" ? "Z" : "") : "";
    }
  }
  const [x, y, w, h] = ["x", "y", "width", "height"].map(k => v(e, k));
  if (!(w > 0 && h > 0)) return "";
  let [rx, ry] = ["rx", "ry"].map(k => e.hasAttribute(k) ? v(e, k) : null);
  rx = Math.min(rx ?? ry ?? 0, w / 2); ry = Math.min(ry ?? rx ?? 0, h / 2);
  if (!(rx > 0 && ry > 0)) return `M${x} ${y}h${w}v${h}h${-w}z`;
  const arc = (dx, dy) => `a${rx} ${ry} 0 0 1 ${dx} ${dy}`;
  return `M${x + rx} ${y}h${w - 2 * rx}${arc(rx, ry)}v${h - 2 * ry}${arc(-rx, ry)}` +
    `h${2 * rx - w}${arc(-rx, -ry)}v${2 * ry - h}${arc(rx, -ry)}z`;
}
function hidden(e, root) {
  for (let a = e; a != root.parentNode; a = a.parentNode)
    if (getComputedStyle(a).display == "none") return true;
  return false;
}
const bench = made("svg"); document.body.append(bench);
function measure(root) {
  let length = 0, box = [Infinity, Infinity, -Infinity, -Infinity], askew = false;
  for (const e of root.querySelectorAll("path,rect,circle,ellipse,line,polyline,polygon")) {
    if (e.namespaceURI != NS || e.closest(APART)) continue;
    if (!e.checkVisibility({visibilityProperty: true}) || hidden(e, root)) continue;
    const paint = getComputedStyle(e);
    if (paint.fill == "none" && paint.stroke == "none") continue;
    const m = e.getScreenCTM(), d = data(e);
    if (!m || !d) continue;
    const s = Math.hypot(m.a, m.b), t = Math.hypot(m.c, m.d), dot = m.a * m.c + m.b * m.d;
    const p = made("path"); p.setAttribute("d", d); bench.append(p);
    const n = p.getTotalLength(), b = p.getBBox(); p.remove();
    if (!(n > 0)) continue;
    if (Math.abs(s - t) > 1e-5 * s || Math.abs(dot) > 1e-5 * s * s) return null;
    length += n * s;
    askew ||= Math.min(Math.abs(m.a), Math.abs(m.b)) > 1e-6 * s;
    for (const [x, y] of [[b.x, b.y], [b.x + b.width, b.y + b.height]]) {
      const X = m.a * x + m.c * y + m.e, Y = m.b * x + m.d * y + m.f;
      box = [Math.min(box[0], X), Math.min(box[1], Y), Math.max(box[2], X), Math.max(box[3], Y)];
    }
  }
  return [length, askew || length == 0 ? null : box];
}
return DATA.map(([text, width, height]) => {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml");
  if (parsed.querySelector("parsererror")) return null;
  const root = document.importNode(parsed.documentElement, true);
  root.setAttribute("width", width); root.setAttribute("height", height);
  const own = root.getAttribute("style") || "";
  root.setAttribute("style", own + ";position:absolute;left:0;top:0");
  document.body.append(root);
  try { return expand(root) ? measure(root) : null; }
  finally { root.remove(); }
});
"""


def by_browser(
    drawings: Sequence[tuple[str, float, float]],
) -> list[tuple[float, Box | None] | None]:
    """Of each SVG text on a page of so many px: length and box in px; None: can't be measured."""
    found: list[Any] = []
    for at in range(0, len(drawings), AT_ONCE):
        found += evaluate(MEASURE_DRAWINGS, drawings[at : at + AT_ONCE], timeout=600)
    return [None if f is None else (f[0], None if f[1] is None else tuple(f[1])) for f in found]


@cache
def by_gdal(file: Path) -> tuple[float, Box]:
    """Length and box in mm of all that GDAL draws but text, fills and dimensions."""
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.1"})
    meta, _, wkb, fields = pyogrio.raw.read(file)
    kinds = fields[list(meta["fields"]).index("SubClasses")]
    drawn = [
        shapely.from_wkb(w)
        for w, kind in zip(wkb, kinds, strict=True)
        if not any(word in str(kind) for word in _PEOPLE_S)
    ]
    lines = [g for g in drawn if g.geom_type != "Point"]
    size = INSUNITS.get(stated_insunits(file.read_bytes()) or 0, ("", 1.0))[1]
    box = shapely.total_bounds(lines) * size
    return float(shapely.length(lines).sum()) * size, tuple(box)
