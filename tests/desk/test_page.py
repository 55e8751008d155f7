"""The page driven in a browser as a maker would: bring, choose, be refused, download, verify."""

from __future__ import annotations

import contextlib
import re
import threading
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.desk import server

from ..browser import axe, driven
from .heron import HERON, SQUARES

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

#: A layout search and a cut on a busy machine, ms.
PATIENCE = 90_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driven() as started:
        yield started


@pytest.fixture
def desk() -> Iterator[str]:
    """A running desk's address."""
    opened = threading.Event()
    addresses: list[str] = []

    def tell(address: str) -> None:
        addresses.append(address)
        opened.set()

    running = threading.Thread(target=server.serve, args=(0, tell), daemon=True)
    running.start()
    assert opened.wait(20)
    yield addresses[0]
    origin = addresses[0].rsplit("/", 2)[0]
    headers = {"Origin": origin}
    call = urllib.request.Request(f"{addresses[0]}close", b"{}", headers, method="POST")
    with contextlib.suppress(OSError):  # the page may have closed it
        urllib.request.urlopen(call, timeout=10).close()
    running.join(20)
    assert not running.is_alive()


@pytest.fixture
def page(chromium: Browser, desk: str) -> Iterator[Page]:
    """The desk's page; fails on any error in it and on any request that leaves the desk."""
    context = chromium.new_context(viewport={"width": 1300, "height": 900})
    made = context.new_page()
    made.set_default_timeout(20_000)
    wrong: list[str] = []
    made.on("pageerror", lambda e: wrong.append(str(e)))
    made.on("console", lambda m: wrong.append(m.text) if m.type in ("error", "warning") else None)
    made.on("request", lambda r: None if r.url.startswith(desk) else wrong.append(r.url))
    made.goto(desk)
    status(made, "The desk is empty")
    yield made
    assert not wrong
    context.close()


def status(page: Page, words: str) -> None:
    from playwright.sync_api import expect

    expect(page.locator("#status")).to_have_text(re.compile(words), timeout=PATIENCE)


def test_the_heron_from_a_drawing_to_proven_files(page: Page, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    page.set_input_files("#files", HERON / "heron.svg")
    status(page, "14 things still to choose")
    assert page.locator("#cards h3").all_text_contents()[:3] == ["sole", "upper", "leg"]
    page.select_option("#job-machine", "flatbed-knife-1200")
    page.select_option("#job-material", "fleece-2mm")
    status(page, "1 sheet, ready")
    page.get_by_label("Size", exact=True).select_option("factor")
    page.get_by_label("Times").fill("0.9")
    page.get_by_label("Times").press("Tab")
    page.get_by_role("button", name="A pair").first.click()
    page.locator("#piece-6-material").select_option("card-1mm")
    page.locator("#piece-6-machine").select_option("desk-laser-600")
    status(page, "2 sheets, ready")
    assert "a left and a right" in page.locator(".card").first.inner_text()

    page.locator("#piece-0-material").select_option("faux-fur-long-pile")
    page.locator("#piece-0-machine").select_option("desk-laser-600")
    status(page, "stop it")
    told = page.locator("#told")
    assert "forbidden" in told.inner_text()
    assert "Hazard" in told.inner_text()
    assert page.locator(".card.refused h3").all_text_contents() == ["sole"]
    told.get_by_role("link", name="sole").first.click()
    expect(page.locator("#piece-0-name")).to_be_in_viewport()
    assert page.locator("#cut").is_disabled()
    page.locator("#piece-0-material").select_option("fleece-2mm")
    page.locator("#piece-0-machine").select_option("")
    status(page, "2 sheets, ready")

    with page.expect_download(timeout=PATIENCE) as downloading:
        page.locator("#cut").click()
    assert downloading.value.suggested_filename == "heron.zip"
    downloading.value.save_as(tmp_path / "heron.zip")
    assert "Made, read back and proven" in page.locator("#made").inner_text()
    with zipfile.ZipFile(tmp_path / "heron.zip") as packed:
        packed.extractall(tmp_path)
    proof, findings = pipeline.verify_folder(tmp_path / "heron" / "cut-files")
    assert proof.passed, [f.line() for f in findings]
    words = ["cut", str(tmp_path / "heron" / "job.toml"), "--out", str(tmp_path / "again")]
    ran = CliRunner().invoke(main, words)
    assert ran.exit_code == 0, ran.stderr
    for file in (tmp_path / "heron" / "cut-files").iterdir():
        assert file.read_bytes() == (tmp_path / "again" / file.name).read_bytes(), file.name


def test_seams_allowance_and_names_by_keyboard(page: Page, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    drawing = tmp_path / "squares.svg"
    drawing.write_bytes(SQUARES)
    page.set_input_files("#files", drawing)
    status(page, "still to choose")
    page.get_by_label("Machine", exact=True).first.focus()
    page.keyboard.type("Flatbed")
    page.keyboard.press("Tab")
    page.select_option("#job-material", "fleece-2mm")
    status(page, "1 sheet")
    page.locator("#piece-0-name").fill('a "front"')
    page.locator("#piece-0-name").press("Tab")
    page.locator("#piece-0-drawn").select_option("stitch-line")
    page.locator("#piece-0-allowance").fill("1/4 in")
    page.locator("#piece-0-allowance").press("Tab")
    status(page, "1 sheet")
    page.get_by_text("Sew two edges together").click()
    page.locator("#second-edge-piece").select_option("two")
    page.locator("#seam-name").fill("side")
    page.locator("#add-seam").click()
    status(page, "stops? it")  # 80 mm and 60 mm
    row = page.locator("#seam-table tbody tr")
    assert "differ by 20" in row.inner_text()
    assert 'a "front"' in row.inner_text()
    page.get_by_label("Ease of side").fill("20 mm")
    page.get_by_label("Ease of side").press("Tab")
    status(page, "1 sheet, ready")
    expect(page.get_by_label("side must close flat")).to_be_focused()
    assert "1-to-2 to two, 1-to-2" in page.locator(".card").first.inner_text()
    text = page.locator("#text").text_content() or ""
    assert 'joins = ["a \\"front\\".1-to-2", "two.1-to-2"]' in text
    page.get_by_role("button", name="Leave this piece out").first.click()
    status(page, "1 sheet, ready")
    assert page.locator("#seam-table tbody tr").count() == 0
    page.get_by_role("button", name="Add one").click()
    status(page, "1 thing still to choose")


def test_hostile_words_stay_words(page: Page, tmp_path: Path) -> None:
    words = "<img src=x onerror=alert(1)>"
    drawing = tmp_path / "<img src=x onerror=alert(1)>.svg"
    held = f"<title>{words.replace('<', '&lt;')}</title></rect>".encode()
    drawing.write_bytes(SQUARES.replace(b'id="one" ', b"", 1).replace(b"/>", b">" + held, 1))
    page.set_input_files("#files", drawing)
    status(page, "still to choose")
    page.locator("#piece-0-name").fill(words)
    page.locator("#piece-0-name").press("Tab")
    page.locator("#job-name").fill(words)
    page.locator("#job-name").press("Tab")
    page.select_option("#job-machine", "flatbed-knife-1200")
    page.select_option("#job-material", "fleece-2mm")
    status(page, "1 sheet, ready")
    assert page.locator(".card h3").first.text_content() == words
    assert page.locator("img").count() == 0


def test_a_reload_finds_the_desk_as_it_was_and_closing_closes(page: Page, tmp_path: Path) -> None:
    drawing = tmp_path / "squares.svg"
    drawing.write_bytes(SQUARES)
    page.set_input_files("#files", drawing)
    status(page, "4 things still to choose")
    page.reload()
    status(page, "4 things still to choose")
    page.on("dialog", lambda d: d.accept())
    page.locator("#close").click()
    page.get_by_text("The desk is closed").wait_for()


@pytest.mark.parametrize(("scheme", "width"), [("light", 1300), ("dark", 400)])
def test_axe_finds_nothing_and_nothing_stands_out_of_a_small_screen(
    chromium: Browser, desk: str, scheme: Literal["light", "dark"], width: int
) -> None:
    """The page's policy lets no script in from outside, so it is set aside here, and only here."""
    source = axe()
    context = chromium.new_context(
        bypass_csp=True, viewport={"width": width, "height": 800}, color_scheme=scheme
    )
    page = context.new_page()
    page.goto(desk)
    status(page, "The desk is empty")
    faults = violations(page, source)
    page.set_input_files("#files", list(server.with_its_drawings(HERON / "job.toml")))
    status(page, "sheets, ready")
    for summary in page.locator("summary").all():
        if summary.is_visible():
            summary.click()
    faults += violations(page, source)
    page.locator("#piece-0-machine").select_option("desk-laser-600")
    page.locator("#piece-3-machine").select_option("desk-laser-600")
    status(page, "stop")
    faults += violations(page, source)
    assert not faults
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    context.close()


def violations(page: Page, source: str) -> list[tuple[str, str, list[str]]]:
    """What axe-core, run in the page, holds against it: any of its rules, of any weight."""
    page.evaluate(source)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        (v["id"], v["help"], [n["html"][:120] for n in v["nodes"]][:3]) for v in found["violations"]
    ]
