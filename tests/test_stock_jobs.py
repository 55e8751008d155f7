"""Jobs with stock of their own and rules of laying, through the whole chain, proven from disk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.findings import Refused
from foamwright.geometry.pathdata import parse_path_data
from foamwright.geometry.region import box, covers, distance, region
from foamwright.record import Record
from foamwright.stages.verify import verify_record
from tests.jobs import PAIRS, Written, job, svg

#: An offcut of card, an L, with a hole in it and a piece of another's outline beside it, mm.
LEFT_OVER = """\
<path id="ell" d="M20 20 H420 V160 H220 V300 H20 Z"/>
<circle id="knot" cx="90" cy="90" r="20"/>"""
ODD = """
[[stock]]
material = "card-1mm"
kind     = "offcut"
name     = "b7"
outline  = "left.svg#ell"
"""


def left_over(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "left.svg").write_text(svg(LEFT_OVER, 450, 320), encoding="utf-8")


def cut(folder: Path, more: str, head: str = "") -> tuple[Record, Path]:
    made = job(folder / "job", more=more, head=head)
    result = pipeline.cut(made.request, folder / "out")
    return result.record, folder / "out"


def outlines(record: Record) -> dict[str, object]:
    return {p.copy_name: region(parse_path_data(p.target)[0]) for p in record.pieces}


def codes(folder: Path, more: str, head: str = "", **options: object) -> list[str]:
    """The faults that the job is refused with; nothing is written."""
    made = job(folder / "job", more=more, head=head)
    request = Request.of(made.file, **{"layout_time": 0, **options})  # type: ignore[arg-type]
    with pytest.raises(Refused) as refused:
        pipeline.cut(request, folder / "out")
    assert not (folder / "out").exists()
    return [f.code for f in refused.value.findings if f.is_fault]


def test_pieces_lie_on_a_drawn_offcut_and_off_its_hole(tmp_path: Path) -> None:
    left_over(tmp_path / "job")
    record, out = cut(tmp_path, f"count = 8\n{ODD}")
    (sheet,) = record.sheets
    assert sheet.stock == "offcut b7"
    assert (sheet.width, sheet.length) == (400, 280)
    ell = region(parse_path_data(sheet.outline)[0])
    knot = region(parse_path_data(sheet.zones[0].outline)[0])
    for shape in outlines(record).values():
        assert covers(ell, shape)  # type: ignore[arg-type]
        assert distance(knot, shape) > 0  # type: ignore[arg-type]
    proof, findings = pipeline.verify_folder(out)
    assert proof.passed, findings
    assert "left.svg" in [i.name for i in record.inputs]
    assert record.layout["density"] == pytest.approx(
        sum(s.area for s in outlines(record).values())  # type: ignore[attr-defined]
        / ell.area,
        rel=0.2,
    )


def test_a_record_with_a_piece_off_its_offcut_or_on_its_hole_is_refused(tmp_path: Path) -> None:
    left_over(tmp_path / "job")
    record, out = cut(tmp_path, f"count = 4\n{ODD}")
    (sheet,) = record.sheets
    first = next(iter(outlines(record).values()))
    x0, y0, x1, y1 = first.bounds  # type: ignore[attr-defined]
    mid = (x0 + x1) / 2
    fake = f"M{mid} {y0}L{mid + 1} {y0}L{mid + 1} {y1}L{mid} {y1}Z"
    on_it = sheet.zones[0].model_copy(update={"outline": fake})
    short = sheet.model_copy(update={"outline": f"M0 0L{mid} 0L{mid} 280L0 280Z"})
    texts = {f.name: (out / f.name).read_bytes() for f in record.files}
    torn = sheet.model_copy(update={"outline": "M0 0L9 9"})
    for changed, code in (
        (sheet.model_copy(update={"zones": (on_it,)}), "V025"),
        (short, "V025"),
        (torn, "V003"),
    ):
        faulty = record.model_copy(update={"sheets": (changed,)})
        _, found = verify_record(faulty, texts)
        assert code in [f.code for f in found]


def test_a_flaw_a_clamp_and_a_pin_are_kept(tmp_path: Path) -> None:
    clamped = (Path(__file__).parents[1] / "profiles/machines/desk-laser-600.toml").read_text(
        "utf-8"
    )
    shop = tmp_path / "job" / "profiles" / "machines"
    shop.mkdir(parents=True)
    clamp = '\n[[clamp]]\nfrom = ["0 mm", "0 mm"]\nto = ["40 mm", "60 mm"]\n'
    (shop / "clamped.toml").write_text(clamped + clamp, encoding="utf-8")
    more = """
count = 3
[[piece]]
name = "pinned"
outline = "plate.svg#plate"
drawn = "cut-line"
material = "card-1mm"
[piece.lay]
at = ["200 mm", "100 mm"]
angle = 90
[[stock]]
material = "card-1mm"
width = "420 mm"
length = "300 mm"
[[stock.zone]]
from = ["60 mm", "10 mm"]
to = ["120 mm", "80 mm"]
[[stock.zone]]
from = ["0 mm", "0 mm"]
to = ["420 mm", "150 mm"]
pieces = ["plate"]
"""
    made = job(tmp_path / "job", machine="clamped", more=more)
    record = pipeline.cut(made.request, tmp_path / "out").record
    (sheet,) = record.sheets
    assert len(sheet.zones) == 3
    shapes = outlines(record)
    pinned = shapes.pop("pinned/drawn/1")
    assert pinned.bounds[:2] == pytest.approx((200, 100), abs=0.01)  # type: ignore[attr-defined]
    assert next(p for p in record.pieces if p.name == "pinned").rotation == 90
    for shape in shapes.values():
        assert distance(box((0, 0, 420, 150)), shape) > 0  # type: ignore[arg-type]
    assert pipeline.verify_folder(tmp_path / "out")[0].passed


def test_a_pair_lies_on_one_sheet(tmp_path: Path) -> None:
    """Stock that bears three plates: a pair each, where fewest sheets would mix them."""
    more = """
count = 3
mirrored = 3
[piece.lay]
together = "pair"
[[stock]]
material = "card-1mm"
width = "240 mm"
length = "80 mm"
"""
    record, _ = cut(tmp_path, more)
    sheet = {p.copy_name: p.sheet for p in record.pieces}
    for k in (1, 2, 3):
        assert sheet[f"plate/drawn/{k}"] == sheet[f"plate/mirrored/{k}"]


TURNABLE = """
based_on = "card-1mm"
turnable = true
"""


#: A hook that fills the offcut, so that its mirror image has no room on it.
HOOK = '<path id="plate" d="M30 30 H410 V150 H210 V290 H30 Z"/>'


@pytest.mark.parametrize("marked", [False, True], ids=["plain", "marked"])
def test_a_turnable_material_s_mirror_image_is_had_by_turning_over(
    marked: bool, tmp_path: Path
) -> None:
    left_over(tmp_path / "job")
    shop = tmp_path / "job" / "profiles" / "materials"
    shop.mkdir(parents=True)
    (shop / "two-faced.toml").write_text(TURNABLE, encoding="utf-8")
    mark = '[[piece.mark]]\nshape = "cross"\nat = ["60 mm", "0 mm"]\n' if marked else ""
    more = f"count = 0\nmirrored = 1\n{mark}{ODD.replace('card-1mm', 'two-faced')}"
    made = job(tmp_path / "job", "two-faced", more=more, body=HOOK)
    (tmp_path / "job" / "left.svg").write_text(
        svg(LEFT_OVER.split("\n", maxsplit=1)[0], 450, 320), encoding="utf-8"
    )
    if marked:
        with pytest.raises(Refused) as refused:
            pipeline.cut(made.request, tmp_path / "out")
        assert [f.code for f in refused.value.findings if f.is_fault] == ["L401"]
        return
    result = pipeline.cut(made.request, tmp_path / "out")
    assert [(p.copy_name, p.turned) for p in result.record.pieces] == [("plate/mirrored/1", True)]
    (told,) = [f for f in result.findings if f.code == "L410"]
    assert "plate/mirrored/1" in told.what
    again = pipeline.plan(made.request)
    assert all(layout.reused for layout in again.layouts.values())
    assert pipeline.verify_folder(tmp_path / "out")[0].passed


#: Two of one hand fill a box; a left and a right don't.
WEDGE = '<path id="plate" d="M10 10 H110 L10 170 Z"/>'


def test_a_left_whose_right_is_had_by_turning_over_is_a_pair(tmp_path: Path) -> None:
    shop = tmp_path / "job" / "profiles" / "materials"
    shop.mkdir(parents=True)
    (shop / "two-faced.toml").write_text(TURNABLE, encoding="utf-8")
    box = '[[stock]]\nmaterial = "two-faced"\nwidth = "125 mm"\nlength = "185 mm"\n'
    made = job(tmp_path / "job", "two-faced", more=f"count = 1\nmirrored = 1\n{box}", body=WEDGE)
    result = pipeline.cut(made.request, tmp_path / "out")
    assert [p.turned for p in result.record.pieces] == [False, True]
    assert len(result.record.sheets) == 1
    (pair,) = result.plan.checks.pairs
    assert pair.is_pair
    assert not pair.is_even
    page = (tmp_path / "out" / "operator-sheet.html").read_text("utf-8")
    assert page.count("mirror image, once turned over by hand") == 1


def test_a_piece_turned_against_the_nap_is_found_in_the_record(tmp_path: Path) -> None:
    made = job(tmp_path / "job", material="fleece-2mm", machine="flatbed-knife-1200")
    record = pipeline.cut(made.request, tmp_path / "out").record
    assert {p.grain for p in record.pieces} == {90}
    file = tmp_path / "out" / "record.json"
    turned = tuple(p.model_copy(update={"grain": 270.0}) for p in record.pieces)
    file.write_text(record.model_copy(update={"pieces": turned}).to_text(), encoding="utf-8")
    proof, findings = pipeline.verify_folder(tmp_path / "out")
    assert not proof.passed
    assert "V026" in [f.code for f in findings]


SMALL = '\n[[stock]]\nmaterial = "card-1mm"\nwidth = "{} mm"\nlength = "{} mm"\n{}'


@pytest.mark.parametrize(
    ("more", "code"),
    [
        (SMALL.format(40, 300, ""), "L401"),
        ("count = 40\n" + SMALL.format(300, 200, "count = 1"), "L403"),
        ('[piece.lay]\nat = ["5 mm", "1 mm"]', "L406"),
        (SMALL.format(700, 380, "trim = false"), "L404"),
        (
            'count = 30\n[piece.lay]\ntogether = "all"' + SMALL.format(300, 200, ""),
            "L407",
        ),
    ],
    ids=["small stock", "too many", "off the stock", "not to be trimmed", "not together"],
)
def test_what_can_not_be_laid_is_named_and_nothing_is_written(
    more: str, code: str, tmp_path: Path
) -> None:
    assert codes(tmp_path, more) == [code]


def test_turns_that_the_nap_forbids_are_refused(tmp_path: Path) -> None:
    made = job(tmp_path / "job", "fleece-2mm", "flatbed-knife-1200", more="[piece.lay]\nangle = 90")
    with pytest.raises(Refused) as refused:
        pipeline.cut(made.request, tmp_path / "out")
    assert [f.code for f in refused.value.findings if f.is_fault] == ["L405"]
    assert not (tmp_path / "out").exists()


def test_a_search_without_time_is_refused(tmp_path: Path) -> None:
    assert codes(tmp_path, "count = 2", first_layout=False) == ["L409"]


def test_a_drawn_stock_that_is_not_there_is_refused(tmp_path: Path) -> None:
    left_over(tmp_path / "job")
    assert codes(tmp_path, ODD.replace("#ell", "#elbow")) == ["J530"]


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ('count = 2\n[piece.lay]\nat = ["5 mm", "5 mm"]', "J509"),
        ("[piece.lay]\nangle = 0\nturns = [0]", "J509"),
        ('[piece.lay]\ntogether = "pair"', "J509"),
        ('[piece.lay]\nturns = "any"', "J505"),
        ('\n[[stock]]\nmaterial = "card-1mm"\nwidth = "60 mm"', "J504"),
        ('\n[[stock]]\nmaterial = "card-1mm"\nwidth = 60\noutline = "a.svg#b"', "J509"),
        ('\n[[stock]]\nmaterial = "card-1mm"\nkind = "roll"\noutline = "a.svg#b"', "J509"),
        (SMALL.format(60, 300, '[[stock.zone]]\nfrom = ["1 mm", "1 mm"]'), "J509"),
        (SMALL.format(60, 300, '[[stock.zone]]\noutline = "a.svg#b"\npieces = ["p"]'), "J508"),
        (SMALL.format(60, 300, "price = -1"), "J505"),
    ],
)
def test_keys_that_can_not_be_meant_are_told(more: str, code: str, tmp_path: Path) -> None:
    assert codes(tmp_path, more) == [code]


def test_a_price_is_in_the_record_and_told_as_a_claim(tmp_path: Path) -> None:
    record, out = cut(tmp_path, SMALL.format(300, 200, "price = 4.5"))
    assert [s.price for s in record.sheets] == [4.5]
    told = json.loads((out / "record.json").read_text("utf-8"))
    assert told["sheets"][0]["price"] == 4.5
    _, findings = pipeline.verify_folder(out)
    assert any(f.code == "V041" and "prices" in f.what for f in findings)


#: A plank longer than the laser's bed, with two points across it, mm.
PLANK = """\
<g id="plate"><path d="M10 10 H70 V710 H10 Z"/>
<circle id="l" data-role="point" cx="10" cy="330" r="1"/>
<circle id="r" data-role="point" cx="70" cy="330" r="1"/></g>"""


def plank(folder: Path, more: str, **pair: str) -> Written:
    made = job(folder, more=more, **pair)
    (folder / "plate.svg").write_text(svg(PLANK, 80, 720), encoding="utf-8")
    return made


def test_a_piece_longer_than_the_bed_is_split_along_its_line(tmp_path: Path) -> None:
    more = 'count = 1\nmirrored = 1\n[[piece.split]]\nbetween = ["l", "r"]\nallowance = "8 mm"\n'
    made = plank(tmp_path / "job", more)
    result = pipeline.cut(made.request, tmp_path / "out")
    names = [p.copy_name for p in result.record.pieces]
    assert names == [f"plate/{k}/1/{x}" for k in ("drawn", "mirrored") for x in "ab"]
    told = [f for f in result.findings if f.code == "A381"]
    assert "60 x 700 mm" in told[0].what
    lengths = sorted(
        max(p.bounds[2] - p.bounds[0], p.bounds[3] - p.bounds[1])
        for p in (parse_path_data(e.target)[0] for e in result.record.pieces[:2])
    )
    assert lengths == pytest.approx([320 + 8, 380 + 8])
    assert pipeline.verify_folder(tmp_path / "out")[0].passed


def test_without_a_line_it_is_refused_with_both_sizes(tmp_path: Path) -> None:
    made = plank(tmp_path / "job", "")
    with pytest.raises(Refused) as refused:
        pipeline.cut(made.request, tmp_path / "out")
    (found,) = [f for f in refused.value.findings if f.is_fault]
    assert found.code == "L401"
    assert "60.0 x 700.0" in found.what or "700.0 x 60.0" in found.what
    assert "usable: " in found.what
    assert not (tmp_path / "out").exists()


def test_a_piece_that_fits_is_not_split(tmp_path: Path) -> None:
    more = '[[piece.split]]\nbetween = ["l", "r"]\n' + SMALL.format(100, 800, "")
    made = plank(
        tmp_path / "job",
        more.replace("card-1mm", "stabilised-cotton"),
        material="stabilised-cotton",
        machine="roll-drag-knife-600",
    )
    result = pipeline.cut(made.request, tmp_path / "out")
    assert [p.copy_name for p in result.record.pieces] == ["plate/drawn/1"]


def test_a_roll_is_fed_through_for_a_piece_longer_than_any_bed(tmp_path: Path) -> None:
    made = plank(tmp_path / "job", "", material="stabilised-cotton", machine="roll-drag-knife-600")
    (sheet,) = pipeline.cut(made.request, tmp_path / "out").record.sheets
    assert sheet.length > 700


@pytest.mark.parametrize("between", ['["l", "nowhere"]', '["l", "l"]'])
def test_a_line_that_can_not_be_had_is_refused(between: str, tmp_path: Path) -> None:
    made = plank(tmp_path / "job", f"[[piece.split]]\nbetween = {between}\n")
    with pytest.raises(Refused) as refused:
        pipeline.cut(made.request, tmp_path / "out")
    assert "A382" in [f.code for f in refused.value.findings if f.is_fault]


#: A frame that a hand goes into, and a leaf that has room in it, mm.
FRAME = """\
<g id="plate"><path d="M10 10 H260 V260 H10 Z"/>
<circle id="window" cx="135" cy="135" r="100"/></g>
<path id="leaf" d="M300 20 L360 40 L320 90 Z"/>"""


def framed(folder: Path) -> tuple[Record, Path]:
    more = (
        '[[piece]]\nname = "leaf"\noutline = "plate.svg#leaf"\ndrawn = "cut-line"\n'
        'material = "card-1mm"\ncount = 2\n'
    )
    made = job(folder / "job", more=more)
    (folder / "job" / "plate.svg").write_text(svg(FRAME, 400, 300), encoding="utf-8")
    return pipeline.cut(made.request, folder / "out").record, folder / "out"


def test_a_piece_in_an_opening_is_cut_before_the_opening_frees_it(tmp_path: Path) -> None:
    record, out = framed(tmp_path)
    hole = region(parse_path_data(next(p for p in record.pieces if p.name == "plate").target)[1])
    leaves = [s for n, s in outlines(record).items() if n.startswith("leaf")]
    assert all(covers(hole, s) for s in leaves)  # type: ignore[arg-type]
    for file in record.files:
        order = [(c.copy_name, c.contour) for c in file.contours]
        freed = order.index(("plate/drawn/1", "opening:window"))
        assert all(order.index((f"leaf/drawn/{k}", "outline")) < freed for k in (1, 2))
    assert pipeline.verify_folder(out)[0].passed


@pytest.mark.parametrize("far", [False, True], ids=["a roll, as it is fed", "from the far side"])
def test_openings_are_used_where_work_goes_band_by_band(far: bool, tmp_path: Path) -> None:
    """Bands of 60 mm: the frame begins before the leaves that lie in it, and waits for them."""
    material, machine = PAIRS["laser" if far else "drag-knife"]
    more = (
        '[[piece]]\nname = "leaf"\noutline = "plate.svg#leaf"\ndrawn = "cut-line"\n'
        'material = "own"\ncount = 2\n'
    )
    made = job(tmp_path / "job", "own", "own-table", more=more)
    (made.folder / "plate.svg").write_text(svg(FRAME, 400, 300), encoding="utf-8")
    for kind, base, line in (
        ("materials", material, 'far_first = "60 mm"'),
        ("machines", machine, "" if far else 'band = "60 mm"'),
    ):
        folder = made.folder / "profiles" / kind
        folder.mkdir(parents=True)
        own = "own" if kind == "materials" else "own-table"
        text = f'schema = 1\nbased_on = "{base}"\nname = "Own"\n{line}\n'
        (folder / f"{own}.toml").write_text(text, encoding="utf-8")
    result = pipeline.cut(made.request, tmp_path / "out")
    record = result.record
    hole = region(parse_path_data(next(p for p in record.pieces if p.name == "plate").target)[1])
    leaves = [s for n, s in outlines(record).items() if n.startswith("leaf")]
    assert len(leaves) == 2
    assert all(covers(hole, s) for s in leaves)  # type: ignore[arg-type]
    for file in record.files:
        order = [(c.copy_name, c.contour) for c in file.contours]
        freed = order.index(("plate/drawn/1", "opening:window"))
        assert all(order.index((f"leaf/drawn/{k}", "outline")) < freed for k in (1, 2))
    assert pipeline.verify_folder(tmp_path / "out")[0].passed
    told = [f.line() for f in result.findings if f.code == "L415"]
    assert len(told) == (not far)
    assert far or "far_first does nothing on own-table" in told[0]


def test_a_record_that_cuts_it_afterwards_is_refused(tmp_path: Path) -> None:
    record, out = framed(tmp_path)
    texts = {f.name: (out / f.name).read_bytes() for f in record.files}
    files = tuple(
        f.model_copy(
            update={
                "contours": (
                    *(c for c in f.contours if c.band),
                    *(c for c in f.contours if not c.band),
                )
            }
        )
        for f in record.files
    )
    _, found = verify_record(record.model_copy(update={"files": files}), texts)
    wrong = [f for f in found if f.code == "V018" and f.piece.startswith("leaf")]
    assert any("is freed" in f.what for f in wrong)
