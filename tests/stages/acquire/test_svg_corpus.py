"""Real and crafted drawings from outside: none ends in a traceback, most agree with a browser.

The browser draws each file with thin strokes, and so what was read from it; every pixel of one must
lie next to a pixel of the other.  Files with a fault are refused and need not agree.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from lxml import etree
from tests.browser import evaluate, measure_paths, page_size

from foamwright.geometry.affine import IDENTITY, Affine
from foamwright.geometry.pathdata import to_path_data
from foamwright.geometry.segments import Line, Segment
from foamwright.stages.acquire import read_drawing
from foamwright.stages.acquire.curves import mapped
from foamwright.stages.acquire.pathgrammar import Subpath, parse
from foamwright.stages.acquire.svg import read_svg, read_svg_bytes

PX = 96 / 25.4
#: A style that leaves of each shape the line alone.
LINES_ONLY = "*{fill:none!important;stroke:#000!important}"
#: What the browser's pictures show besides lines, or where it goes by a newer draft than SVG 1.1.
EXPLAINED = {
    "background-color.svg": "the picture's background is filled",
    "background-color-with-viewbox.svg": "the picture's background is filled",
    "important.svg": "the picture's background is filled",
    "p_num_trail.svg": "a number may end in a point in SVG 1.1",
    "par_defer_xMinYMin.svg": "`defer` is left out in SVG 1.1 where it doesn't apply",
    "t_rect_rx_auto.svg": "rx=auto is known to SVG 2, not to this browser",
}
THIN = (
    "*{fill:none!important;stroke:#000!important;stroke-width:1px!important;"
    "vector-effect:non-scaling-stroke!important;stroke-dasharray:none!important;"
    "opacity:1!important;stroke-opacity:1!important;marker:none!important;"
    "clip-path:none!important;mask:none!important;filter:none!important}"
    "text,image,foreignObject{display:none!important}svg,symbol{overflow:visible!important}"
)
COMPARE = """
const out = [];
for (const [theirs, ours, W, H] of DATA) {
  const s = 300 / Math.max(W, H), w = Math.ceil(W * s), h = Math.ceil(H * s), seen = [];
  for (const text of [theirs, ours]) {
    const img = new Image();
    img.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(text);
    try { await img.decode(); } catch (e) { break; }
    const canvas = document.createElement("canvas");
    canvas.width = w; canvas.height = h;
    const g = canvas.getContext("2d");
    g.drawImage(img, 0, 0, w, h);
    const raw = g.getImageData(0, 0, w, h).data, alpha = new Uint8Array(w * h);
    for (let i = 0; i < alpha.length; i++) alpha[i] = raw[4 * i + 3];
    seen.push(alpha);
  }
  if (seen.length < 2) { out.push(null); continue; }
  let lost = 0, count = 0;
  for (const [p, q] of [seen, [seen[1], seen[0]]])
    for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (p[y * w + x] > 100) {
      count++;
      let near = false;
      for (let dy = -1; dy <= 1; dy++) for (let dx = -1; dx <= 1; dx++) {
        const X = x + dx, Y = y + dy;
        near ||= X >= 0 && Y >= 0 && X < w && Y < h && q[Y * w + X] > 20;
      }
      lost += !near;
    }
  out.push([count, lost]);
}
return out;
"""


def files(shared: Path) -> list[Path]:
    found = sorted((shared / "corpora" / "svg").rglob("*.svg"))
    assert len(found) > 500
    return found


def test_every_file_is_read_or_refused(shared: Path) -> None:
    codes: Counter[str] = Counter()
    read = 0
    for file in files(shared):
        drawing, told = read_drawing(file)
        assert drawing.pieces or any(f.is_fault for f in told), file.name
        assert all(f.where.startswith(file.name) and "\n" not in f.line() for f in told)
        read += not any(f.is_fault for f in told)
        codes.update(f.code for f in told if f.is_fault)
    assert read > 150, (read, codes)


def pictures(file: Path) -> tuple[str, str, float, float] | None:
    """The file with thin lines, what was read from it, and the page's size; None: left out."""
    if any(f.is_fault for f in read_svg(file)[1]):
        return None
    root = etree.fromstring(file.read_bytes(), etree.XMLParser(resolve_entities=True))
    etree.SubElement(root, "{http://www.w3.org/2000/svg}style").text = LINES_ONLY
    shapes, told, _ = read_svg_bytes(etree.tostring(root), file.name)
    if any(f.is_fault for f in told):
        return None
    size = page_size(root)
    if size is None:
        return None
    wide, high = size
    root.set("width", str(wide))
    root.set("height", str(high))
    etree.SubElement(root, "{http://www.w3.org/2000/svg}style").text = THIN
    up = Affine(a=PX, d=-PX, f=high)
    drawn = "".join(
        f'<path d="{to_path_data(s.path.transformed(up))}"/>' for s in shapes if s.path.length
    )
    ours = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}">'
        f"<style>{THIN}</style>{drawn}</svg>"
    )
    return etree.tostring(root, encoding="unicode"), ours, wide, high


def test_what_is_read_is_what_a_browser_draws(shared: Path) -> None:
    data, names = [], []
    for file in files(shared):
        made = pictures(file)
        if made is not None:
            data.append(made)
            names.append(file.name)
    answers = evaluate(COMPARE, data)
    wrong = {
        name: answer
        for name, answer in zip(names, answers, strict=True)
        if answer is not None and answer[1] > 0 and name not in EXPLAINED
    }
    compared = sum(a is not None and a[0] > 0 for a in answers)
    assert wrong == {}
    assert compared > 350


def test_path_data_has_a_browsers_lengths_and_boxes(shared: Path) -> None:
    """Every `d` of every file, sound or broken, against getTotalLength and getBBox."""
    parser = etree.XMLParser(recover=True, resolve_entities=False)
    texts = {
        el.get("d")
        for file in files(shared)
        if (root := etree.fromstring(file.read_bytes(), parser)) is not None
        for el in root.iter("{*}path")
        if el.get("d")
    } - {"M10. 10. L50. 10."}
    known = sorted(texts)
    for text, (length, *box) in zip(known, measure_paths(known), strict=True):
        drawn = [s for sub in parse(text).subpaths for s in closed(sub)]
        assert sum(s.length() for s in drawn) == pytest.approx(length, rel=3e-4, abs=1e-3), text
        if length > 0:
            boxes = [s.bounds() for s in drawn]
            low_x, low_y = (min(b[k] for b in boxes) for k in (0, 1))
            high_x, high_y = (max(b[k] for b in boxes) for k in (2, 3))
            expected = (low_x, low_y, high_x - low_x, high_y - low_y)
            assert tuple(box) == pytest.approx(expected, rel=1e-3, abs=1e-3), text
    assert len(known) > 100


def closed(sub: Subpath) -> list[Segment]:
    """The subpath's segments with the line that closes it; a bare closed spot counts in the box."""
    drawn = mapped(sub.segments, IDENTITY)
    if sub.closed:
        drawn.append(Line(drawn[-1].end if drawn else sub.start, sub.start))
    return drawn
