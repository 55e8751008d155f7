"""A headless Chromium as a second opinion on SVG: runs a script in a page and returns its JSON.

No browser on the machine: the test is skipped, unless FOAMWRIGHT_BROWSER=required.
That browser's own lengths of circles and rounded
rectangles are short, so shapes must be turned into paths first (arcs in paths: 1.4e-4).
"""

from __future__ import annotations

import html
import json
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome", "google-chrome-stable")
_FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--force-device-scale-factor=1",
    "--virtual-time-budget=600000",
)
_OUT = re.compile(r'<pre id="out">(.*?)</pre>', re.DOTALL)
_PAGE = """<!doctype html><meta charset="utf-8"><body><pre id="out"></pre>
<script type="application/json" id="data">%s</script>
<script>
(async (DATA) => { %s })(JSON.parse(document.getElementById("data").textContent))
  .then(r => ({done: r}), e => ({failed: String(e && e.stack || e)}))
  .then(r => { document.getElementById("out").textContent = JSON.stringify(r); });
</script>"""


def browser() -> str:
    """The browser's command; skips (or fails, where it is required) without one."""
    found = next((p for n in _NAMES if (p := shutil.which(n))), None)
    if found is None:
        if os.environ.get("FOAMWRIGHT_BROWSER") == "required":
            pytest.fail("FOAMWRIGHT_BROWSER=required, but there is no Chromium")
        pytest.skip("no Chromium on this machine")
    return found


@contextmanager
def driven() -> Iterator[Browser]:
    """The browser under a driver's hand (Playwright), to click, type, print and trace."""
    command = browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=command, args=list(_FLAGS[1:7]))
        try:
            yield started
        finally:
            started.close()


def axe() -> str:
    """The text of axe-core, which looks for what keeps people out of a page; skips without it.

    FOAMWRIGHT_AXE names its file, else it is looked for in node_modules.
    """
    root = Path(__file__).parent.parent
    file = Path(
        os.environ.get("FOAMWRIGHT_AXE") or root / "node_modules" / "axe-core" / "axe.min.js"
    )
    if not file.is_file():
        if os.environ.get("FOAMWRIGHT_AXE"):
            pytest.fail("FOAMWRIGHT_AXE names a file that isn't there")
        pytest.skip("no axe-core: `npm install --no-save axe-core`, or FOAMWRIGHT_AXE")
    return file.read_text("utf-8")


def evaluate(script: str, data: Any = None, timeout: float = 120.0) -> Any:
    """What the body of an async JavaScript function returns, given `DATA`, as JSON."""
    command = browser()
    text = _PAGE % (json.dumps(data).replace("<", "\\u003c"), script)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        page = Path(folder) / "page.html"
        page.write_text(text, encoding="utf-8")
        profile = f"--user-data-dir={folder}/profile"
        done = subprocess.run(
            [command, *_FLAGS, profile, "--dump-dom", page.as_uri()],
            capture_output=True,
            timeout=timeout,
            check=False,
        )
    found = _OUT.search(done.stdout.decode("utf-8", "replace"))
    if found is None or not found[1]:
        pytest.fail(f"the browser gave no answer: {done.stderr[-500:]!r}")
    answer = json.loads(html.unescape(found[1]))
    if "failed" in answer:
        pytest.fail(f"the browser's script failed: {answer['failed']}")
    return answer["done"]


#: Total length and bounding box of path data: `[length, x, y, width, height]` for each of DATA.
MEASURE_PATHS = """
const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
document.body.append(svg);
return DATA.map(d => {
  const p = document.createElementNS("http://www.w3.org/2000/svg", "path");
  p.setAttribute("d", d);
  svg.append(p);
  const b = p.getBBox();
  return [p.getTotalLength(), b.x, b.y, b.width, b.height];
});
"""


def measure_paths(data: list[str]) -> list[list[float]]:
    """`getTotalLength` and `getBBox` of each path data: length, x, y, width, height."""
    found: list[list[float]] = evaluate(MEASURE_PATHS, data)
    return found


def page_size(root: Any) -> tuple[float, float] | None:
    """Width and height in px where both are plain or follow from the viewBox."""
    box = [float(v) for v in (root.get("viewBox") or "").replace(",", " ").split()]
    sides = [root.get("width"), root.get("height")]
    if box and (sides == [None, None] or "%" in "".join(map(str, sides))):
        return (box[2], box[3]) if sides == [None, None] else None
    try:
        return float(sides[0]), float(sides[1])
    except (TypeError, ValueError):
        return None
