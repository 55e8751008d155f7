"""Foam cores: derived from a shell, compared with it, bent by reliefs."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding
from foamwright.geometry.path import Path
from foamwright.geometry.region import curve, directed_deviation
from foamwright.job_pattern import SizeKeys
from foamwright.model import Piece
from foamwright.stages.acquire.develop import frustum
from foamwright.stages.alter import Draft, alter, derived_cores, draft, measure_cores
from foamwright.stages.alter.core import CoreRow
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, spec

INCH = 25.4
#: A rectangle's edges; the sides run opposite ways, as an outline's do.
EDGES = {"bottom": ("1", "2"), "front": ("2", "3"), "top": ("3", "4"), "back": ("4", "1")}
SIDES = ("front", "back")


def cored(
    shell: Path,
    core: dict[str, Any],
    foam: float = 12.0,
    scale: float = 1.0,
    edges: dict[str, tuple[str, str]] = EDGES,
    **keys: Any,
) -> tuple[dict[str, Draft], list[CoreRow], list[Finding]]:
    """A shell and its core, the measures of the core, and all findings."""
    drawn = {"shell": (piece("shell", shell), spec(name="shell", edges=edges))}
    made, found = draft(drawn, SizeKeys(scale=scale), TOLERANCE)
    wanted = spec(name="core", core={"of": "shell", "sides": SIDES, **core}, **keys)
    wanted = wanted.model_copy(update={"outline": ""})
    cores, more = derived_cores(made, {"core": wanted}, {"core": foam}, TOLERANCE)
    made.update(cores)
    rows, told = measure_cores(made, {"core": foam}, TOLERANCE)
    return made, list(rows), [*found, *more, *told]


def width(draft: Draft) -> float:
    low, _, high, _ = draft.pattern.outline.path.bounds
    return high - low


def test_half_an_inch_off_each_side_of_a_limb() -> None:
    # common practice, no source: a 4 1/2 in wide shell gives a 3 1/2 in wide core
    made, rows, found = cored(rectangle(4.5 * INCH, 14 * INCH), {}, foam=0.5 * INCH)
    assert width(made["core"]) == pytest.approx(3.5 * INCH, abs=1e-6)
    assert made["core"].pattern.edge("front").length == pytest.approx(14 * INCH)
    (row,) = rows
    # rolled on its middle surface it is 5.07 in round outside
    assert row.middle.outside == pytest.approx((3.5 + 0.5 * math.pi) * INCH, abs=1e-6)
    assert row.middle.outside / INCH == pytest.approx(5.07, abs=0.005)
    assert row.middle.shell == pytest.approx(4.5 * INCH)
    assert row.middle.strain == pytest.approx(12.68, abs=0.01)
    assert [(f.code, f.is_fault) for f in found] == [("A352", False)]


def test_a_tube_is_as_wide_as_sheet_metal_practice_has_it() -> None:
    # pi (D - t): 100 mm across outside, 12 mm thick
    made, rows, _ = cored(rectangle(100 * math.pi, 300), {"by": "thickness"}, foam=12)
    assert width(made["core"]) == pytest.approx(276.46, abs=0.005)
    assert rows[0].middle.strain == pytest.approx(0.0, abs=1e-3)
    assert width(
        cored(rectangle(4 * INCH * math.pi, 300), {"by": "thickness"}, foam=0.5 * INCH)[0]["core"]
    ) == pytest.approx(279.29, abs=0.005)


def test_both_ways_are_told_and_the_job_chooses() -> None:
    told = [
        next(f.what for f in cored(rectangle(120, 300), {"by": by})[2] if f.code == "A352")
        for by in ("inset", "thickness")
    ]
    flat = 120 - 12 * math.pi
    for what in told:
        assert "94.6 mm wide flat" in what
        assert f"{flat:.1f} mm wide flat" in what
    assert told[0].index("94.6 mm") < told[0].index(f"{flat:.1f} mm")
    assert told[1].index("94.6 mm") > told[1].index(f"{flat:.1f} mm")
    assert "the core by inset is 94.6 mm" in told[0]


@settings(deadline=None, max_examples=30, derandomize=True)
@given(
    low=st.floats(60, 200),
    lean=st.floats(0, 40),
    foam=st.floats(3, 15),
    neutral=st.floats(0, 1),
    oversize=st.floats(0, 20),
)
def test_a_core_by_thickness_fills_a_cone_by_what_is_asked(
    low: float, lean: float, foam: float, neutral: float, oversize: float
) -> None:
    """The rolled outside is the shell's inside and the oversize, at the middle of a cone."""
    shell = frustum(low, low - lean, 300.0)
    edges = {"front": ("2", "3"), "back": ("4", "1")}
    core = {"by": "thickness", "neutral": neutral, "oversize": f"{oversize:.4f} %"}
    _, rows, found = cored(shell, core, foam=foam, edges=edges)
    if 2 * math.pi * (1 - neutral) * foam < 0.9 * oversize / 100 * 2 * math.pi * (low - lean):
        assert [f.code for f in found if f.is_fault] == ["A351"]  # it would be wider than flat
        return
    if 2 * math.pi * (1 - neutral) * foam < 1.1 * oversize / 100 * 2 * math.pi * low:
        return
    assert not [f.line() for f in found if f.is_fault]
    assert rows[0].middle.strain == pytest.approx(oversize, abs=0.3)
    loose, tight = rows[0].loosest, rows[0].tightest
    assert loose.strain <= oversize + 1e-3
    assert tight.strain >= oversize - 1e-3
    # the shell's girth is the cone's, 2 pi r, at the rung's own height
    radii = sorted(r.shell / (2 * math.pi) for r in rows[0].rungs)
    assert low - lean - 1e-6 <= radii[0]
    assert radii[-1] <= low + 1e-6
    assert radii[0] == pytest.approx(low - lean, rel=0.02)


@settings(deadline=None, max_examples=30, derandomize=True)
@given(
    width=st.floats(60, 300), inset=st.floats(1, 20), top=st.floats(0, 30), scale=st.floats(0.7, 2)
)
def test_an_inset_holds_on_each_named_edge_at_every_size(
    width: float, inset: float, top: float, scale: float
) -> None:
    taken = {"front": inset, "back": inset / 2, "top": top}
    made, _, found = cored(rectangle(width, 200), {"inset": taken}, scale=scale)
    assert not [f.line() for f in found if f.is_fault]
    low_x, low_y, high_x, high_y = made["core"].pattern.outline.path.bounds
    assert (low_x, low_y) == pytest.approx((inset / 2, 0), abs=1e-9)
    assert (high_x, high_y) == pytest.approx((width * scale - inset, 200 * scale - top), abs=1e-9)


@settings(deadline=None, max_examples=25, derandomize=True)
@given(flare=st.floats(-20, 40), knee=st.floats(60, 140), inset=st.floats(2, 15))
def test_a_flared_side_is_inset_squarely(flare: float, knee: float, inset: float) -> None:
    shell = Path.polygon(
        [0, 100, 100 + 1j * knee, complex(100 + flare, 200), complex(-flare, 200), 1j * knee]
    )
    edges = {"front": ("2", "4"), "back": ("5", "1")}
    if abs(math.degrees(math.atan2(flare, 200 - knee))) < 3.5:
        flare = 0.0  # no corner at the knee: another outline
        return
    made, rows, _ = cored(shell, {"inset": {"front": inset, "back": inset}}, edges=edges)
    core, drawn = made["core"].pattern, made["shell"].pattern
    for side in SIDES:
        away = directed_deviation(
            core.strand(side).path.flatten(0.01), curve(drawn.strand(side).path)
        )
        assert away.min() == pytest.approx(inset, abs=0.01)
    # where the walls are parallel, the core is narrower by both insets
    assert rows[0].rungs[0].shell - rows[0].rungs[0].flat == pytest.approx(2 * inset, abs=1e-6)


@pytest.mark.parametrize(
    ("band", "faulty", "word"),
    [
        (("0 %", "15 %"), False, ""),
        (("0 %", "10 %"), True, "inset it more"),
        (("14 %", "20 %"), True, "inset it less"),
    ],
)
def test_a_core_outside_its_band_is_refused_with_both_numbers(
    band: tuple[str, str], faulty: bool, word: str
) -> None:
    found = cored(rectangle(4.5 * INCH, 300), {"band": band}, foam=0.5 * INCH)[2]
    outside = [f for f in found if f.code == "A353"]
    assert bool(outside) is faulty
    for f in outside:
        assert f.is_fault
        assert "128.8 mm" in f.what
        assert "114.3 mm" in f.what
        assert word in f.mend


def test_a_drawn_core_is_compared_with_its_shell() -> None:
    parts = {
        "shell": (piece("shell", rectangle(114.3, 300)), spec(name="shell", edges=EDGES)),
        "core": (
            piece("core", rectangle(88.9, 270, 500 + 0j)),
            spec(name="core", edges=EDGES, core={"of": "shell", "sides": SIDES}),
        ),
    }
    made, _ = draft(parts, SizeKeys(), TOLERANCE)
    (row,), found = measure_cores(made, {"core": 12.7}, TOLERANCE)
    assert row.by is None
    assert not row.other
    assert row.middle.strain == pytest.approx(12.68, abs=0.01)
    assert [f.code for f in found] == ["A352"]


def test_a_core_s_edges_and_points_bear_its_shell_s_names() -> None:
    keys = {"inset": {"front": 10, "back": 10, "top": 5}}
    pattern = cored(rectangle(100, 200), keys)[0]["core"].pattern
    assert set(pattern.edges) == set(EDGES)
    assert pattern.spot("3") == pytest.approx(90 + 195j)
    assert pattern.edge("top").length == pytest.approx(80)


def test_a_knee_bends_by_a_relief_of_an_inch_from_each_side() -> None:
    # common practice, no source
    relief = {"edge": "front", "opposite": "back", "at": "6 in", "depth": "1 in", "width": "1 in"}
    made = cored(rectangle(4.5 * INCH, 14 * INCH), {}, foam=0.5 * INCH, relief=(relief,))[0]
    target, found = alter(made["core"], TOLERANCE)
    assert not found
    assert target.outline.area == pytest.approx((3.5 * 14 - 2 * 0.5) * INCH**2, abs=1e-6)
    points = [s.end for s in target.outline.segments if abs(s.end.imag - 6 * INCH) < 1e-6]
    assert sorted(p.real for p in points) == pytest.approx([1.5 * INCH, 3 * INCH])


@pytest.mark.parametrize(
    ("core", "word"),
    [
        ({"inset": {"hem": 10}}, "hem"),
        ({"sides": ("front", "hem")}, "hem"),
        ({"inset": {"front": 80, "back": 80}}, "inset"),
        ({"by": "thickness", "thickness": 60}, "whole"),
    ],
)
def test_a_core_that_can_t_be_had_is_told(core: dict[str, Any], word: str) -> None:
    found = cored(rectangle(100, 200), core)[2]
    assert [f.code for f in found if f.is_fault] == ["A351"]
    assert word in found[0].what


def test_a_shell_s_openings_and_marks_are_not_the_core_s() -> None:
    part = piece("shell", rectangle(120, 200), [Path.circle(60 + 60j, 8)])
    made, _ = draft({"shell": (part, spec(name="shell", edges=EDGES))}, SizeKeys(), TOLERANCE)
    wanted = spec(name="core", core={"of": "shell", "sides": SIDES})
    cores, _ = derived_cores(made, {"core": wanted}, {"core": 12.0}, TOLERANCE)
    plain: Piece = cores["core"].plain
    assert not plain.openings
    assert plain.name == "core"


def test_a_half_s_core_is_inset_on_both_its_sides() -> None:
    half = piece("shell", rectangle(60, 200))
    keys = {"half": ("4", "1"), "edges": {"hem": ("1", "2"), "side": ("2", "3")}}
    made, _ = draft({"shell": (half, spec(name="shell", **keys))}, SizeKeys(), TOLERANCE)
    sides = {"of": "shell", "sides": ("side", "side'"), "inset": {"side": 15, "hem": 5}}
    cores, found = derived_cores(
        made, {"core": spec(name="core", core=sides)}, {"core": 12.0}, TOLERANCE
    )
    assert not [f.line() for f in found]
    assert cores["core"].pattern.outline.path.bounds == pytest.approx((-45, 5, 45, 200), abs=1e-6)


def test_a_shell_that_ends_in_a_tip_is_compared_short_of_it() -> None:
    tip = Path.polygon([0, 120, 60 + 300j])
    edges = {"front": ("2", "3"), "back": ("3", "1")}
    _, rows, found = cored(tip, {"inset": {"front": 2, "back": 2}}, foam=3, edges=edges)
    assert not [f.line() for f in found if f.is_fault]
    assert min(r.shell for r in rows[0].rungs) > 0
