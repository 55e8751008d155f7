"""The pattern on paper, measured by another reader (pypdfium2) and joined as a person would.

Two pages are joined by the lettered rings that both show, and by nothing else; what the joined
pages show is then compared with the drafted piece.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from click.testing import CliRunner

from foamwright import finishing, pipeline
from foamwright.asked import Noticed, Request
from foamwright.checking import check_patterns
from foamwright.cli import main
from foamwright.findings import Refused
from foamwright.papering import PAGES_MOST, count_words, draw_pieces, find_materials
from foamwright.planning import draft_patterns, load, read_drawings
from foamwright.stages.save.paper_plan import PAPERS, PaperPiece

from ...conftest import EXAMPLES
from ...jobs import job
from .pdf_pages import Page, Stroke, contents_of, metadata_of, pages_of

HERON = EXAMPLES / "heron" / "job.toml"
#: How far what is joined may be off what was drafted, mm.
OFF = 0.05
CUT_WIDTH = 0.4


def drafted(source: Path) -> tuple[PaperPiece, ...]:
    """The pieces as the alterations leave them, before any page is thought of."""
    asked = load(Request.of(source))
    noticed = Noticed()
    drawn = noticed(read_drawings(asked))
    materials = noticed(find_materials(asked))
    drafts = noticed(draft_patterns(asked, drawn, {}))
    seams = noticed(check_patterns(asked, drafts, {})).seams
    return noticed(draw_pieces(asked, drafts, seams, materials))


def written(source: Path, folder: Path, paper: str = "a4") -> bytes:
    file = folder / f"{paper}.pdf"
    pipeline.paper(Request.of(source), paper, file)
    return file.read_bytes()


@pytest.fixture(scope="module", params=sorted(PAPERS))
def paper(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def data(paper: str, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return written(HERON, tmp_path_factory.mktemp("paper"), paper)


@pytest.fixture(scope="module")
def pages(data: bytes) -> list[Page]:
    return pages_of(data)


# ------------------------------------------------------------------------------------ measured


def test_page_boxes_are_the_paper(paper: str, pages: list[Page]) -> None:
    for page in pages:
        for box in page.boxes.values():
            assert box == pytest.approx((0, 0, *PAPERS[paper]), abs=0.001)


def test_every_page_has_both_check_bars(pages: list[Page]) -> None:
    for page in pages:
        for words, length in (("100 mm", 100.0), ("4 in", 4 * 25.4)):
            (at,) = (p for w, p in page.words if w.startswith(f"{words}: measure"))
            bars = [
                s.length
                for s in page.strokes
                if abs(s.points[0] - s.points[-1]) > 90
                and len(s.points) == 2
                and 0 < s.points[0].imag - at.imag < 4
                and s.points[0].imag == pytest.approx(s.points[-1].imag, abs=1e-4)
            ]
            assert bars == [pytest.approx(length, abs=0.005)]


def cut_lines(page: Page) -> list[shapely.Geometry]:
    """What is seen of the cut lines."""
    heavy = (s for s in page.strokes if s.width == pytest.approx(CUT_WIDTH, abs=0.01))
    return [s.seen for s in heavy if not s.seen.is_empty]


def rings(page: Page) -> dict[str, complex]:
    """The middle of each lettered ring."""
    found = {}
    for words, at in page.words:
        if re.fullmatch(r"\d+/\d+[ab]", words.strip()):
            round_ = [
                complex(s.line.centroid.x, s.line.centroid.y)
                for s in page.strokes
                if len(s.points) > 20 and s.length == pytest.approx(6 * 3.14159, abs=0.01)
            ]
            found[words.strip()] = min(round_, key=lambda c: abs(c - at))
    return found


def is_frame(stroke: Stroke) -> bool:
    """Whether it is the dotted line round what a page shows."""
    return stroke.dashed and stroke.width < 0.2


def joined(group: list[Page]) -> list[shapely.Geometry]:
    """The cut lines of pages laid together by their rings, nothing twice."""
    placed = {0: 0j}
    while len(placed) < len(group):
        before = len(placed)
        for i, page in enumerate(group):
            for j in list(placed):
                both = rings(page).keys() & rings(group[j]).keys()
                if i not in placed and both:
                    shifts = [rings(group[j])[k] - rings(page)[k] + placed[j] for k in both]
                    assert max(abs(s - shifts[0]) for s in shifts) < 0.001
                    placed[i] = shifts[0]
        assert len(placed) > before, "a page that joins no other"
    lines: list[shapely.Geometry] = []
    seen = shapely.Polygon()
    for i, by in placed.items():
        (frame,) = (s.line for s in group[i].strokes if is_frame(s))
        here = shapely.affinity.translate(shapely.box(*frame.bounds), by.real, by.imag)
        moved = [shapely.affinity.translate(g, by.real, by.imag) for g in cut_lines(group[i])]
        if lines and moved:  # on the strip that both show they are one and the same
            shared = shapely.unary_union(moved).intersection(seen.intersection(here))
            other = shapely.unary_union(lines).intersection(seen.intersection(here))
            if not shared.is_empty:
                assert shapely.hausdorff_distance(shared, other) < 0.01
        lines += [g.difference(seen) for g in moved]
        seen = seen.union(here)
    return [g for g in lines if not g.is_empty]


def faces_of(lines: list[shapely.Geometry]) -> list[shapely.Polygon]:
    """What the lines enclose, once ends that lie within a hundredth of a millimetre are one."""
    parts = [np.array(p.coords) for g in lines for p in getattr(g, "geoms", [g])]
    ends: list[np.ndarray] = []
    for part in parts:
        for k in (0, -1):
            met = next((e for e in ends if np.hypot(*(e - part[k])) < 0.01), None)
            if met is None:
                ends.append(part[k].copy())
            else:
                part[k] = met
    return list(shapely.polygonize([shapely.LineString(p) for p in parts]).geoms)


def groups(data: bytes) -> Iterator[tuple[list[str], list[Page]]]:
    """Names of pieces with the pages that show them, by the list of contents."""
    pages = pages_of(data)
    contents = contents_of(data)
    ends = [page for _, page in contents[1:]] + [len(pages) + 1]
    for (title, first), end in zip(contents, ends, strict=True):
        if title != "Overview":
            yield title.split(", "), pages[first - 1 : end - 1]


@pytest.mark.parametrize(
    ("name", "papers"),
    [("heron", sorted(PAPERS)), ("otter", ["a4", "letter"]), ("foam-head", ["a4"])],
)
def test_joined_pages_show_the_drafted_pieces(name: str, papers: list[str], tmp_path: Path) -> None:
    source = EXAMPLES / name / "job.toml"
    pieces = {p.name: p.piece for p in drafted(source)}
    for size in papers:
        shown = set()
        for names, group in groups(written(source, tmp_path, size)):
            lines = joined(group)
            faces = faces_of(lines)
            for piece in names:
                shown.add(piece)
                outline, openings = pieces[piece].outline, pieces[piece].openings
                length = outline.length + sum(o.path.length for o in openings)
                area = outline.area + sum(o.path.area for o in openings)
                best = min(faces, key=lambda f: abs(f.area - area))
                assert best.length == pytest.approx(length, abs=OFF), (piece, size)
                assert best.area == pytest.approx(area, abs=OFF * length), (piece, size)
                slits = sum(s.path.length for s in pieces[piece].slits)
                if len(names) == 1:
                    drawn = sum(g.length for g in lines)
                    assert drawn == pytest.approx(length + slits, abs=OFF), (piece, size)
        assert shown == pieces.keys()


# ------------------------------------------------------------------------------------ what is told


def test_each_piece_tells_what_to_do(tmp_path: Path) -> None:
    told = {
        n: "\n".join(p.text for p in g)
        for names, g in groups(written(HERON, tmp_path))
        for n in names
    }
    for fact in ("sole", "cut 2: a pair", "Polyurethane foam, 25 mm", "no seam allowance", "grain"):
        assert fact in told["sole"]
    for fact in ("cut 2: a pair", "Polyester fleece, 2 mm", "grain and nap", "stretch"):
        assert fact in told["upper"]
    assert "ankle: to leg.bottom" in told["upper"]
    assert "ankle: to upper.ankle" in told["leg"]
    for text in told.values():
        assert "Heron legs, scale 1:1" in text
        assert "The Foamwright examples. Licence: MIT" in text


def test_stitch_folds_and_marks_are_drawn(tmp_path: Path) -> None:
    pieces = {p.name: p for p in drafted(HERON)}
    for names, group in groups(written(HERON, tmp_path)):
        if names == ["upper"]:
            dashed = {round(s.length, 2) for s in group[0].strokes if s.dashed}
            assert round(pieces["upper"].stitches[0].length, 2) in dashed
            assert round(2.2 * 25.4, 2) in dashed  # the instep's fold line, as drawn
        if "sole" in names:
            arms = [s.length for s in group[0].strokes if s.length == pytest.approx(10, abs=0.001)]
            assert len(arms) == 2  # the cross of 10 mm


def test_the_first_page_is_the_overview(tmp_path: Path) -> None:
    data = written(HERON, tmp_path)
    first, *others = pages_of(data)
    assert contents_of(data)[0] == ("Overview", 1)
    for words in ("Heron legs", "piece", "pages", "seam", "ankle", "114.3 / 114.3"):
        assert words in first.text
    numbers = {w for w, _ in first.words if w.isdigit()}
    assert numbers >= {str(n) for n in range(2, len(others) + 2)}  # the map has every page
    for number, page in enumerate(others, 2):
        assert f"page {number} of {len(others) + 1}: " in page.text


def test_the_file_says_whose_it_is(tmp_path: Path) -> None:
    data = written(HERON, tmp_path)
    told = metadata_of(data)
    assert told["Title"] == "Heron legs"
    assert told["Author"] == "The Foamwright examples"
    assert told["Keywords"] == "Licence: MIT"
    assert b"/FontFile2" in data  # letters are embedded
    assert b"/PrintScaling /None" in data


def test_the_same_pattern_gives_the_same_bytes(tmp_path: Path) -> None:
    first = written(HERON, tmp_path)
    assert written(HERON, tmp_path) == first
    assert str(tmp_path).encode() not in first


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((1, 0), "cut 1"),
        ((1, 1), "cut 2: a pair"),
        ((2, 2), "cut 4: 2 pairs"),
        ((0, 1), "cut 1 mirror image"),
        ((3, 1), "cut 3 as drawn and 1 mirror image"),
        ((1, 2), "cut 1 as drawn and 2 mirror images"),
    ],
)
def test_counts_in_words(counts: tuple[int, int], words: str) -> None:
    assert count_words(*counts) == words


def test_many_names_stay_on_one_overview(tmp_path: Path) -> None:
    """Rows that find no room are counted; names of any letters are shown."""
    made = job(tmp_path / "job")
    text = made.file.read_text("utf-8")
    piece = text[text.index("[[piece]]") :]
    names = ["<img src=x onerror=alert(1)>", "Öse", "перо", *(f"part-{k}" for k in range(147))]
    pieces = [piece.replace('name = "plate"', f"name = '{n}'") for n in names]
    made.file.write_text(text[: text.index("[[piece]]")] + "\n".join(pieces), "utf-8")
    pages = pages_of(written(made.file, tmp_path))
    told = re.search(r"and (\d+) more, each named on its page", pages[0].text)
    assert told
    rows = sum(bool(re.fullmatch(r"part-\d+", w)) for w, _ in pages[0].words)
    assert rows + 3 + int(told[1]) == 150
    whole = "\n".join(p.text for p in pages)
    assert names[0] in whole
    assert "Öse" in whole
    for page in pages:
        for word, at in page.words:
            assert 0 < at.real < 210, word
            assert 0 < at.imag < 297, word


def test_only_what_is_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "one.pdf"
    pipeline.paper(Request.of(HERON, only=["sole/mirrored/1"]), "a4", file)
    pages = pages_of(file.read_bytes())
    assert len(pages) == 2
    assert "cut 1 mirror image" in pages[1].text


# ------------------------------------------------------------------------------------ the file


def test_a_stranger_s_file_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "letter.pdf"
    file.write_bytes(b"%PDF-1.4 somebody's")
    ran = CliRunner().invoke(main, ["paper", str(HERON), "--out", str(file)])
    assert ran.exit_code == 1
    assert "W701" in ran.stderr
    assert file.read_bytes() == b"%PDF-1.4 somebody's"


def test_a_failure_leaves_the_last_good_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = written(HERON, tmp_path)

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(finishing.os, "fsync", refuse)
    with pytest.raises(Refused, match="W702"):
        pipeline.paper(Request.of(HERON, only=["sole"]), "a4", tmp_path / "a4.pdf")
    assert (tmp_path / "a4.pdf").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a4.pdf"]


def test_a_pattern_of_too_many_pages_is_refused(tmp_path: Path) -> None:
    drawing = EXAMPLES / "heron" / "heron.svg"
    asked = Request.of(drawing, material="card-1mm", scale=30.0, by_hand=True)
    with pytest.raises(Refused, match=r"W705.* pages of a4") as refused:
        pipeline.paper(asked, "a4", tmp_path / "a4.pdf")
    assert int(re.search(r"take (\d+) pages", str(refused.value))[1]) > PAGES_MOST  # type: ignore[index]
    assert not (tmp_path / "a4.pdf").exists()


def test_faults_of_the_job_are_told_all_at_once(tmp_path: Path) -> None:
    made = job(tmp_path / "job", more='[piece.allowance]\nnowhere = "6 mm"\n', material="no-such")
    ran = CliRunner().invoke(main, ["paper", str(made.file), "--out", str(tmp_path / "x.pdf")])
    assert ran.exit_code == 1
    assert "J511" in ran.stderr
    assert not (tmp_path / "x.pdf").exists()


def test_a_bare_drawing_needs_a_material_and_no_machine(tmp_path: Path) -> None:
    drawing, out = str(EXAMPLES / "owls" / "owl.svg"), tmp_path / "owl.pdf"
    ran = CliRunner().invoke(main, ["paper", drawing, "--out", str(out)])
    assert ran.exit_code == 2
    ran = CliRunner().invoke(
        main, ["paper", drawing, "--material", "card-1mm", "--out", str(out), "--json"]
    )
    assert ran.exit_code == 0, ran.stderr
    assert len(pages_of(out.read_bytes())) == 2
