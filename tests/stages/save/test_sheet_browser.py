"""The operator's sheet in a browser: its controls, its stills, its print, what it never does."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pypdfium2 as pdfium
import pytest

from ...browser import axe, driven
from ...conftest import ExampleCut
from .sheet_sample import sample
from .test_sheet import HOSTILE, page

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

#: Faults of these kinds keep somebody out.
SERIOUS = ("serious", "critical")
#: Names of the sheet's parts in the print, each at the head of a page of its own.
OWN_PAGES = ("What to do now", "Settings and files", "Sheet 1", "Sheet 2", "Sheet 3", "Checklist")
#: Pages that the sample takes: one for each of OWN_PAGES but settings and checklist, which take 2.
EXPECTED = {"A4": 9, "Letter": 9}


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driven() as browser:
        yield browser


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("sheet") / "operator-sheet.html"
    made.write_text(page(), "utf-8")
    return made


@pytest.fixture
def sheet(chromium: Browser, file: Path) -> Iterator[Page]:
    yield from opened(chromium, file)


def opened(chromium: Browser, file: Path, **options: Any) -> Iterator[Page]:
    """The page, and that it runs without a word in the console and asks for nothing."""
    context = chromium.new_context(viewport={"width": 1100, "height": 900}, **options)
    made = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    made.on("request", lambda r: asked.append(r.url))
    made.on("console", lambda m: said.append(m.text))
    made.on("pageerror", lambda e: said.append(str(e)))
    made.on("dialog", lambda d: said.append(d.message) or d.dismiss())
    made.goto(file.as_uri())
    yield made
    context.close()
    assert asked == [file.as_uri()]
    assert said == []


def viewer(sheet: Page, number: int = 1) -> Locator:
    return sheet.locator(".viewer").nth(number - 1)


# ------------------------------------------------------------------------------------ controls


def test_the_order_is_stepped_through_still_by_still(sheet: Page) -> None:
    view = viewer(sheet)
    said, forth, back = view.locator("output"), view.get_by_text("Next"), view.get_by_text("Back")
    assert said.text_content() == "The whole sheet"
    assert back.is_disabled()
    program = sample()[1][0]
    order = list(dict.fromkeys((c.copy, c.contour) for c in program.cuts))
    numbers = {p.copy.name: k for k, p in enumerate(program.sheet.placements, 1)}
    for k, (copy, contour) in enumerate(order, 1):
        forth.click()
        what = contour.replace(":", " ")
        told = f"{k} of {len(order)}: {what} of piece {numbers[copy]}, {copy}"
        assert said.text_content() == told
        now = view.locator(".now").evaluate_all("all => all.map(e => e.dataset.step)")
        assert set(now) == {str(k)}
        to_come = view.locator(".to-come").evaluate_all("all => all.map(e => e.dataset.step)")
        assert set(to_come) == {str(n) for n in range(k + 1, len(order) + 1)}
    assert forth.is_disabled()
    back.click()
    assert said.text_content().startswith(f"{len(order) - 1} of ")  # type: ignore[union-attr]
    view.get_by_text("Whole sheet").click()
    assert view.locator(".now, .to-come").count() == 0


def test_the_slider_goes_to_any_still(sheet: Page) -> None:
    view = viewer(sheet)
    view.get_by_role("slider").fill("5")
    assert view.locator("output").text_content().startswith("5 of 12: ")  # type: ignore[union-attr]
    view.get_by_role("slider").press("ArrowLeft")
    assert view.locator("output").text_content().startswith("4 of 12: ")  # type: ignore[union-attr]
    assert viewer(sheet, 2).locator("output").text_content() == "The whole sheet"


def test_what_is_to_come_is_paler(sheet: Page) -> None:
    view = viewer(sheet)
    line = view.locator(".line[data-step='12']").first
    before = line.evaluate("e => getComputedStyle(e).stroke")
    view.get_by_text("Next").click()
    after = line.evaluate("e => getComputedStyle(e).stroke")
    ink = view.locator(".line.now").first.evaluate("e => getComputedStyle(e).stroke")
    pale, usual, now = (sum(map(int, re.findall(r"\d+", c))) for c in (after, before, ink))
    assert pale > usual > now


def test_it_zooms_about_the_middle(sheet: Page) -> None:
    view = viewer(sheet)
    picture, frame = view.locator(".picture"), view.locator(".frame")
    wide = picture.bounding_box()["width"]  # type: ignore[index]
    tall = frame.bounding_box()["height"]  # type: ignore[index]
    for _ in range(3):
        view.get_by_label("Larger").click()
    assert picture.bounding_box()["width"] == pytest.approx(1.5**3 * wide, rel=0.01)  # type: ignore[index]
    assert frame.bounding_box()["height"] == pytest.approx(tall, abs=2)  # type: ignore[index]
    middle = frame.evaluate("f => (f.scrollLeft + f.clientWidth / 2) / f.scrollWidth")
    assert middle == pytest.approx(0.5, abs=0.01)
    assert sheet.evaluate("document.documentElement.scrollWidth <= innerWidth")
    view.get_by_text("Fit", exact=True).click()
    assert picture.bounding_box()["width"] == pytest.approx(wide, abs=1)  # type: ignore[index]


def test_all_of_it_works_by_keyboard(sheet: Page) -> None:
    view = viewer(sheet)
    frame = view.locator(".frame")
    frame.focus()
    sheet.keyboard.press("n")
    sheet.keyboard.press("n")
    sheet.keyboard.press("b")
    assert view.locator("output").text_content().startswith("1 of 12: ")  # type: ignore[union-attr]
    wide = view.locator(".picture").bounding_box()["width"]  # type: ignore[index]
    sheet.keyboard.press("+")
    assert view.locator(".picture").bounding_box()["width"] > 1.4 * wide  # type: ignore[index]
    sheet.keyboard.press("0")
    reached = []
    view.get_by_label("Larger").focus()
    for _ in range(8):
        reached.append(
            sheet.evaluate("document.activeElement.dataset.do || document.activeElement.tagName")
        )
        sheet.keyboard.press("Tab")
    assert reached == ["larger", "whole", "back", "INPUT", "on", "all", "DIV", "SUMMARY"]
    box = sheet.get_by_role("checkbox").first
    box.focus()
    sheet.keyboard.press("Space")
    assert box.is_checked()


def test_without_script_the_whole_sheet_is_told(chromium: Browser, file: Path) -> None:
    for shown in opened(chromium, file, java_script_enabled=False):
        assert viewer(shown).locator(".picture").is_visible()
        assert not viewer(shown).locator(".controls").is_visible()
        viewer(shown).locator("summary").click()
        assert viewer(shown).locator(".in-words li").count() == 12


def test_it_follows_dark_and_light(sheet: Page) -> None:
    grounds = {}
    for scheme in ("light", "dark"):
        sheet.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        grounds[scheme] = sheet.evaluate(
            "getComputedStyle(document.documentElement).backgroundColor"
        )
    light, dark = (sum(map(int, re.findall(r"\d+", grounds[s]))) for s in ("light", "dark"))
    assert light > 600
    assert dark < 150


def test_a_hostile_name_is_text(chromium: Browser, tmp_path: Path) -> None:
    name = "<img src=x onerror=alert(1)>"
    made = tmp_path / "operator-sheet.html"
    for hostile in (name, HOSTILE):
        made.write_text(page(hostile, hostile), "utf-8")
        for shown in opened(chromium, made):
            assert shown.locator("img").count() == 0
            assert shown.locator("h1").text_content().startswith(name)  # type: ignore[union-attr]
            view = viewer(shown, 3)
            view.get_by_text("Next").click()
            assert name in view.locator("output").text_content()  # type: ignore[operator]


# ------------------------------------------------------------------------------------ print


@pytest.fixture(params=sorted(EXPECTED))
def printed(request: pytest.FixtureRequest, sheet: Page) -> tuple[str, pdfium.PdfDocument, Page]:
    """As printed with a view zoomed and stepped: nothing of that is printed."""
    view = viewer(sheet)
    view.get_by_text("Next").click()
    view.get_by_label("Larger").click()
    return request.param, pdfium.PdfDocument(sheet.pdf(format=request.param)), sheet


def texts(document: pdfium.PdfDocument) -> list[str]:
    return [page.get_textpage().get_text_range() for page in document]


def squeezed(text: str) -> str:
    """Without white space, hyphens and what no font has: how a line breaks is no matter."""
    return re.sub(r"[\s\u00ad\ufffe\u25b3-]+", "", text).casefold()


def test_it_prints_on_so_many_pages(printed: tuple[str, pdfium.PdfDocument, Page]) -> None:
    paper, document, _ = printed
    assert len(document) == EXPECTED[paper]
    told = [squeezed(t) for t in texts(document)]
    assert squeezed(OWN_PAGES[0]) in told[0]
    for part in OWN_PAGES[1:]:
        assert sum(t.startswith(squeezed(part)) for t in told) == 1, part


def test_no_word_is_clipped_in_print(printed: tuple[str, pdfium.PdfDocument, Page]) -> None:
    _, document, sheet = printed
    sheet.emulate_media(media="print")
    words = sheet.locator("body").inner_text()
    sheet.emulate_media(media="screen")
    whole = squeezed("".join(texts(document)))
    for line in words.splitlines():
        assert squeezed(line) in whole, line
    for page_ in document:
        text = page_.get_textpage()
        width, height = page_.get_size()
        for k in range(text.count_chars()):
            x0, y0, x1, y1 = text.get_charbox(k)
            if x1 > x0:
                assert x0 >= 36, text.get_text_range(k, 30)
                assert x1 <= width - 36, text.get_text_range(k, 30)
                assert y0 >= 30
                assert y1 <= height - 30


def test_no_heading_stands_alone_at_the_foot(
    printed: tuple[str, pdfium.PdfDocument, Page],
) -> None:
    _, document, sheet = printed
    headings = [h.strip() for h in sheet.locator("h2, h3, caption").all_inner_texts()]
    for text in texts(document):
        last = text.strip().splitlines()[-1].strip()
        assert last not in headings


def test_print_is_black_on_white(printed: tuple[str, pdfium.PdfDocument, Page]) -> None:
    """Also from a dark screen; what is coloured stays dark enough for grey (see the contrasts)."""
    _, _, sheet = printed
    sheet.emulate_media(color_scheme="dark")
    document = pdfium.PdfDocument(sheet.pdf(format="A4"))
    for page_ in document:
        image = page_.render(scale=0.5).to_numpy()
        assert (image > 200).mean() > 0.8  # white paper
        assert image.min() < 120


@pytest.mark.parametrize("example", ["heron"], indirect=True)
def test_a_real_job_prints_whole(chromium: Browser, example: ExampleCut) -> None:
    """Six sheets of the example: no word clipped, no heading alone, each sheet at a page's head."""
    file = example.out / "operator-sheet.html"
    for shown in opened(chromium, file):
        for paper in EXPECTED:
            document = pdfium.PdfDocument(shown.pdf(format=paper))
            told = [squeezed(t) for t in texts(document)]
            for number in range(1, 7):
                assert sum(t.startswith(f"sheet{number}") for t in told) == 1
            headings = {squeezed(h) for h in shown.locator("h2, h3, caption").all_inner_texts()}
            assert not [t for t in texts(document) if squeezed(t.splitlines()[-1]) in headings]
            shown.emulate_media(media="print")
            lines = shown.locator("body").inner_text().splitlines()
            shown.emulate_media(media="null")
            assert [line for line in lines if squeezed(line) not in "".join(told)] == []


# ------------------------------------------------------------------------------------ for everyone


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault(sheet: Page, scheme: str) -> None:
    source = axe()
    sheet.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    viewer(sheet).get_by_text("Next").click()
    viewer(sheet).locator("summary").click()
    sheet.evaluate(source)
    found = sheet.evaluate("axe.run(document, {resultTypes: ['violations']})")
    bad = [
        (v["id"], v["help"], [n["html"][:120] for n in v["nodes"]][:3])
        for v in found["violations"]
        if v["impact"] in SERIOUS
    ]
    assert bad == []
