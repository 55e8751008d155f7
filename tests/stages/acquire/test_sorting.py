"""Shapes into pieces: roles, nesting, names, marks, and what can't be sorted."""

from __future__ import annotations

from pathlib import Path

import pytest
from svg_texts import drawing, svg

from foamwright.findings import Finding
from foamwright.geometry.path import Path as Curve
from foamwright.geometry.segments import Arc, Line
from foamwright.model import Drawing, Piece
from foamwright.stages.acquire import pieces, read_drawing, select
from foamwright.stages.acquire.shapes import Shape

SOLE = (
    '<g id="sole"><path d="M10 10h80v60h-80z"/><circle id="rod-hole" cx="30" cy="30" r="5"/>'
    '<g id="slits"><path id="vein" d="M50 30v20"/></g>'
    '<path d="M60 30h10"/>'
    '<path id="grain" d="M20 60v-20"/>'
    '<path data-role="fold" id="knee" d="M12 50h70"/>'
    '<g id="points"><circle id="toe" cx="90" cy="10" r=".3"/>'
    '<path id="heel" d="M10 70z"/></g>'
    '<g id="marks"><path id="pin" d="M78 30h4M80 28v4"/><circle id="eye" cx="80" cy="40" r="1"/>'
    '<circle data-shape="hole" cx="80" cy="50" r="1"/></g>'
    '<text data-role="note" x="5" y="5">Skin side up</text></g>'
)


def read(folder: Path, body: str) -> tuple[Drawing, list[Finding]]:
    return drawing(folder, svg(body))


def only(folder: Path, body: str) -> Piece:
    found, told = read(folder, body)
    assert [f.line() for f in told if f.is_fault] == []
    assert len(found.pieces) == 1
    return found.pieces[0]


def codes(told: list[Finding]) -> list[str]:
    return [f.code for f in told]


def test_a_whole_piece(tmp_path: Path) -> None:
    sole = only(tmp_path, SOLE)
    assert (sole.name, sole.source) == ("sole", "heron.svg#sole")
    assert sole.outline.area == pytest.approx(4800)
    assert [(o.name, o.path.area < 0) for o in sole.openings] == [("rod-hole", True)]
    assert [s.name for s in sole.slits] == ["vein"]
    assert sole.grain == pytest.approx(90)
    assert dict(sole.points) == {"toe": pytest.approx(90 + 90j), "heel": pytest.approx(10 + 30j)}
    assert sole.notes == ("Skin side up",)
    marks = {m.name: (m.shape, m.at, len(m.paths)) for m in sole.marks}
    assert marks == {
        "mark": ("line", pytest.approx(65 + 70j), 1),
        "pin": ("cross", pytest.approx(80 + 70j), 2),
        "eye": ("dot", pytest.approx(80 + 60j), 1),
        "mark-2": ("hole", pytest.approx(80 + 50j), 1),
        "knee": ("fold", pytest.approx(47 + 50j), 1),
    }


def test_nothing_is_noticed_in_a_sound_drawing(tmp_path: Path) -> None:
    assert codes(read(tmp_path, SOLE)[1]) == []


def test_islands_inside_openings_are_pieces(tmp_path: Path) -> None:
    body = (
        '<rect id="frame" width="90" height="90"/><rect id="window" x="10" y="10" width="70" '
        'height="70"/><rect id="pane" x="20" y="20" width="50" height="50"/>'
        '<rect x="30" y="30" width="9" height="9"/>'
    )
    found, told = read(tmp_path, body)
    assert codes(told) == []
    assert [(p.name, [o.name for o in p.openings]) for p in found.pieces] == [
        ("frame", ["window"]),
        ("pane", ["opening"]),
    ]
    assert all(p.outline.area > 0 for p in found.pieces)


def test_a_compound_path_is_a_piece_with_openings(tmp_path: Path) -> None:
    body = '<path id="gauge" d="M0 0h50v50h-50zM10 10h9v9h-9zM30 30h9v9h-9z"/>'
    piece = only(tmp_path, body)
    assert (piece.name, [o.name for o in piece.openings]) == ("gauge", ["opening", "opening-2"])


def test_pieces_are_addressed_by_id_group_layer_and_title(tmp_path: Path) -> None:
    body = (
        '<g id="g1" data-name="Left leg"><rect id="rect7" width="9" height="9"/></g>'
        '<g id="both"><rect id="upper" x="20" width="9" height="9"/>'
        '<rect x="40" width="9" height="9"><title>Shell</title></rect></g>'
    )
    found, _ = read(tmp_path, body)
    assert [p.name for p in found.pieces] == ["Left leg", "upper", "Shell"]
    for name, meant in [("Left leg", 0), ("g1", 0), ("rect7", 0), ("upper", 1), ("Shell", 2)]:
        assert select(found, name) is found.pieces[meant]
    assert select(found, "both") is None
    assert select(found, "none") is None


def test_an_id_names_a_piece_before_a_title(tmp_path: Path) -> None:
    body = '<g id="sole"><title>The webbed one</title><rect width="9" height="9"/></g>'
    found, _ = read(tmp_path, body)
    assert [p.name for p in found.pieces] == ["sole"]
    assert select(found, "The webbed one") is found.pieces[0]


def test_pieces_of_one_name_are_numbered(tmp_path: Path) -> None:
    body = (
        '<defs><g id="sole"><rect width="9" height="9"/></g></defs>'
        '<use href="#sole"/><use href="#sole" x="20"/><use id="spare" href="#sole" x="40"/>'
    )
    found, _ = read(tmp_path, body)
    assert [p.name for p in found.pieces] == ["sole-1", "sole-2", "spare"]
    assert select(found, "sole") is None


def test_names_are_made_harmless(tmp_path: Path) -> None:
    body = (
        '<rect data-name="../../etc/x&#9;&#10; &#x202e;y" width="9" height="9"/>'
        f'<rect x="20" data-name="{"n" * 500}" width="9" height="9"/>'
    )
    found, _ = read(tmp_path, body)
    assert [p.name for p in found.pieces] == ["..-..-etc-x y", "n" * 80]


def fault_of(folder: Path, body: str) -> Finding:
    told = [f for f in read(folder, body)[1] if f.is_fault]
    assert len(told) == 1, told
    assert "\n" not in told[0].line()
    return told[0]


def test_an_open_outline_tells_its_gap(tmp_path: Path) -> None:
    line = '<path id="sole" fill="none" stroke="#000" d="M10 10h50v50h-50v-49"/>'
    found = fault_of(tmp_path, line)
    assert (found.code, found.where) == ("R101", "heron.svg line 1 #sole")
    assert "1 mm from (10.00, 89.00) mm to its start at (10.00, 90.00) mm" in found.what


def test_an_open_line_with_the_role_cut_inside_a_piece_is_open(tmp_path: Path) -> None:
    body = '<rect width="50" height="50"/><path data-role="cut" fill="none" d="M9 9h9v9"/>'
    assert fault_of(tmp_path, body).code == "R101"


def mended(folder: Path, body: str) -> tuple[Drawing, list[Finding]]:
    file = folder / "heron.svg"
    file.write_text(svg(body), encoding="utf-8")
    found, told = read_drawing(file, mend_crossings=True)
    return found, list(told)


def test_a_crossing_is_mended_by_even_odd_where_the_job_asks_for_it(tmp_path: Path) -> None:
    """Sides that overshoot a corner: the outline keeps its name, the loop is told and numbered."""
    found, (told,) = mended(tmp_path, '<path id="sole" d="M10 9V60H60V10H9V9Z"/>')
    assert (told.code, told.is_fault, told.where) == ("R117", False, "heron.svg line 1 #sole")
    assert "crosses itself at (10.00, 90.00) mm: made 2 outlines" in told.what
    assert told.spots == (pytest.approx(10 + 90j),)
    assert {p.name: round(p.outline.area, 6) for p in found.pieces} == {"sole": 2500, "sole-2": 1}


def test_what_runs_along_itself_stays_refused_though_mending_is_asked_for(tmp_path: Path) -> None:
    body = '<path d="M0 0h20v20h-10v-20h20v-10l-25 35h-5z"/>'
    _, told = mended(tmp_path, body)
    assert [f.code for f in told] == ["R117", "R102"]
    assert "runs along itself" in told[0].what


def test_a_self_crossing_outline_tells_its_place(tmp_path: Path) -> None:
    found = fault_of(tmp_path, '<path d="M0 0L40 40V0L0 40z"/>')
    assert found.code == "R102"
    assert "(20.00, 80.00) mm" in found.what


def test_an_outline_without_area(tmp_path: Path) -> None:
    assert fault_of(tmp_path, '<path d="M0 0h40z"/>').code == "R103"
    assert fault_of(tmp_path, '<rect width="40" height="0"/>').code == "R103"


def test_specks_are_left_out_and_told(tmp_path: Path) -> None:
    body = '<path d="M0 0h40v40h-40zM9 9h.01v.01zM9 20v.02z"/>'
    found, told = read(tmp_path, body)
    assert [len(p.openings) for p in found.pieces] == [0]
    assert codes(told) == ["R114"]
    assert "2 specks" in told[0].what


def test_slivers_are_left_out_and_told(tmp_path: Path) -> None:
    body = '<rect width="40" height="40"/><path d="M60 9h30v0.004h-30z"/>'
    found, (told,) = read(tmp_path, body)
    assert len(found.pieces) == 1
    assert (told.code, told.spots) == ("R120", (pytest.approx(60 + 91j),))
    assert "1 slivers narrower than 0.01 mm left out, the first at (60.00, 91.00) mm" in told.what


def test_an_opening_wound_like_its_outline_is_turned_and_told(tmp_path: Path) -> None:
    """A viewer that goes by winding fills it; drawn as an element of its own it has no winding."""
    outline = "M10 10h50v50h-50z"
    for hole, due in (("M20 20h9v9h-9z", ["R119"]), ("M20 20v9h9v-9z", [])):
        found, told = read(tmp_path, f'<path d="{outline}{hole}"/>')
        (piece,) = found.pieces
        assert piece.openings[0].path.area < 0 < piece.outline.area
        assert codes(told) == due
    assert codes(read(tmp_path, f'<path d="{outline}"/><path d="M20 20h9v9h-9z"/>')[1]) == []


def test_outlines_that_cross_each_other(tmp_path: Path) -> None:
    body = '<rect id="a" width="40" height="40"/><rect id="b" x="30" y="30" width="40" height="9"/>'
    found = fault_of(tmp_path, body)
    assert found.code == "R104"
    assert "#a" in found.line()
    assert "#b" in found.line()


def test_pieces_may_share_a_cut_line_but_openings_may_not_touch(tmp_path: Path) -> None:
    side = '<rect width="40" height="40"/><rect x="40" width="40" height="40"/>'
    found, told = read(tmp_path, side)
    assert (len(found.pieces), codes(told)) == (2, [])
    inside = '<rect width="40" height="40"/><rect y="10" width="9" height="9"/>'
    assert fault_of(tmp_path, inside).code == "R115"


def test_an_outline_that_touches_itself_is_told(tmp_path: Path) -> None:
    found, told = read(tmp_path, '<path d="M0 0L20 0L20 20L40 20L40 40L20 40L20 20L0 20z"/>')
    assert (len(found.pieces), codes(told)) == (1, ["R115"])


def test_an_outline_drawn_twice_is_cut_once(tmp_path: Path) -> None:
    body = (
        '<g id="a"><rect width="40" height="40"/></g>'
        '<g id="b"><path d="M0 0h20h20v40h-40z"/></g><rect x="9" y="9" width="5" height="5"/>'
    )
    found, told = read(tmp_path, body)
    assert [len(p.openings) for p in found.pieces] == [1]
    assert codes(told) == ["R105"]


def test_a_slit_in_no_piece_is_refused(tmp_path: Path) -> None:
    body = '<rect width="40" height="40"/><path data-role="slit" d="M60 9h9"/>'
    assert fault_of(tmp_path, body).code == "R106"


@pytest.mark.parametrize("role", ["mark", "fold", "point", "note", "grain"])
def test_a_mark_in_no_piece_is_told(tmp_path: Path, role: str) -> None:
    body = (
        f'<rect width="40" height="40"/><path id="x" data-role="{role}" d="M60 9h9"/>'
        '<rect x="90" width="9" height="9"/>'
    )
    found, told = read(tmp_path, body)
    assert (len(found.pieces), codes(told)) == (2, ["R107"])


def test_a_slit_that_reaches_out_is_told(tmp_path: Path) -> None:
    body = '<rect id="cuff" width="40" height="40"/><path data-role="slit" d="M30 9h12"/>'
    found, told = read(tmp_path, body)
    assert len(found.pieces[0].slits) == 1
    assert [(f.code, f.piece) for f in told] == [("R110", "cuff")]
    assert "2 mm beyond" in told[0].what


def test_two_grain_lines(tmp_path: Path) -> None:
    body = '<rect width="40" height="40"/><g id="grain"><path d="M9 9h9"/><path d="M9 20v9"/></g>'
    found, told = read(tmp_path, body)
    assert found.pieces[0].grain == 0
    assert codes(told) == ["R111"]


def test_a_point_on_a_shared_line_goes_with_its_group(tmp_path: Path) -> None:
    body = (
        '<g id="a"><rect width="40" height="40"/></g><g id="b"><rect x="40" width="40" '
        'height="40"/><circle data-role="point" id="mid" cx="40" cy="20" r=".2"/></g>'
    )
    found, _ = read(tmp_path, body)
    assert [dict(p.points) for p in found.pieces] == [{}, {"mid": 40 + 80j}]


def test_two_points_of_one_name(tmp_path: Path) -> None:
    dots = '<circle id="p" cx="5" cy="5" r=".1"/><circle id="p" cx="9" cy="5" r=".1"/>'
    found, told = read(tmp_path, f'<rect width="40" height="40"/><g id="points">{dots}</g>')
    assert list(found.pieces[0].points) == ["p", "p-2"]
    assert codes(told) == ["R108"]


def test_a_drawing_without_a_piece(tmp_path: Path) -> None:
    assert fault_of(tmp_path, "<text>hello</text>").code == "R003"
    assert fault_of(tmp_path, "").code == "R003"


def test_a_cubic_s_cusp_is_a_corner(tmp_path: Path) -> None:
    """Both coordinates of this curve stop at t = 1/2, where the tangent turns round."""
    cusp = "M10 60 C60 10 10 10 60 60"
    found, told = drawing(tmp_path, svg(f'<path id="p" d="{cusp} V80 H10 Z"/>'))
    assert not [f for f in told if f.is_fault]
    corners = found.pieces[0].outline.corner_points()
    assert len(corners) == 5
    # B(1/2) = (10 + 3 60 + 3 10 + 60) / 8, (60 + 3 10 + 3 10 + 60) / 8, y down on a page of 100
    assert min(abs(c - (35 + 77.5j)) for c in corners) < 1e-9


def test_a_loop_of_a_few_microns_is_told_by_the_reader(tmp_path: Path) -> None:
    """Crossings under 0.001 mm deep, the second behind a bow: the proof would refuse them later."""
    loop = "M10 10 H60 V60 L10.0006 9.9 L10 9.9 L10.0006 10 Z"
    _, told = drawing(tmp_path, svg(f'<path id="p" d="{loop}"/>'))
    assert [f.code for f in told if f.is_fault] == ["R102"]
    bow = "M10 10 C30 10.0012 40 10.0012 60 10 V60 H32 L30 10.0005 L10 60 Z"
    _, told = drawing(tmp_path, svg(f'<path id="p" d="{bow}"/>'))
    assert [f.code for f in told if f.is_fault] == ["R102"]


def test_lines_in_the_only_piece_near_are_placed_without_cutting_it_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that the work grows with the lines, not with the lines times the piece's own corners."""

    def never(*_: object) -> None:
        raise AssertionError("the piece was cut up")

    monkeypatch.setattr(pieces, "common", never)
    lines = "".join(f'<path d="M{12 + k} 20 l0.5 30"/>' for k in range(40))
    drawn, told = drawing(tmp_path, svg(f'<rect x="10" y="10" width="50" height="50"/>{lines}'))
    assert not [f for f in told if f.is_fault]
    assert len(drawn.pieces[0].marks) == 40


def test_coordinates_whose_squares_vanish_are_nought() -> None:
    """Two outlines that overlap along an edge that leans by 1e-297 mm."""
    one = Curve.polygon([0j, 2j, 9 + 0j])
    spots = [0j, 1.455e-297 + 1j, 9 - 1j]
    arc = Arc(spots[1], spots[2], 1.0)
    other = Curve.of([Line(spots[0], spots[1]), arc, Line(spots[2], spots[0])], True)
    found = pieces.sort_shapes([Shape(one, where="a"), Shape(other, where="b")], "x.dxf")
    assert len(found.pieces) == 2
