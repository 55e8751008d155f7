"""Order: groups, bands, the way round, and the time that a program tells."""

from __future__ import annotations

import cmath
import itertools
import math
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.path import Path
from foamwright.geometry.segments import Line
from foamwright.model import (
    OPERATIONS,
    Copy,
    Cut,
    Entry,
    Piece,
    Placement,
    Sheet,
    Stock,
    Tool,
)
from foamwright.stages.order import order
from foamwright.stages.order.sequence import Unit, entered, nearest_next, travel, way_round
from foamwright.stages.order.time import operation_times

TOOL = Tool("laser", cut_speed=50.0, travel_speed=200.0, acceleration=1000.0)


def square(x: float, y: float, size: float = 10.0) -> Path:
    return Path.polygon(
        [complex(x, y), complex(x + size, y), complex(x + size, y + size), complex(x, y + size)]
    )


def placed(name: str, outline: Path) -> Placement:
    copy = Copy(name, name, Piece(name, outline), False, "cloth", "machine")
    return Placement(copy, 0.0, 0.0, 0.0)


def sheet(*outlines: tuple[str, Path]) -> Sheet:
    stock = Stock("cloth", "roll", 600.0, 3000.0)
    return Sheet(1, stock, "machine", 600.0, 3000.0, tuple(placed(n, p) for n, p in outlines))


def test_groups_stand_in_the_order_of_operations():
    laid = sheet(("a", square(0, 0)), ("b", square(50, 0)))
    cuts = [
        Cut(c, f"x:{op}", op, square(0 if c == "a" else 50, 0, 5))
        for c in "ab"
        for op in reversed(OPERATIONS)
    ]
    program = order(cuts, laid, TOOL)
    ranks = [OPERATIONS.index(c.operation) for c in program.cuts]
    assert ranks == sorted(ranks)
    assert {(c.copy, c.contour) for c in program.cuts} == {(c.copy, c.contour) for c in cuts}
    assert len(program.cuts) == len(cuts)


def test_a_roll_is_worked_band_by_band():
    names = {"near": 20.0, "middle": 490.0, "far": 1010.0}
    laid = sheet(*((n, square(10, y, 30)) for n, y in names.items()))
    cuts = [
        cut
        for n, y in names.items()
        for cut in (
            Cut(n, "outline", "CUT_OUTER", square(10, y, 30)),
            Cut(n, "slit:s", "CUT_SLIT", Path.polygon([15 + y * 1j, 20 + y * 1j], closed=False)),
        )
    ]
    program = order(cuts, laid, Tool("drag-knife", band=500.0))
    assert [(c.band, c.copy, c.operation) for c in program.cuts] == [
        (0, "near", "CUT_SLIT"),
        (0, "middle", "CUT_SLIT"),
        (0, "middle", "CUT_OUTER"),
        (0, "near", "CUT_OUTER"),
        (2, "far", "CUT_SLIT"),
        (2, "far", "CUT_OUTER"),
    ]


def test_a_stroke_of_no_piece_comes_first_in_the_first_band():
    laid = sheet(("far", square(10, 1010, 30)))
    slit = Path.polygon([0j, 5 + 0j], closed=False)
    cuts = [Cut("far", "slit:s", "CUT_SLIT", slit), Cut("", "align", "CUT_SLIT", slit)]
    program = order(cuts, laid, Tool("drag-knife", band=500.0))
    assert [(c.contour, c.band) for c in program.cuts] == [("align", 2), ("slit:s", 2)]


def test_strokes_of_a_contour_stay_together_and_go_round_from_any_of_them():
    def strokes(name, x):
        corners = [complex(x, 0), complex(x + 10, 0), complex(x + 10, 10), complex(x, 10)]
        ends = [*corners[1:], corners[0]]
        return [
            Cut(name, "outline", "CUT_OUTER", Path.polygon([a, b], closed=False))
            for a, b in zip(corners, ends, strict=True)
        ]

    names = [f"p{i}" for i in range(6)]
    laid = sheet(*((n, square(20 * i, 0)) for i, n in enumerate(names)))
    cuts = [c for i, n in enumerate(names) for c in strokes(n, 20 * i)]
    program = order(cuts, laid, TOOL)
    for name, group in itertools.groupby(program.cuts, key=lambda c: c.copy):
        run = [c.path for c in group]
        given = [c.path for c in cuts if c.copy == name]
        first = given.index(run[0])
        assert run == given[first:] + given[:first]
    assert len(list(itertools.groupby(program.cuts, key=lambda c: c.copy))) == 6


def test_the_sequence_does_not_hang_on_the_order_given():
    laid = sheet(*((f"p{i}", square(37 * i % 400, 91 * i % 700)) for i in range(40)))
    cuts = [Cut(p.copy.name, "outline", "CUT_OUTER", p.piece.outline) for p in laid.placements]
    shuffled = random.Random(3).sample(cuts, len(cuts))
    assert order(cuts, laid, TOOL) == order(shuffled, laid, TOOL)


def test_equals_go_by_name():
    laid = sheet(("b", square(10, 0)), ("a", square(10, 0)))
    cuts = [Cut(n, "outline", "CUT_OUTER", square(10, 0)) for n in "ba"]
    assert [c.copy for c in order(cuts, laid, TOOL).cuts] == ["a", "b"]


def test_no_cuts_make_an_empty_program():
    program = order([], sheet(("a", square(0, 0))), TOOL)
    assert program.cuts == ()
    assert program.time_s == 0


def dots(points):
    return [
        Unit((Cut(str(i), "x", "PEN", square(p.real, p.imag, 1e-9)),)) for i, p in enumerate(points)
    ]


def way_length(units, here=0j):
    """Each unit by its first choice, in this order."""
    return travel(entered(units, here), here)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=2, max_size=7))
def test_small_ways_are_near_the_best_there_is(places):
    units = dots([complex(x, y) for x, y in places])
    best = min(way_length(list(p)) for p in itertools.permutations(units))
    found = way_round(units, 0j)
    assert sorted(v.unit.copy for v in found) == sorted(u.copy for u in units)
    assert travel(found, 0j) <= way_length(nearest_next(units, 0j)) + 1e-9
    assert travel(found, 0j) <= 1.15 * best + 1e-6


def test_exchange_shortens_a_large_way():
    rng = random.Random(7)
    units = dots([complex(rng.uniform(0, 600), rng.uniform(0, 1000)) for _ in range(200)])
    found = travel(way_round(units, 0j), 0j)
    assert found < 0.9 * way_length(nearest_next(units, 0j))
    # the constant of random tours, 0.7124 sqrt(n A) (Beardwood, Halton, Hammersley 1959)
    assert found < 1.2 * 0.7124 * math.sqrt(200 * 600 * 1000)


def test_open_cuts_are_left_at_their_ends():
    """A stroke that ends at the next one's start goes first, though it starts farther away."""
    forth = Path.polygon([100 + 0j, 200 + 0j], closed=False)
    back = Path.polygon([200 + 5j, 0 + 5j], closed=False)
    units = [Unit((Cut(n, "s", "CUT_SLIT", p),)) for n, p in (("a", back), ("b", forth))]
    assert [v.unit.copy for v in way_round(units, 0j)] == ["b", "a"]


# Entries


def ringed(name: str, path: Path) -> Cut:
    """A closed cut that may be entered at each of its joints."""
    entries = tuple(Entry(path, i) for i in range(len(path.segments)))
    return Cut(name, "outline", "CUT_OUTER", path, entries=entries)


def polygons(count: int, seed: int) -> list[Unit]:
    rng = random.Random(seed)
    made = []
    for k in range(count):
        middle = complex(rng.uniform(0, 200), rng.uniform(0, 200))
        corners = rng.randint(3, 5)
        turn = rng.uniform(0, 1)
        ring = [
            middle + cmath.rect(rng.uniform(5, 20), 2 * math.pi * (j + turn) / corners)
            for j in range(corners)
        ]
        made.append(Unit((ringed(f"p{k}", Path.polygon(ring)),)))
    return made


def plain_length(points, here=0j):
    return sum(abs(b - a) for a, b in itertools.pairwise([here, *points]))


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(1, 5), st.integers(0, 10_000), st.booleans())
def test_the_entries_of_a_sequence_are_the_best_there_are(count, seed, returns):
    units = polygons(count, seed)
    finish = 100j if returns else None
    back = [finish] if returns else []
    best = min(
        plain_length([*points, *back]) for points in itertools.product(*(u.starts for u in units))
    )
    visits = entered(units, 0j, finish)
    assert [v.unit for v in visits] == units
    assert plain_length([*(v.start for v in visits), *back]) == pytest.approx(best)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(1, 4), st.integers(0, 10_000))
def test_sequence_and_entries_together_are_near_the_best_there_is(count, seed):
    units = polygons(count, seed)
    best = min(travel(entered(list(p), 0j), 0j) for p in itertools.permutations(units))
    assert travel(way_round(units, 0j), 0j) <= 1.05 * best + 1e-9


def test_a_chosen_entry_starts_the_same_loop_there():
    ring = square(100, 100, 50)
    program = order([ringed("a", ring)], sheet(("a", ring)), TOOL)
    (cut,) = program.cuts
    assert cut.entries == ()
    assert cut.path == ring
    far = [complex(x, y) for x, y in ((300, 100), (300, 150), (250, 150), (250, 100))]
    program = order([ringed("a", Path.polygon(far))], sheet(("a", ring)), TOOL)
    (cut,) = program.cuts
    assert cut.path.start == 250 + 100j
    assert cut.path.closed
    assert cut.path.area == pytest.approx(Path.polygon(far).area)


def test_an_entry_makes_its_lead_loop_overlap_and_tail():
    ring = square(0, 0, 100)
    lead = (Line(50 - 10j, 50 + 0j),)
    tail = (Line(53 + 0j, 53 - 10j),)
    way = Entry(ring, 0, 0.5, before=lead, after=tail, beyond=3.0)
    assert way.start == 50 - 10j
    assert way.end == 53 - 10j
    assert not way.path.closed
    assert way.path.start == way.start
    assert way.path.end == way.end
    assert way.path.length == pytest.approx(10 + 400 + 3 + 10)
    assert Entry(ring, 0, 0.5, beyond=3.0).end == pytest.approx(53)
    assert Entry(ring, 0, 0.5).end == Entry(ring, 0, 0.5).start == 50
    line = Path.polygon([1 + 1j, 9 + 1j], closed=False)
    assert (Entry(line).start, Entry(line).end, Entry(line).path) == (1 + 1j, 9 + 1j, line)


def test_a_cross_is_drawn_by_the_shorter_of_its_ways():
    """Two strokes, each from either end, either first: 8 ways, of which the best is taken."""
    over = Path.polygon([100 + 50j, 110 + 50j], closed=False)
    down = Path.polygon([105 + 55j, 105 + 45j], closed=False)
    cuts = [
        Cut("a", "mark:x", "PEN", p, entries=(Entry(p), Entry(p.reversed()))) for p in (over, down)
    ]
    best = min(
        plain_length([a, b, c, d]) - abs(b - a) - abs(d - c)
        for (a, b), (c, d) in itertools.permutations(
            [
                (over.start, over.end),
                (over.end, over.start),
                (down.start, down.end),
                (down.end, down.start),
            ],
            2,
        )
        if {a, b} != {c, d}
    )
    program = order(cuts, sheet(("a", square(90, 40, 30))), TOOL)
    first, second = (c.path for c in program.cuts)
    assert abs(first.start) + abs(second.start - first.end) == pytest.approx(best)


def test_free_entries_save_travel():
    units = polygons(40, 3)
    fixed = [Unit((replace(u.cuts[0], entries=()),)) for u in units]
    assert travel(way_round(units, 0j), 0j) < 0.9 * travel(way_round(fixed, 0j), 0j)


def test_a_program_tells_its_time_by_operation():
    laid = sheet(("a", square(30, 40, 100)))
    outline = Cut("a", "outline", "CUT_OUTER", square(30, 40, 100))
    slit = Cut("a", "slit:s", "CUT_SLIT", Path.polygon([60 + 80j, 70 + 80j], closed=False))
    program = order([outline, slit], laid, TOOL)
    assert program.times == operation_times([slit, outline], TOOL, 0j)
    assert program.time_s == pytest.approx(sum(s for _, s in program.times))
