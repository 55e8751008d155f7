"""A drawing and a job whose every name is an attack, by the command.

What is written bears no name that leaves its folder, breaks a group of a DXF, or runs in a browser,
and the terminal gets no control character.
"""

from __future__ import annotations

import html
import re
from pathlib import Path

import ezdxf
import pytest
from click.testing import CliRunner, Result
from lxml import etree

from foamwright.cli import main

#: Names that leave folders, end a DXF, open an element, turn a terminal, or read backwards.
NAMES = (
    "../../escape",
    "/etc/passwd",
    "a\n  0\nEOF\n  0\nLINE\n  8\nCUT_OUTER",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "\x1b[31mred\x1b]0;title\x07",
    "gpj\u202eexe",
    "CON",
    "${jndi:x}`rm -rf .`",
)
BAD = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def xml_attribute(text: str) -> str:
    """The text as an attribute; what XML can't hold at all is left out."""
    kept = "".join(c for c in text if c in "\n\t" or c >= " ")
    return html.escape(kept).replace("\n", "&#10;")


def hostile_drawing(folder: Path) -> Path:
    """A piece of each name, with an opening and a note of the same name."""
    shapes = []
    for k, name in enumerate(NAMES):
        label = xml_attribute(name)
        shapes.append(
            f'<g data-name="{label}"><rect x="{30 * k}" width="25" height="25"/>'
            f'<circle cx="{30 * k + 12}" cy="12" r="4"><title>{label}</title></circle>'
            f'<text data-role="note" x="{30 * k + 3}" y="20">{label}</text></g>'
        )
    size = 'width="300mm" height="30mm" viewBox="0 0 300 30"'
    file = folder / "x<b>.svg"
    text = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(shapes)}</svg>'
    file.write_text(text, "utf-8")
    return file


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The drawing cut; the output folder and what the command told."""
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "job").mkdir()
    file, out = hostile_drawing(folder / "job"), folder / "out"
    words = ["cut", str(file), "--material", "card-1mm", "--machine", "desk-laser-600"]
    return out, CliRunner().invoke(main, [*words, "--out", str(out), "--layout-time", "1"])


def test_the_drawing_is_cut_and_told_in_plain_lines(run: tuple[Path, Result]) -> None:
    _, told = run
    assert told.exit_code == 0, told.output
    assert not BAD.search(told.output.replace("\n", ""))


def test_nothing_is_written_outside(run: tuple[Path, Result]) -> None:
    out, _ = run
    assert {p.name for p in out.parent.iterdir()} == {"job", "out"}
    assert [p.name for p in (out.parent / "job").iterdir()] == ["x<b>.svg"]
    for name in (p.name for p in out.iterdir()):
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]*", name), name


def test_the_files_hold_what_plain_names_would_give(run: tuple[Path, Result]) -> None:
    """The same layers and kinds of entities, no element that runs, no name that is markup."""
    out, _ = run
    (drawing,) = out.glob("*.dxf")
    space = ezdxf.readfile(drawing).modelspace()
    assert {e.dxftype() for e in space} <= {"POLYLINE", "LWPOLYLINE", "LINE", "ARC", "CIRCLE"}
    assert {e.dxf.layer for e in space} == {"CUT_OUTER", "CUT_INNER"}
    assert len(space) == 2 * len(NAMES)
    pages = [*out.glob("*.svg"), *out.glob("*.html")]
    assert len(pages) == 2
    for file in pages:
        text = file.read_text("utf-8")
        assert not BAD.search(text), file.name
        root = etree.fromstring(text.encode(), etree.HTMLParser())
        assert root.xpath("//iframe|//object|//img[not(starts-with(@src, 'data:'))]") == []
        own = [x for x in root.iter("script") if x.text.startswith('"use strict"')]
        assert len(own) == (file.suffix == ".html")  # the sheet's own, and no other
        assert list(root.iter("script")) == own
        assert "alert(1)" not in "".join(x.text for x in own)
        assert root.xpath("//@*[starts-with(name(), 'on')]") == []
    assert run_again(out).exit_code == 0


def run_again(out: Path) -> Result:
    return CliRunner().invoke(main, ["verify", str(out)])


def test_a_job_s_names_are_refused_all_at_once_with_their_lines(tmp_path: Path) -> None:
    pieces = []
    for k, name in enumerate(NAMES):
        text = "".join(f"\\u{ord(c):04x}" for c in name)
        pieces.append(f'[[piece]]\nname = "{text}"\noutline = "x.svg#{k}"\nmaterial = "card-1mm"')
    head = 'schema = 1\n[job]\nname = "x"\nmachine = "desk-laser-600"\n'
    file = tmp_path / "job.toml"
    file.write_text(head + "\n".join(pieces) + "\n", "utf-8")
    told = CliRunner().invoke(main, ["check", str(file)])
    lines = [x for x in told.output.splitlines() if x.startswith("fault J505 job.toml line ")]
    refused = [n for n in NAMES if BAD.search(n) or "\n" in n or "/" in n or "." in n]
    assert (told.exit_code, len(lines)) == (1, len(refused))
    assert not BAD.search(told.output.replace("\n", ""))
    assert list(tmp_path.iterdir()) == [file]
