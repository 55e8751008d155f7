"""The operator's sheet: what it tells, what it never lets through, and whether it can be read."""

from __future__ import annotations

import base64
import hashlib
import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import html

from foamwright.checklist import checklist, load_checklist
from foamwright.hazards import load_rules
from foamwright.record import Record
from foamwright.safety import uses_of
from foamwright.stages.save import sheet
from foamwright.stages.save.sheet import duration, sheet_html
from foamwright.stages.save.sheet_view import view_of

from ...browser import evaluate
from .sheet_sample import sample

HOSTILE = "<img src=x onerror=alert(1)>\"'></title></style><script>alert(2)</script>]]>\x07\u202e&"


def page(name: str = "Heron legs", extra: str = "gauge", **changes: object) -> str:
    record, programs = sample(name, extra)
    record = record.model_copy(update=changes)
    rules = load_rules()
    lines = checklist(load_checklist(rules), uses_of(record), rules)
    return sheet_html(view_of(record, programs, lines))


@pytest.fixture(scope="module")
def text() -> str:
    return page()


@pytest.fixture(scope="module")
def root(text: str) -> html.HtmlElement:
    return html.document_fromstring(text)


def words(root: html.HtmlElement, path: str) -> str:
    return " ".join(" ".join(" ".join(e.itertext()).split()) for e in root.xpath(path))


# ------------------------------------------------------------------------------------ what it tells


def test_the_first_section_says_what_to_do(root: html.HtmlElement) -> None:
    now = words(root, "//section[h2[@id='now']]")
    for fact in (
        "Sheet 1 Polyurethane foam, 25 mm sheet, 1000 × 800 mm",
        "Flatbed knife, 1200 x 800 mm speed 60 mm/s, passes 1, blade single-edge 45",
        "Card, 1 mm, laid face down sheet, 300 × 420 mm",
        "Desktop laser, 600 x 400 mm speed 20 mm/s, power 45 %",
        "All 3 sheets 6 pieces 7 min 33 s",
    ):
        assert fact in now.replace(" ,", ",")
    settings = words(root, "//section[h2[@id='settings']]")
    for fact in (
        "Polyurethane foam, 25 mm on Flatbed knife, 1200 x 800 mm",
        "polyurethane-foam (by label). Confirm it with the sheet in hand.",
        "Speed 60 mm/s estimate",
        "Kerf, full width 0.2 mm published",
        "a laboratory's table, 2024",
        "Machine's compensation off: the file has it all",
        "Machine's compensation on for kerf; else off",
        "package:materials/card-1mm.toml",
        "heron-pu-foam-25mm-flatbed-knife-1200-1.dxf",
        ": card-1mm on desk-laser-600, issued by Site safety officer on 2026-01-10, until",
    ):
        assert fact in settings


def test_a_bare_dxf_says_its_unit_and_sizes_to_check(root: html.HtmlElement) -> None:
    (row,) = root.xpath(
        "//table[contains(@class, 'files')]//tr[th[contains(., 'laser-600-3.dxf')]]"
    )
    cells = [c.text_content() for c in row]
    assert cells[2] == "in*"
    assert cells[4] == f"{300 / 25.4:.3f} × {420 / 25.4:.3f} in"
    _, programs = sample()
    boxes = [c.path.bounds for c in programs[2].cuts]
    width = max(b[2] for b in boxes) - min(b[0] for b in boxes)
    assert cells[3].startswith(f"{width / 25.4:.3f} × ")
    minds = root.xpath("//p[contains(@class, 'mind')][contains(., 'one unit is one inch')]")
    assert len(minds) == 1


def test_what_is_cut_from_the_back_says_so(root: html.HtmlElement) -> None:
    assert words(root, "//article").count("Cut from the back") == 1
    assert "laid face down" in words(root, "//article[2]")
    assert "Seen from the back" in words(root, "//section[h2[@id='sheet-3']]")
    assert "Seen from the back" not in words(root, "//section[h2[@id='sheet-1']]")


def test_every_piece_of_every_sheet_is_in_its_table(root: html.HtmlElement) -> None:
    _, programs = sample()
    for i, program in enumerate(programs, 1):
        rows = root.xpath(f"//section[h2[@id='sheet-{i}']]//tbody/tr")
        assert [r.find("th").text_content() for r in rows] == [
            p.copy.name for p in program.sheet.placements
        ]
        hands = [r[2].text_content() for r in rows]
        assert hands == ["as drawn", "mirror image", "as drawn"][: len(rows)]


def test_each_line_of_the_checklist_has_a_box_and_each_stage_a_signature(
    root: html.HtmlElement,
) -> None:
    record, _ = sample()
    rules = load_rules()
    lines = checklist(load_checklist(rules), uses_of(record), rules)
    boxes = root.xpath("//label[input[@type='checkbox']]")
    expected = [line.text for stage in lines.values() for line in stage]
    assert [b.xpath("string(span/text())").strip() for b in boxes] == expected
    assert not root.xpath("//input[@checked]")
    assert len(root.xpath("//p[@class='sign']")) == len([x for x in lines.values() if x])


def test_each_operation_of_a_sheet_has_its_time(root: html.HtmlElement) -> None:
    told = words(root, "//section[@class='sheet']/ul[@class='legend']/li")
    assert "drawn mark, about 6 s" in told
    assert "outline, cut last of its piece, about 1 min 10 s" in told
    # what has no time is told without one
    assert " opening " in told


def test_proof_and_warnings(root: html.HtmlElement) -> None:
    end = words(root, "//section[h2[@id='proof']]")
    for fact in (
        "0.0073 mm, limit 0.05 mm",
        "12.5 mm",
        "deepest 0.041 mm",
        "gauge 12.3 45.6 0.041",
    ):
        assert fact in end
    assert "caution: card with a laser" in words(
        root, "//*[@id='warnings']/following-sibling::ul[1]"
    )


def test_what_is_not_proven_is_not_to_be_cut() -> None:
    record, _ = sample()
    assert record.verification is not None
    failed = record.verification.model_copy(update={"passed": False})
    for proof in (None, failed):
        root = html.document_fromstring(page(verification=proof))
        assert "do not cut" in words(root, "//header")
        assert "do not cut" in words(root, "//section[h2[@id='proof']]").lower()
        assert "proven to" not in words(root, "//header")


def test_without_warnings_no_promise_is_made() -> None:
    root = html.document_fromstring(page(findings=(), permits=()))
    assert "brought up none" in words(root, "//section[h2[@id='proof']]")
    assert not root.xpath("//article[contains(@class, 'permits')]")


def test_nothing_is_called_safe(root: html.HtmlElement) -> None:
    assert not re.search(r"\b(safe|safely|harmless)\b", root.text_content(), re.IGNORECASE)


def test_a_file_with_the_stock_drawn_measures_as_the_stock() -> None:
    record, programs = sample()
    first = record.files[0].model_copy(update={"layers": {"STOCK": "STOCK"}})
    record = record.model_copy(update={"files": (first, *record.files[1:])})
    view = view_of(record, programs, {})
    assert view.batches[0].pages[0].files[0].drawn == "1000.0 × 800.0 mm"
    assert view.batches[0].pages[0].files[1].drawn != "1000.0 × 800.0 mm"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.2, "1 s"), (59.4, "59 s"), (59.6, "1 min 0 s"), (260, "4 min 20 s"), (3900, "1 h 5 min")],
)
def test_durations(seconds: float, said: str) -> None:
    assert duration(seconds) == said


def test_settings_of_the_right_machine_are_told() -> None:
    """Of two entries for one material, each machine's sheet tells the one that is meant for it."""
    record, programs = sample()
    foam = record.profiles[0]
    speed = next(v for v in foam.values if v.key == "cut.speed")
    changed = [v.model_copy(update={"value": 7.0}) if v is speed else v for v in foam.values]
    changed.append(speed.model_copy(update={"key": "cut.machine", "value": "other"}))
    stranger = foam.model_copy(update={"values": tuple(changed)})
    for profiles in ((stranger, *record.profiles), (*record.profiles, stranger)):
        view = view_of(record.model_copy(update={"profiles": profiles}), programs, {})
        assert "60 mm/s" in [s.value for s in view.batches[0].settings]


# ------------------------------------------------------------------------------------ what it is


def test_the_same_view_gives_the_same_bytes(text: str) -> None:
    assert page() == text


def test_hostile_names_are_text_everywhere() -> None:
    hostile = page(name=HOSTILE, extra=HOSTILE, findings=(f"warning S004 {HOSTILE}",))
    root = html.document_fromstring(hostile)
    assert len(root.xpath("//script")) == 1  # the page's own, whose hash the policy names
    assert not root.xpath("//img | //iframe | //object | //embed | //link | //base")
    for e in root.iter("*"):
        assert not [a for a in e.attrib if a.lower().startswith("on") or a == "style"]
    shown = HOSTILE.replace("\x07", "\\x07").replace("\u202e", "\\x202e")
    assert root.xpath("string(//h1)") == shown
    assert root.xpath("string(//title)").startswith(shown)
    assert shown in words(root, "//section[h2[@id='sheet-3']]//tbody")
    svg_titles = root.xpath("//*[local-name()='svg']/*[local-name()='title']")
    assert any(shown in t.text_content() for t in svg_titles)
    assert shown in root.xpath("string(//*[@id='warnings']/following-sibling::ul[1])")
    assert "\x07" not in hostile


def test_nothing_is_loaded_and_the_policy_admits_its_own_parts_alone(
    text: str, root: html.HtmlElement
) -> None:
    (policy,) = root.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    (style,) = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    styled, scripted = (
        base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()
        for part in (style, script)
    )
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{styled}'; script-src 'sha256-{scripted}'; "
        "base-uri 'none'; form-action 'none'"
    )
    assert not re.search(r"innerHTML|insertAdjacentHTML|document.write|eval|fetch", script)
    assert not re.search(r"url\(|@import|https?://(?!www\.w3\.org/2000/svg)", text)
    links = root.xpath("//@href | //@src")
    assert links
    assert all(link.startswith("#") for link in links)


def test_it_can_be_read_by_ear_and_keyboard(root: html.HtmlElement) -> None:
    assert root.get("lang") == "en"
    ids = root.xpath("//@id")
    assert [i for i, n in Counter(ids).items() if n > 1] == []
    for target in root.xpath("//@href | //@aria-labelledby"):
        assert target.removeprefix("#") in ids
    levels = [int(h.tag[1]) for h in root.xpath("//h1 | //h2 | //h3 | //h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert all(t.find("caption") is not None for t in root.iter("table"))
    assert all(t.get("scope") in ("col", "row") for t in root.iter("th"))
    for svg in root.xpath("//*[local-name()='svg']"):
        assert svg.get("aria-hidden") == "true" or svg.get("role") == "img"


# ------------------------------------------------------------------------------------ contrast

STYLE = Path(sheet.__file__).with_name("operator-sheet.css").read_text(encoding="utf-8")


def palettes() -> dict[str, dict[str, str]]:
    """The colours of light, dark and print."""
    found: dict[str, str] = {}
    made = {}
    for name, block in zip(
        ("light", "dark", "print"), re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL), strict=True
    ):
        base = made.get("light", found)
        made[name] = base | dict(re.findall(r"--([a-z]+): (#[0-9a-f]{3,6});", block))
    return made


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.1)."""
    digits = colour.lstrip("#")
    digits = "".join(d * 2 for d in digits) if len(digits) == 3 else digits
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("name", ["light", "dark", "print"])
def test_words_and_lines_stand_out(name: str) -> None:
    """WCAG 2.1: 4.5 for words (1.4.3), 3 for what is drawn (1.4.11)."""
    p = palettes()[name]
    for ink in ("ink", "soft", "accent", "alarm"):
        for ground in ("paper", "card"):
            assert contrast(p[ink], p[ground]) >= 4.5, (ink, ground)
    for line in ("outer", "inner", "slit", "hole", "score", "pen"):
        for ground in ("piece", "stock"):
            assert contrast(p[line], p[ground]) >= 3, (line, ground)


def test_the_record_needs_its_programs_in_no_order() -> None:
    record, programs = sample()
    assert isinstance(record, Record)
    assert sheet_html(view_of(record, programs[::-1], {})) == sheet_html(
        view_of(record, programs, {})
    )


IN_BROWSER = """
const frame = document.createElement("iframe");
frame.width = DATA.width; frame.height = 900; frame.srcdoc = DATA.page;
const loaded = new Promise(done => frame.onload = done);
document.body.append(frame);
await loaded;
const inner = frame.contentDocument, root = inner.documentElement;
const box = e => e.getBoundingClientRect();
const piece = inner.querySelector(".picture .piece");
const stock = inner.querySelector(".picture .stock");
return {
  title: frame.contentWindow.getComputedStyle(inner.querySelector("h1")).fontSize,
  wide: root.scrollWidth - root.clientWidth,
  fill: frame.contentWindow.getComputedStyle(piece).fill,
  piece: [box(piece).width, box(piece).height], stock: [box(stock).width, box(stock).height],
  thumbnails: [...inner.querySelectorAll(".thumbnail use")].map(e => box(e).width),
};
"""


@pytest.mark.parametrize("width", [1100, 700, 400])
def test_a_browser_admits_the_style_and_nothing_sticks_out(text: str, width: int) -> None:
    seen = evaluate(IN_BROWSER, {"page": text, "width": width})
    assert seen["title"] == "41.6px"  # the style's 2.6 rem: the policy's hash is right
    assert seen["wide"] <= 0
    assert seen["fill"] not in ("rgb(0, 0, 0)", "none")
    assert all(w > 40 for w in seen["thumbnails"])
    _, programs = sample()
    x0, y0, x1, y1 = programs[0].sheet.placements[0].piece.outline.bounds
    scale = seen["stock"][0] / 1000
    assert seen["stock"][1] / scale == pytest.approx(800, rel=0.01)
    assert seen["piece"][0] / scale == pytest.approx(x1 - x0, rel=0.02)
    assert seen["piece"][1] / scale == pytest.approx(y1 - y0, rel=0.02)
