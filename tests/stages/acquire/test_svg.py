"""SVG drawings by the standard: units, viewports, transforms, use, style, what isn't drawn."""

from __future__ import annotations

import math

import pytest
from svg_texts import codes, one, shapes, svg
from tests.browser import evaluate

from foamwright.geometry.region import contains, region
from foamwright.geometry.segments import Arc, Cubic
from foamwright.stages.acquire.svg import MOST_INSTANCES, read_svg_bytes

SQUARE = "M10 10h100v100h-100z"


def square_of(user: float, x: float = 0.0, y: float = 0.0) -> str:
    return f'<path d="M{x!r} {y!r}h{user!r}v{user!r}h{-user!r}z"/>'


# units: the same 100 mm square, whose lower left corner is (20, 30) mm from the page's


@pytest.mark.parametrize(
    ("page", "body"),
    [
        ('width="200mm" height="200mm" viewBox="0 0 200 200"', square_of(100, 20, 70)),
        ('width="20cm" height="20cm" viewBox="0 0 20 20"', square_of(10, 2, 7)),
        (
            'width="10in" height="200mm" viewBox="0 0 254 200"',
            '<rect x="20" y="70" width="100" height="100"/>',
        ),
        ('width="200mm" height="200mm"', square_of(9600 / 25.4, 1920 / 25.4, 6720 / 25.4)),
        (
            'width="200mm" height="200mm"',
            '<rect x="20mm" y="7cm" width="100mm" height="10cm"/>',
        ),
        (
            f'width="{19200 / 25.4!r}px" height="{19200 / 25.4!r}"',
            square_of(9600 / 25.4, 1920 / 25.4, 6720 / 25.4),
        ),
        (
            f'width="{14400 / 25.4!r}pt" height="{1200 / 25.4!r}pc" viewBox="0 0 200 200"',
            square_of(100, 20, 70),
        ),
        ('width="800Q" height="200MM" viewBox="0 0 2 2"', square_of(1, 0.2, 0.7)),
        ('width="200mm" height="200mm" viewBox="-100 -50 400 400"', square_of(200, -60, 90)),
        ('width="200mm" viewBox="0 0 20 20"', square_of(10, 2, 7)),
        ('height="200mm" viewBox="0 0 20 20"', square_of(10, 2, 7)),
        (
            'width="200mm" height="200mm" viewBox="0 0 200 200"',
            '<g transform="translate(20 70)"><g transform="scale(10)">'
            '<g transform="rotate(90 5 5)"><rect width="10" height="10"/></g></g></g>',
        ),
        (
            'width="200mm" height="200mm" viewBox="0 0 200 200"',
            '<g transform="matrix(0 50 -50 0 120 70)"><polygon points="0 0 2,0 2 2 0,2"/></g>',
        ),
        (
            'width="200mm" height="200mm" viewBox="0 0 200 200"',
            '<rect x="10%" y="35%" width="50%" height="50%"/>',
        ),
        (
            'width="200mm" height="200mm" viewBox="0 0 200 200"',
            '<svg x="20" y="70" width="100" height="100" viewBox="0 0 1 1">'
            '<rect width="100%" height="1"/></svg>',
        ),
        (
            'width="200mm" height="200mm" viewBox="0 0 200 200"',
            '<symbol id="s" viewBox="5 5 4 4"><rect x="5" y="5" width="4" height="4"/></symbol>'
            '<use href="#s" x="20" y="70" width="100" height="100"/>',
        ),
        (
            'width="200mm" height="200mm" viewBox="0 0 200 200"',
            '<defs><rect id="r" width="100" height="100"/></defs>'
            '<use xlink:href="#r" x="15" y="60" transform="translate(5,10)"/>',
        ),
    ],
)
def test_one_square_written_in_many_ways(page: str, body: str) -> None:
    found = one(body, page).path
    assert found.bounds == pytest.approx((20, 30, 120, 130), abs=1e-6)
    assert found.closed
    assert found.length == pytest.approx(400, abs=1e-6)
    assert abs(found.area) == pytest.approx(1e4, abs=1e-4)
    assert len(found.corners) == 4


def test_a_drawing_without_physical_size_is_in_css_pixels_and_says_so() -> None:
    found, told = shapes('<rect width="96" height="96"/>', 'viewBox="0 0 96 96"')
    assert found[0].path.bounds == pytest.approx((0, 0, 25.4, 25.4), abs=1e-9)
    assert codes(told, False) == ["R213"]


@pytest.mark.parametrize(
    ("page", "units", "size"),
    [
        ('viewBox="0 0 96 96"', "mm", 96.0),
        ('width="10" height="10" viewBox="0 0 96 96"', "in", 96 * 25.4),
        ('width="300" height="96"', "cm", 960.0),
        ("", "mm", 96.0),
    ],
)
def test_units_say_what_a_user_unit_is(page: str, units: str, size: float) -> None:
    found = one('<rect width="96" height="96"/>', page, units).path
    low_x, low_y, high_x, high_y = found.bounds
    assert (high_x - low_x, high_y - low_y) == pytest.approx((size, size))


def test_units_do_not_override_a_physical_size() -> None:
    found, told = shapes('<rect width="50" height="50"/>', units="in")
    assert found[0].path.length == pytest.approx(200)
    assert codes(told, False) == ["R006"]


def test_an_unknown_unit_is_a_fault() -> None:
    assert codes(shapes('<rect width="5" height="5"/>', units="furlong")[1]) == ["R004"]


@pytest.mark.parametrize(
    "page",
    [
        'viewBox="0 0 100"',
        'viewBox="0 0 -100 100"',
        'viewBox="0 0 0 100"',
        'viewBox="0 0 100px 100px"',
        'width="-5mm" height="5mm"',
        'width="0" height="5mm"',
        'width="3em" height="5mm"',
        'width="wide" height="5mm"',
    ],
)
def test_a_page_that_cannot_be_understood_is_refused(page: str) -> None:
    assert codes(shapes('<rect width="5" height="5"/>', page)[1]) == ["R205"]


@pytest.mark.parametrize(
    ("aspect", "box"),
    [
        ("", (50, 0, 150, 100)),
        ("xMinYMin meet", (0, 0, 100, 100)),
        ("xMaxYMid", (100, 0, 200, 100)),
        ("none", (0, 0, 200, 100)),
        ("xMidYMin slice", (0, -100, 200, 100)),
        ("xMidYMid slice", (0, -50, 200, 150)),
        ("xMidYMax slice", (0, 0, 200, 200)),
    ],
)
def test_the_aspect_ratio_of_the_page(aspect: str, box: tuple[float, ...]) -> None:
    page = f'width="200mm" height="100mm" viewBox="0 0 10 10" preserveAspectRatio="{aspect}"'
    found = one('<rect width="10" height="10"/>', page)
    assert found.path.bounds == pytest.approx(box, abs=1e-9)


# where the element library goes wrong silently (measured): each line is right here


def test_a_circle_under_a_skew_is_the_right_ellipse() -> None:
    found = one('<circle cx="50" cy="50" r="20" transform="skewX(20)"/>').path
    assert all(isinstance(s, Cubic) for s in found.segments)
    assert found.length == pytest.approx(128.75, abs=0.005)
    assert abs(found.area) == pytest.approx(400 * math.pi, rel=1e-7)


def test_circles_stay_arcs_under_turns_mirrors_and_even_scales() -> None:
    found = one('<circle r="2" transform="translate(90 40) rotate(33) scale(-5 5)"/>').path
    assert all(isinstance(s, Arc) for s in found.segments)
    assert found.length == pytest.approx(20 * math.pi, rel=1e-12)
    assert found.bounds == pytest.approx((80, 50, 100, 70), abs=1e-9)


def test_percentages_without_a_viewbox_refer_to_their_own_side() -> None:
    page = 'width="200px" height="100px"'
    found = one('<rect width="50%" height="50%"/>', page).path
    assert found.bounds == pytest.approx((0, 50 * 25.4 / 96, 100 * 25.4 / 96, 100 * 25.4 / 96))


def test_a_nested_size_ends_with_its_element() -> None:
    inner = '<svg width="20" height="10"><rect width="100%" height="100%"/></svg>'
    found, _ = shapes(inner + '<rect width="100%" height="100%"/>')
    assert [s.path.length for s in found] == pytest.approx([60, 600])


def test_a_nested_svg_stands_at_its_x_and_y_without_a_viewbox() -> None:
    found = one('<svg x="10" y="20"><rect width="5" height="5"/></svg>').path
    assert found.bounds == pytest.approx((10, 75, 15, 80))


@pytest.mark.parametrize(
    "tag",
    [
        *("defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient", "filter"),
        *("metadata", "foreignObject", "title", "desc", "text", "unknown", "script", "style"),
    ],
)
def test_what_only_defines_is_not_drawn(tag: str) -> None:
    body = f'<{tag}><rect width="5" height="5"/></{tag}><rect width="7" height="7"/>'
    assert one(body).path.length == pytest.approx(28)


def test_other_namespaces_are_not_drawn() -> None:
    body = '<x:g xmlns:x="urn:other"><rect width="5" height="5"/></x:g>'
    assert shapes(body)[0] == ()


def test_a_switch_draws_its_first_fitting_branch() -> None:
    body = (
        '<switch><rect width="1" height="1" requiredExtensions="urn:x"/>'
        '<rect width="2" height="2" systemLanguage="de"/>'
        '<rect width="3" height="3" systemLanguage="fr, en-GB"/>'
        '<rect width="4" height="4"/></switch>'
    )
    assert one(body).path.length == pytest.approx(12)


def test_a_used_symbol_obeys_viewbox_size_and_aspect() -> None:
    body = (
        '<symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol>'
        '<use href="#s" x="10" y="10" width="40" height="20"/>'
    )
    assert one(body).path.bounds == pytest.approx((20, 70, 40, 90))


def test_of_two_equal_ids_the_first_counts() -> None:
    body = (
        '<defs><rect id="a" width="5" height="5"/><rect id="a" width="9" height="9"/></defs>'
        '<use href="#a"/>'
    )
    assert one(body).path.length == pytest.approx(20)


def test_geometry_is_not_inherited() -> None:
    found, told = shapes('<g width="50" height="50"><rect x="1" y="1"/></g>')
    assert found == ()
    assert codes(told) == ["R103"]


@pytest.mark.parametrize(
    "style",
    [
        "g rect {display:none}",
        "g > rect {display:none}",
        "rect.a.b {display:none}",
        "#z {display:inline} #z.a {display:none}",
        ".a {display:none !important} #z {display:inline}",
        "[data-x] {display:none}",
        "rect[class~=b] {visibility:hidden}",
        "/* c */ circle, rect:first-child {display:none}",
        "@media screen { rect {display:none} }",
        "rect {display:inline} rect {display:none}",
    ],
)
def test_style_rules_that_hide(style: str) -> None:
    body = (
        '<g><rect id="z" class="a b" data-x="1" width="5" height="5"/></g>'
        f"<style>{style}</style>"
        '<polygon points="0,0 3,0 3,4"/>'
    )
    assert one(body).path.length == pytest.approx(12)


@pytest.mark.parametrize(
    "style",
    [
        "@media print { rect {display:none} }",
        "circle rect {display:none}",
        ".a {display:none} #z {display:inline}",
        "rect {display:none !important} rect {display:block !important}",
        "rect + rect {display:none}",
    ],
)
def test_style_rules_that_do_not_hide(style: str) -> None:
    body = f'<style>{style}</style><rect id="z" class="a" width="5" height="5"/>'
    assert one(body).path.length == pytest.approx(20)


def test_hidden_content_is_counted() -> None:
    body = (
        '<g display="none"><rect width="5" height="5"/></g>'
        '<g visibility="hidden"><rect width="5" height="5"/>'
        '<rect visibility="visible" width="6" height="6"/></g>'
        '<text>no</text><image href="x.png"/>'
    )
    found, told = shapes(body)
    assert [s.path.length for s in found] == pytest.approx([24])
    assert [f.what for f in told] == ["not cut: 2 x hidden element, 1 x picture, 1 x text"]


def test_an_unknown_selector_is_told() -> None:
    told = shapes("<style>rect:hover {display:none}</style>" + square_of(5))[1]
    assert codes(told, False) == ["R210"]


def test_clipped_content_is_told() -> None:
    told = shapes(f'<g clip-path="url(#c)">{square_of(5)}</g>')[1]
    assert codes(told, False) == ["R209"]


def test_a_wide_stroke_is_told() -> None:
    body = f'<g stroke="#000" stroke-width="3">{square_of(5)}{square_of(30)}</g>'
    told = shapes(body + '<path stroke-width="1" stroke="red" d="M50 50h9"/>')[1]
    assert [(f.code, f.what[:9]) for f in told] == [("R212", "2 stroke(")]


@pytest.mark.parametrize(
    "attribute",
    [
        'width="20foo" height="5"',
        'width="2em" height="5"',
        'width="-5" height="5"',
        'width="5" height="5" rx="-1"',
        'width="calc(1px + 2px)" height="5"',
        'width="1e300" height="5"',
        'x="abc" width="5" height="5"',
    ],
)
def test_a_bad_attribute_is_a_fault(attribute: str) -> None:
    found, told = shapes(f"<rect {attribute}/>")
    assert found == ()
    assert codes(told) == ["R203"]


@pytest.mark.parametrize(
    ("corners", "rx", "ry"),
    [('rx="2"', 2, 2), ('ry="3"', 3, 3), ('rx="9" ry="1"', 5, 1), ('rx="10%" ry="2"', 5, 2)],
)
def test_rounded_rectangles(corners: str, rx: float, ry: float) -> None:
    found = one(f'<rect width="10" height="20" {corners}/>').path
    assert abs(found.area) == pytest.approx(200 - (4 - math.pi) * rx * ry, rel=1e-6)
    assert not found.corners
    assert found.bounds == pytest.approx((0, 80, 10, 100), abs=1e-6)


@pytest.mark.parametrize(
    "transform",
    ["foo(3)", "translate(10", "rotate(1 2)", "scale(1,2,3)", "translate(10px 3)", "skewX(a)"],
)
def test_a_bad_transform_is_a_fault(transform: str) -> None:
    found, told = shapes(f'<rect width="5" height="5" transform="{transform}"/>')
    assert found == ()
    assert codes(told) == ["R204"]


def test_css_transform_and_origin() -> None:
    body = (
        '<rect x="10" y="10" width="20" height="10" '
        'style="transform: translate(1mm, 0) rotate(0.25turn); transform-origin: 20px 15px"/>'
    )
    shift = 96 / 25.4
    assert one(body).path.bounds == pytest.approx((15 + shift, 75, 25 + shift, 95))


def test_an_empty_transform_origin_is_none() -> None:
    body = '<rect width="5" height="5" transform="rotate(90)" transform-origin=" "/>'
    assert one(body).path.bounds == pytest.approx((-5, 95, 0, 100))


def test_control_characters_never_reach_a_finding() -> None:
    body = '<rect id="a&#10;b&#x9b;31m&#x202e;" width="5" height="5" transform="x(&#10;&#13;1)"/>'
    told = shapes(body)[1]
    assert codes(told) == ["R204"]
    assert all(c.isprintable() for f in told for c in f.line())


def test_css_moves_that_are_not_read_are_faults() -> None:
    assert codes(shapes('<rect width="5" height="5" style="rotate:45deg"/>')[1]) == ["R204"]


def test_css_geometry() -> None:
    body = '<rect style="x:10px;y:10px;width:20px;height:10px"/>'
    assert one(body).path.bounds == pytest.approx((10, 80, 30, 90))


# path errors


@pytest.mark.parametrize(
    ("d", "length"),
    [
        ("M10 10 L60 10 X 60 60", 50),
        ("M10 10 H60,,50", 50),
        ("M10 10 H60 A20 20 0 2 0 3 3", 50),
        ("M10 10 H60 L NaN 3", 50),
        ("M10 10 H60 L 1e400 3", 50),
        ("L10 10 H60", 0),
        ("M 0 0 10 0 20", 10),
        ("A 5 5 0 0 1 9 9", 0),
        ("M0 0 H", 0),
    ],
)
def test_a_path_is_drawn_up_to_its_error_and_refused(d: str, length: float) -> None:
    found, told = shapes(f'<path d="{d}"/>')
    assert codes(told)[0] == "R202"
    assert sum(s.path.length for s in found) == pytest.approx(length)


@pytest.mark.parametrize(
    "body",
    [
        '<path d="M1e10 0h5v5z"/>',
        '<g transform="scale(1e6)"><rect width="5" height="5"/></g>',
        '<circle cx="1e11" cy="1e11" r="1e11"/>',
    ],
)
def test_coordinates_too_far_away_are_a_fault(body: str) -> None:
    found, told = shapes(body)
    assert found == ()
    assert codes(told) == ["R113"]


def test_something_without_size_is_a_fault_with_its_place() -> None:
    told = shapes('<path id="p" d="M5 5L5 5"/>')[1]
    assert [(f.code, f.where) for f in told] == [("R103", "x.svg line 1 #p")]
    assert "(5.00, 95.00)" in told[0].what


def test_a_part_without_length_in_a_longer_path_is_left_out() -> None:
    found, told = shapes('<path d="M5 5z M0 0h9v9z M7 7"/>')
    assert [s.path.length for s in found] == pytest.approx([18 + math.hypot(9, 9)])
    assert codes(told, False) == ["R114", "R208"]


# closing and corners


def test_ends_that_meet_are_closed_and_rounding_makes_no_corner() -> None:
    # a circle of four cubics whose closing point misses the start by the third decimal
    k = 4 / 3 * (math.sqrt(2) - 1) * 10
    d = (
        f"M60 50c0 {k:.3f} {k - 10:.3f} 10 -10 10s-10 {k - 10:.3f} -10 -10 "
        f"{10 - k:.3f}-10 10-10 10 {10 - k:.3f} 10.001 10z"
    )
    found = one(f'<path d="{d}"/>').path
    assert found.closed
    assert len(found.segments) == 4
    assert not found.corners


def test_a_loose_end_within_the_tolerance_is_closed_and_told() -> None:
    found, told = shapes('<path d="M0 0h10v10h-10v-9.97"/>')
    assert found[0].path.closed
    assert codes(told, False) == ["R109"]


def test_an_open_path_stays_open() -> None:
    assert not one('<path fill="none" stroke="#000" d="M0 0h10v10h-10v-9.9"/>').path.closed


@pytest.mark.parametrize(
    ("paint", "closed"),
    [
        ("", True),
        ('fill="#ccc" stroke="black"', True),
        ('style="fill: red"', True),
        ('fill="none" stroke="red"', False),
        ('fill="transparent" stroke="black"', False),
        ('data-role="slit"', False),
        ('data-role="mark"', False),
        ('data-role="cut"', True),
    ],
)
def test_a_fill_closes_a_line_that_has_no_end(paint: str, closed: bool) -> None:
    """SVG 1.1, section 11.3: a fill closes each open subpath by a straight line."""
    found, told = shapes(f'<path {paint} d="M10 10h50v50h-50v-40"/>')
    (path,) = (s.path for s in found)
    assert path.closed is closed
    assert path.length == pytest.approx(200 if closed else 190)
    assert codes(told, False) == (["R118"] if closed else [])
    if closed:
        assert "(10.00, 85.00) mm, the longest 10 mm" in told[0].what


def test_what_shows_nothing_is_left_out_and_told_unless_it_has_a_role() -> None:
    """Many icons hold a frame without paint, which marks their page."""
    frame = '<path d="M0 0h24v24h-24z" fill="none" stroke="{}"/>'
    found, told = shapes(frame.format("none") + square_of(5) + frame.format("transparent"))
    assert [s.path.length for s in found] == pytest.approx([20])
    assert codes(told, False) == ["R214"]
    assert told[0].what.startswith("2 shape(s) have neither fill nor stroke")
    assert one(f'<g id="cut">{frame.format("none")}</g>').role == "cut"


def test_points_on_top_of_each_other_are_left_out_and_told_with_their_place() -> None:
    found, told = shapes('<path d="M10 10h40l0 0h0.00005V60H10V60.00002Z"/>')
    (path,) = (s.path for s in found)
    assert len(path.segments) == len(path.corners) == 4
    assert codes(told, False) == ["R315"]
    assert told[0].what.startswith("3 points on top of their neighbours")
    assert told[0].spots[0] == pytest.approx(50 + 90j, abs=1e-3)


def test_a_curve_in_steps_finer_than_a_repeated_point_keeps_its_length() -> None:
    steps = "".join(f"l0.00004 {0.00002 * (k % 3)}" for k in range(5000))
    (shape,), _ = shapes(f'<path fill="none" stroke="red" d="M10 10{steps}"/>')
    assert abs(shape.path.end - shape.path.start) == pytest.approx(abs(0.2 + 0.1j), rel=1e-3)


def test_a_fill_is_inherited_and_each_subpath_is_closed() -> None:
    found, told = shapes('<g fill="none"><path fill="red" d="M0 0h9v9M20 0h9v9"/></g>')
    assert [s.path.closed for s in found] == [True, True]
    assert told[0].what.startswith("2 filled lines")


def test_filled_lines_that_make_an_outline_together_are_joined_and_not_closed() -> None:
    """Strokes of an outline drawn in parts: their fills are an oversight of many programs."""
    halves = '<g stroke="black"><path d="M10 10h50v50"/><path d="M60 60h-50v-50"/></g>'
    assert abs(one(halves).path.area) == pytest.approx(2500)
    apart = '<g stroke="black"><path d="M10 10h50v50"/><path d="M60 60h-50v-40"/></g>'
    assert [s.path.closed for s in shapes(apart)[0]] == [False]


def test_a_line_drawn_there_and_back_has_no_fill() -> None:
    found, told = shapes('<path d="M0 9h10h-8"/><line x1="20" x2="5" y2="50"/><path d="M0 80h5"/>')
    assert [s.path.closed for s in found] == [False] * 3
    assert "R118" not in codes(told, False)


def test_a_closed_fill_covers_what_a_browser_fills() -> None:
    """Spots of a grid that `isPointInFill` counts, against the region read."""
    data = "M10 90C10 20 90 20 90 90L70 60Q50 10 30 70"
    script = """
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    document.body.append(svg);
    const p = document.createElementNS("http://www.w3.org/2000/svg", "path");
    p.setAttribute("d", DATA); svg.append(p);
    const seen = [];
    for (let y = 0.5; y < 100; y += 2) for (let x = 0.5; x < 100; x += 2)
      seen.push(p.isPointInFill(new DOMPoint(x, y)));
    return seen;"""
    theirs = evaluate(script, data)
    material = region(one(f'<path d="{data}"/>').path, (), 1e-3)
    spots = [complex(x + 0.5, 99.5 - y) for y in range(0, 100, 2) for x in range(0, 100, 2)]
    assert [contains(material, p) for p in spots] == theirs
    assert 200 < sum(theirs) < 2000


def test_a_corner_hidden_by_rounded_coordinates_is_none() -> None:
    # 6 degrees over handles of 1 mm written in steps of 0.1 mm: not sure, so no corner
    line = '<path fill="none" stroke="#000" d="{}"/>'
    coarse = one(line.format("M0 50L1.0 50.0L2.0 50.1L40 54.1")).path
    assert coarse.corners == frozenset()
    fine = one(line.format("M0 50L1.000 50.000L2.000 50.105L40 54.094")).path
    assert fine.corners == frozenset({1})


# names and roles


def test_names_groups_and_roles() -> None:
    body = (
        '<g id="sole"><g id="slits"><path id="vein" d="M0 0h9"/></g>'
        '<g data-role="mark" data-name="Toes"><circle data-shape="hole" r="2"/></g>'
        '<rect width="9" height="5"><title>Heel  pad</title></rect>'
        '<path id="slit-2" d="M0 3h9"/></g>'
    )
    found, told = shapes(body)
    assert codes(told) == []
    assert [(s.id, s.title, s.groups, s.role, s.kind) for s in found] == [
        ("vein", "", ("sole", "slits"), "slit", ""),
        ("", "", ("sole", "Toes"), "mark", "hole"),
        ("", "Heel pad", ("sole",), None, ""),
        ("slit-2", "", ("sole",), "slit", ""),
    ]


def test_a_named_use_names_its_shape() -> None:
    body = '<defs><rect id="pad" width="5" height="5"/></defs><use id="left" href="#pad"/>'
    found = one(body)
    assert (found.id, found.groups) == ("left", ("left", "pad"))


def test_an_unknown_role_is_a_fault() -> None:
    told = shapes(f'<g data-role="engrave">{square_of(5)}</g>')[1]
    assert codes(told) == ["R112"]


def test_a_note_is_a_text_with_that_role() -> None:
    found = one('<text data-role="note" x="10" y="10">Nap  <tspan>up</tspan></text>')
    assert (found.title, found.role, found.path.start) == ("Nap up", "note", 10 + 90j)


def test_a_point_may_have_no_size() -> None:
    found = one('<circle data-role="point" id="toe" cx="10" cy="10" r="0"/>')
    assert (found.id, found.path.length, found.path.start) == ("toe", 0, 10 + 90j)


# broken and hostile files


def read(data: bytes) -> tuple[int, list[str]]:
    found, told, _ = read_svg_bytes(data, "x.svg")
    return len(found), codes(told)


def test_broken_xml_names_its_line() -> None:
    found, told, _ = read_svg_bytes(b"<svg>\n<g>\n", "x.svg")
    assert found == ()
    assert told[0].code == "R201"
    assert told[0].where == "x.svg line 3"


def test_other_xml_is_no_drawing() -> None:
    assert read(b"<html><svg/></html>") == (0, ["R002"])


def test_a_drawing_without_its_namespace_is_read_and_told() -> None:
    data = b'<svg width="9mm" height="9mm"><rect width="5" height="5"/></svg>'
    found, told, _ = read_svg_bytes(data, "x.svg")
    assert (len(found), codes(told, False)) == (1, ["R211"])


def test_internal_entities_are_read_and_external_ones_not() -> None:
    head = "<!DOCTYPE svg [<!ENTITY w \"20\"><!ENTITY r \"<rect width='5' height='5'/>\">"
    inside = svg('<rect width="&w;" height="5"/><g>&r;</g>')
    assert read((head + "]>" + inside).encode()) == (2, [])
    away = head + '<!ENTITY x SYSTEM "file:///etc/passwd">]>' + svg("<title>&x;</title>")
    assert read(away.encode()) == (0, ["R201"])


def test_an_entity_bomb_is_refused() -> None:
    levels = "".join(f'<!ENTITY e{i + 1} "{f"&e{i};" * 10}">' for i in range(9))
    text = f'<!DOCTYPE svg [<!ENTITY e0 "aaaaaaaaaa">{levels}]>' + svg("<title>&e9;</title>")
    assert read(text.encode()) == (0, ["R201"])


def test_a_use_bomb_is_refused() -> None:
    levels = "".join(
        f'<g id="a{i + 1}">{f"<use href=&quot;#a{i}&quot;/>".replace("&quot;", chr(34)) * 10}</g>'
        for i in range(9)
    )
    text = svg(f'<defs><g id="a0"/>{levels}</defs><use href="#a9"/>')
    assert MOST_INSTANCES < 1e6
    assert read(text.encode()) == (0, ["R207"])


@pytest.mark.parametrize(
    "body",
    [
        '<g id="a"><use href="#a"/></g>',
        '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>',
        '<use id="a" href="#a"/>',
        '<defs><use id="a" href="#b"/><use id="b" href="#a"/></defs><use href="#a"/>',
    ],
)
def test_uses_in_a_circle_are_refused(body: str) -> None:
    assert "R207" in codes(shapes(body)[1])


def test_a_long_chain_of_uses_ends() -> None:
    links = "".join(f'<use id="u{i + 1}" href="#u{i}"/>' for i in range(1500))
    body = f'<defs><rect id="u0" width="5" height="5"/>{links}</defs><use href="#u1500"/>'
    assert codes(shapes(body)[1]) == ["R207"]


@pytest.mark.parametrize("href", ["#none", "other.svg#a", "", "http://example.invalid/a.svg#a"])
def test_a_use_of_nothing_is_told(href: str) -> None:
    assert codes(shapes(f'<use href="{href}"/>')[1], False) == ["R206"]


def test_thousands_of_nested_groups_end_in_a_finding() -> None:
    assert read(svg("<g>" * 5000 + square_of(5) + "</g>" * 5000).encode()) == (0, ["R201"])
    assert read(svg("<g>" * 200 + square_of(5) + "</g>" * 200).encode()) == (1, [])


def test_faults_without_end_are_counted() -> None:
    told = shapes('<rect width="-1" height="1"/>' * 300)[1]
    assert len(told) == 201
    assert "100 more" in told[-1].what
