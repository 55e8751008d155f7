"""The table: bringing, checking and cutting, without a server."""

from __future__ import annotations

import io
import json
import re
import tempfile
import zipfile
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright import pipeline
from foamwright.cli import main
from foamwright.desk import server
from foamwright.desk.brought import Unwelcome
from foamwright.desk.cards import (
    Cards,
    HeadCard,
    PermitCard,
    PieceCard,
    SeamCard,
    SizeCard,
    StockCard,
)
from foamwright.desk.server import with_its_drawings
from foamwright.desk.work import Stale, Table
from foamwright.findings import Refused

from .heron import DRAWING, HERON, JOB, SQUARES, heron_table, squares_table


def change(table: Table, number: int, **values: Any) -> None:
    cards = table.cards()
    pieces = list(cards.pieces)
    pieces[number] = pieces[number].model_copy(update=values)
    table.set_cards(cards.model_copy(update={"pieces": tuple(pieces)}))


def codes(told: dict[str, Any], severity: str = "fault") -> set[str]:
    return {f["code"] for f in told["findings"] if f["severity"] == severity}


def test_a_drawing_becomes_cards_with_everything_still_to_choose(tmp_path: Path) -> None:
    table = Table(tmp_path)
    told = table.bring("Heron.SVG", DRAWING)
    names = [p["name"] for p in told["cards"]["pieces"]]
    assert names == ["sole", "upper", "leg", "core", "crest", "neck-band", "gauge"]
    sole = told["pieces"]["Heron.svg#sole"]
    assert sole["across_mm"] == pytest.approx(151.3, abs=0.1)
    assert sole["openings"] == ["rod-hole"]
    assert sole["picture"].startswith("<svg")
    checked = table.check()
    assert len(checked["missing"]) == 14  # a material and a machine for each of seven
    assert not checked["ready"]
    assert not checked["findings"]


def test_the_whole_example_is_checked_with_its_layout_and_seams(tmp_path: Path) -> None:
    told = heron_table(tmp_path).check()
    assert told["ready"], told["findings"]
    assert [s["number"] for s in told["sheets"]] == [1, 2, 3, 4, 5, 6]
    shipped = json.loads((HERON / "heron-legs.layout.json").read_text("utf-8"))
    kept = json.loads((tmp_path / "job" / "heron-legs.layout.json").read_text("utf-8"))
    assert kept == shipped
    ankle = told["seams"][0]
    assert ankle["matches"]
    assert ankle["lengths_mm"] == pytest.approx([114.3, 114.3], abs=0.01)
    assert told["sheets"][1]["picture"].count('class="piece"') == 4
    pictures = [x["picture"] for x in (*told["sheets"], *told["pieces"].values())]
    drawn = {w for p in pictures for c in re.findall(r'class="([^"]*)"', p) for w in c.split()}
    style = (Path(server.__file__).parent / "page" / "desk.css").read_text("utf-8")
    plain = {"corners", "grain"}  # groups and names beside a style of its own
    assert {w for w in drawn if not re.search(rf"\.{w}\b", style)} <= plain
    assert codes(told, "warning") == {"S004"}
    assert {"sole"} == {c for f in told["findings"] if f["code"] == "A305" for c in f["cards"]}


def test_faults_are_told_on_their_cards_and_seams_all_the_same(tmp_path: Path) -> None:
    table = heron_table(tmp_path)
    change(table, 1, allowance={"default": "six"})
    told = table.check()
    assert codes(told) == {"J505"}
    fault = told["findings"][0]
    assert fault["cards"] == ["upper"]
    assert fault["line"] is not None
    change(table, 1, allowance={"default": "6 mm"})
    change(table, 0, material="card-1mm")  # no flatbed knife has settings for card
    told = table.check()
    assert codes(told) == {"J514"}
    assert "sole" in told["findings"][0]["cards"]
    assert len(told["seams"]) == 2


def test_a_forbidden_pair_is_refused_and_makes_nothing(tmp_path: Path) -> None:
    table = squares_table(tmp_path, "faux-fur-long-pile", "desk-laser-600")
    told = table.check()
    assert "S001" in codes(told)
    hazard = next(f for f in told["findings"] if f["code"] == "S001")
    assert hazard["cards"] == ["one", "two"]
    assert not told["sheets"]
    made = table.cut()
    assert made["made"] is None
    assert "S001" in codes(made)
    assert table.made is None


def test_foam_on_a_laser_wants_the_sites_permit(tmp_path: Path) -> None:
    table = squares_table(tmp_path, "pu-foam-12mm", "desk-laser-600")
    assert codes(table.check()) == {"S002"}
    permit = PermitCard(
        material="pu-foam-12mm",
        machine="desk-laser-600",
        issued_by="Site safety officer",
        reference="RA-17",
        date="2020-01-02",
    )
    table.set_cards(table.cards().model_copy(update={"permits": (permit,)}))
    told = table.check()
    assert told["ready"]
    assert "S005" in codes(told, "note")


def test_the_zip_holds_the_job_and_what_the_command_makes_of_it(tmp_path: Path) -> None:
    (tmp_path / "desk").mkdir()
    table = squares_table(tmp_path / "desk")
    change(
        table, 1, count=2, mirrored=1, material="stabilised-cotton", machine="roll-drag-knife-600"
    )
    size = SizeCard(kind="factor", factor=0.9)
    cards = table.cards()
    table.set_cards(cards.model_copy(update={"head": cards.head.model_copy(update={"size": size})}))
    assert table.check()["ready"]
    told = table.cut()
    assert told["made"] == "squares.zip"
    assert told["proof"]["passed"]
    assert table.made is not None
    with zipfile.ZipFile(io.BytesIO(table.made.data)) as packed:
        packed.extractall(tmp_path / "out")
    home = tmp_path / "out" / "squares"
    assert {f.name for f in home.iterdir()} == {
        "job.toml",
        "squares.svg",
        "squares.layout.json",
        "cut-files",
    }
    proof, findings = pipeline.verify_folder(home / "cut-files")
    assert proof.passed, [f.line() for f in findings]
    ran = CliRunner().invoke(main, ["cut", str(home / "job.toml"), "--out", str(tmp_path / "cut")])
    assert ran.exit_code == 0, ran.stderr
    assert contents(tmp_path / "cut") == contents(home / "cut-files")
    first = table.made.data
    table.cut()
    assert table.made.data == first


def contents(folder: Path) -> dict[str, bytes]:
    return {f.name: f.read_bytes() for f in sorted(folder.iterdir())}


def test_a_zip_comes_back_to_the_desk(tmp_path: Path) -> None:
    for name in "ab":
        (tmp_path / name).mkdir()
    table = squares_table(tmp_path / "a")
    change(table, 0, name="a square", count=2, mirrored=2)
    assert table.check()["ready"]
    kept = table.job_zip()
    assert kept.name == "squares-job.zip"
    again = Table(tmp_path / "b")
    again.bring(kept.name, kept.data)
    assert again.cards() == table.cards()
    assert again.job_zip() == kept


def test_a_changed_card_makes_the_zip_stale(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    assert table.cut()["made"] == "squares.zip"
    table.set_cards(table.cards())
    assert table.made is not None
    change(table, 0, count=3)
    assert table.made is None


def test_a_drawing_without_a_unit_asks_and_then_has_cards(tmp_path: Path) -> None:
    import ezdxf

    doc = ezdxf.new("R2000")
    doc.units = 0
    square = [(0, 0), (4, 0), (4, 4), (0, 4)]
    doc.modelspace().add_lwpolyline(square, close=True)
    doc.saveas(tmp_path / "plate.dxf")
    (tmp_path / "desk").mkdir()
    table = Table(tmp_path / "desk")
    table.bring("plate.dxf", (tmp_path / "plate.dxf").read_bytes())
    told = table.check()
    assert codes(told) == {"R302"}
    cards = table.cards()
    assert not cards.pieces
    head = cards.head.model_copy(update={"drawing_units": "in"})
    table.set_cards(cards.model_copy(update={"head": head}))
    told = table.check()
    (piece,) = told["pieces"].values()
    assert piece["across_mm"] == pytest.approx(101.6)


def test_a_drawing_brought_again_is_read_again(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    assert table.check()["pieces"]["squares.svg#one"]["across_mm"] == pytest.approx(80)
    wider = SQUARES.replace(b'width="80" height="80"', b'width="90" height="80"')
    told = table.bring("squares.svg", wider)
    assert told["pieces"]["squares.svg#one"]["across_mm"] == pytest.approx(90)
    assert [p["name"] for p in told["cards"]["pieces"]] == ["one", "two"]
    more = SQUARES.replace(b"</svg>", b'<rect id="three" width="5" height="5"/></svg>')
    assert table.bring("squares.svg", more)["others"] == ["squares.svg#three"]


WORDS = st.one_of(
    st.sampled_from(
        (
            *("", "one", "two", "a.b", "x/y", "squares.svg#one", "../../x.svg#q", "draft#a"),
            *("card-1mm", "desk-laser-600", "6 mm", "-1", "1e999", "nan", "default"),
            *("one.1-to-2", "\0", "\n", '"'),
        )
    ),
    st.text(max_size=9),
)
ANY_CARDS = st.builds(
    Cards,
    head=st.builds(
        HeadCard,
        name=WORDS,
        units=WORDS,
        machine=WORDS,
        drawing_units=WORDS,
        size=st.builds(SizeCard, kind=st.sampled_from(["factor", "fit", "kept"]), to=WORDS),
    ),
    pieces=st.lists(
        st.builds(
            PieceCard,
            was=st.sampled_from(["", "one", "two"]),
            name=WORDS,
            outline=WORDS,
            material=WORDS,
            allowance=st.dictionaries(WORDS, WORDS, max_size=2),
            edges=st.dictionaries(WORDS, st.tuples(WORDS, WORDS), max_size=2),
        ),
        max_size=3,
    ).map(tuple),
    seams=st.lists(
        st.builds(SeamCard, was=WORDS, name=WORDS, joins=st.tuples(WORDS, WORDS)), max_size=2
    ).map(tuple),
    permits=st.lists(st.builds(PermitCard, material=WORDS, date=WORDS), max_size=1).map(tuple),
    stock=st.lists(st.builds(StockCard, material=WORDS, width=WORDS), max_size=1).map(tuple),
)


@settings(deadline=None, max_examples=15, derandomize=True)
@given(ANY_CARDS, ANY_CARDS)
def test_no_cards_make_the_desk_fail(first: Cards, second: Cards) -> None:
    """Whatever stands on them is told as a fault, twice in a row."""
    with tempfile.TemporaryDirectory() as folder:
        table = squares_table(Path(folder))
        for cards in (first, second):
            table.set_cards(cards)
            told = table.check(seconds=0)
            assert told["missing"] or told["findings"]


def test_two_drawings_with_pieces_of_one_name(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    told = table.bring("more.svg", SQUARES)
    names = [p["name"] for p in told["cards"]["pieces"]]
    assert names[:2] == ["one", "two"]
    assert len({n.lower() for n in names}) == 4


def test_a_job_that_reaches_beyond_the_desk_is_told_and_not_followed(tmp_path: Path) -> None:
    table = Table(tmp_path)
    text = JOB.decode().replace("heron.svg#sole", "/etc/heron.svg#sole")
    text = text.replace('"pu-foam-25mm"', '"/etc/foam.toml"')
    told = table.bring("job.toml", text.encode())
    assert told["cards"]["pieces"][0]["outline"] == "heron.svg#sole"
    found = table.check()
    assert codes(found) == {"R001", "J511"}
    table.bring("heron.svg", DRAWING)
    assert codes(table.check()) == {"J511"}


def test_a_faulty_job_leaves_the_table_as_it_was(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    before = table.cards()
    with pytest.raises(Refused) as stop:
        table.bring("job.toml", b'schema = 1\n[job]\nnam = "x"\n')
    assert {f.code for f in stop.value.findings} >= {"J503", "J504"}
    with pytest.raises(Unwelcome, match="UTF-8"):
        table.bring("job.toml", b"\xff\xfe")
    assert table.cards() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["job"]


def test_too_many_pieces(tmp_path: Path) -> None:
    rects = "".join(f'<rect x="{9 * n}" width="5" height="5"/>' for n in range(501))
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="9in" height="1in">{rects}</svg>'
    with pytest.raises(Unwelcome, match="501 pieces"):
        Table(tmp_path).bring("many.svg", svg.encode())


def test_an_unreadable_drawing_is_told(tmp_path: Path) -> None:
    table = Table(tmp_path)
    table.bring("broken.svg", b"<svg")
    told = table.check()
    assert told["missing"] == ["bring a drawing with at least one closed outline"]
    assert codes(told) == {"R201"}


def test_undo_brings_back_what_a_piece_that_was_left_out_had(tmp_path: Path) -> None:
    table = heron_table(tmp_path)
    before = table.text
    cards = table.cards()
    table.set_cards(cards.model_copy(update={"pieces": cards.pieces[1:]}))
    change(table, 0, count=4)
    assert table.undo()["undo"]
    told = table.undo()
    assert table.text == before
    assert told["cards"]["pieces"][0]["also"] == ["1 notch", "1 mark", "keeps rod-hole as drawn"]
    while table.state()["undo"]:
        table.undo()
    assert table.undo()["text"] is None


def test_cards_of_an_earlier_job_change_nothing(tmp_path: Path) -> None:
    """Two windows of one desk: the one that is behind is told so."""
    table = squares_table(tmp_path)
    edition, cards = table.edition, table.cards()
    change(table, 0, count=2)
    with pytest.raises(Stale, match="another window"):
        table.set_cards(cards, edition)
    assert table.cards().pieces[0].count == 2
    table.set_cards(table.cards(), table.edition)


def test_what_is_cut_by_hand_has_a_paper_pattern_and_no_sheet(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    change(table, 0, machine="hand-cutting")
    told = table.check()
    assert [s["pieces"] for s in told["sheets"]] == [["two/drawn/1"]]
    assert {c for f in told["findings"] if f["code"] == "J552" for c in f["cards"]} == {"one"}
    change(table, 1, machine="hand-cutting")
    told = table.check()
    assert codes(told) == {"J552"}
    assert told["findings"][0]["cards"] == ["one", "two"]
    made = table.paper("a4")
    assert made["made"] == "squares-a4.pdf"
    assert made["pages"] >= 2
    assert table.pattern is not None
    assert table.pattern.data.startswith(b"%PDF")


@pytest.mark.parametrize(
    "name", sorted(p.name for p in HERON.parent.iterdir() if p.is_dir() and p != HERON)
)
def test_the_other_examples_lie_on_the_desk_too(tmp_path: Path, name: str) -> None:
    """Drafts from measures, fur laid face down, several sizes."""
    table = Table(tmp_path)
    for file in with_its_drawings(HERON.parent / name / "job.toml"):
        table.bring(file.name, file.read_bytes())
    told = table.check()
    assert told["ready"], [f for f in told["findings"] if f["severity"] == "fault"]
    drawn = {p["outline"] for p in told["cards"]["pieces"]} - {""}
    assert told["pieces"].keys() == drawn
    assert told["sheets"]
    shipped = json.loads(next((HERON.parent / name).glob("*.layout.json")).read_text("utf-8"))
    (kept,) = (tmp_path / "job").glob("*.layout.json")
    assert json.loads(kept.read_text("utf-8")) == shipped


def test_stock_with_prices_stands_by_a_change_of_material(tmp_path: Path) -> None:
    stock = """
[[stock]]
material = "card-1mm"
width    = "300 mm"
length   = "200 mm"
price    = 4.5
"""
    job = squares_table(tmp_path).text
    assert job is not None
    table = Table(tmp_path)
    table.bring("squares.svg", SQUARES)
    table.bring("job.toml", (job + stock).encode())
    assert not codes(table.check(), "warning") & {"J553"}
    for number, _ in enumerate(table.cards().pieces):
        change(table, number, material="pu-foam-12mm", machine="flatbed-knife-1200")
    told = table.check()
    assert told["ready"]
    assert "J553" in codes(told, "warning")
    assert "price    = 4.5" in (table.text or "")


OWN = b"""name = "Stiff foam, 12 mm"
based_on = "pu-foam-12mm"
[[stock]]
kind = "sheet"
width = "400 mm"
length = "300 mm"
"""


def test_profiles_of_ones_own_lie_beside_the_job(tmp_path: Path) -> None:
    for name in ("desk", "again"):
        (tmp_path / name).mkdir()
    table = squares_table(tmp_path / "desk")
    told = table.bring("stiff-foam.toml", OWN)
    assert "stiff-foam" in {m["id"] for m in told["shelf"]["materials"]}
    change(table, 0, material="stiff-foam", machine="flatbed-knife-1200")
    told = table.cut()
    assert told["proof"]["passed"]
    assert table.made is not None
    with zipfile.ZipFile(io.BytesIO(table.made.data)) as packed:
        packed.extractall(tmp_path)
    home = tmp_path / "squares"
    assert (home / "profiles" / "materials" / "stiff-foam.toml").read_bytes() == OWN
    ran = CliRunner().invoke(main, ["cut", str(home / "job.toml"), "--out", str(tmp_path / "cut")])
    assert ran.exit_code == 0, ran.stderr
    assert contents(tmp_path / "cut") == contents(home / "cut-files")
    again = Table(tmp_path / "again")
    again.bring("squares.zip", table.made.data)
    assert again.cards() == table.cards()
    assert again.check()["ready"]


def test_a_shops_own_hazard_rules_count(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    assert table.check()["ready"]
    rule = b"""schema = 1
[[rule]]
words = ["card"]
methods = ["laser"]
verdict = "forbidden"
why = "not in this shop"
source = "house rule"
"""
    table.bring("hazards.toml", rule)
    told = table.check()
    assert "S001" in codes(told)
    assert told["shelf"]["pairs"]["card-1mm"]["desk-laser-600"] == "forbidden"


def test_clearing(tmp_path: Path) -> None:
    table = squares_table(tmp_path)
    table.cut()
    told = table.clear()
    assert told["text"] is None
    assert table.made is None
    assert not any(tmp_path.rglob("*.svg"))
    with pytest.raises(Unwelcome, match="bring a drawing first"):
        table.set_cards(Cards.model_validate({"head": {"name": "x"}}))


def test_a_hostile_name_is_only_ever_text(tmp_path: Path) -> None:
    name = "&lt;img src=x onerror=alert(1)&gt;"
    svg = SQUARES.replace(
        b'id="one"', f'id="one"><title>{name}</title></rect><rect id="z"'.encode()
    )
    table = Table(tmp_path)
    told = table.bring("x.svg", svg)
    assert all("<img" not in p["picture"] for p in told["pieces"].values())
