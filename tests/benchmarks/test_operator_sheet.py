"""An operator's sheet of 300 pieces: how large it is, and whether its stills come without a stall.

The stalls are the browser's own tasks in its trace, none of which may keep the page from answering
for longer than `STALL`.  Their work is judged: by the wall a busy machine is slower.
"""

from __future__ import annotations

import json
from pathlib import Path

from foamwright.checklist import checklist, load_checklist
from foamwright.hazards import load_rules
from foamwright.safety import uses_of
from foamwright.stages.save.sheet import sheet_html
from foamwright.stages.save.sheet_view import view_of

from ..browser import driven
from ..stages.save.sheet_sample import FOAM_PAIR, file_entry, program, sample, sheet_entry

PIECES = 300
#: Most bytes that the page may have, and the longest that it may leave a hand waiting, ms.
LARGEST, STALL = 3_000_000, 100.0


def large_page() -> str:
    """One sheet with all pieces in a row; each has an opening, a slit and a cross."""
    record, _ = sample()
    made = program(1, FOAM_PAIR, (60_000, 800), *(f"feather-{k}/drawn/1" for k in range(PIECES)))
    record = record.model_copy(
        update={
            "sheets": (sheet_entry(made),),
            "files": (file_entry(made, "feathers.dxf", "dxf", "r2000", "mm"),),
        }
    )
    rules = load_rules()
    lines = checklist(load_checklist(rules), uses_of(record), rules)
    return sheet_html(view_of(record, [made], lines))


def test_three_hundred_pieces(tmp_path: Path) -> None:
    text = large_page()
    size = len(text.encode())
    print(f"\n{PIECES} pieces: {size / 1e6:.2f} MB", end="")
    assert size < LARGEST
    file = tmp_path / "operator-sheet.html"
    file.write_text(text, "utf-8")
    with driven() as browser:
        page = browser.new_page(viewport={"width": 1100, "height": 900})
        page.goto(file.as_uri())
        view = page.locator(".viewer").first
        view.scroll_into_view_if_needed()
        view.get_by_text("Next").click()  # the first still pales all others
        browser.start_tracing(page=page, categories=["toplevel", "devtools.timeline"])
        for _ in range(40):
            view.get_by_text("Next").click()
        slider = view.get_by_role("slider")
        for still in ("600", "3", "1100"):
            slider.fill(still)
        view.get_by_text("Whole sheet").click()
        view.get_by_text("Next").click()
        trace = json.loads(browser.stop_tracing())
        assert view.locator("output").text_content().startswith("1 of 1200: ")  # type: ignore[union-attr]
    events = trace["traceEvents"]
    main = {
        (e["pid"], e["tid"])
        for e in events
        if e["name"] == "thread_name" and e["args"]["name"] == "CrRendererMain"
    }
    tasks = [
        e
        for e in events
        if e["name"].endswith("RunTask") and (e["pid"], e["tid"]) in main and "dur" in e
    ]
    assert tasks
    work = max(e.get("tdur", e["dur"]) for e in tasks) / 1000
    waited = max(e["dur"] for e in tasks) / 1000
    print(f", {len(tasks)} tasks, at most {work:.0f} ms of work ({waited:.0f} ms by the wall)")
    assert work < STALL
