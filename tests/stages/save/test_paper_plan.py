"""Where pieces lie on pages: everything shown, nothing on top of another, no page in vain."""

from __future__ import annotations

import cmath
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import area, box, common, is_empty, minus, union
from foamwright.model import Piece
from foamwright.stages.save.paper_plan import (
    OVERLAP,
    PAPERS,
    Block,
    PaperPiece,
    blocks_on,
    pages_of,
    tile_size,
)
from foamwright.stages.save.paper_words import SHORTEST, seam_words

papers = st.sampled_from(sorted(PAPERS))
sizes = st.tuples(st.floats(3, 900), st.floats(3, 900))


def oblong(name: str, width: float, height: float, grain: float | None = None) -> PaperPiece:
    corners = [0j, complex(width, 0), complex(width, height), complex(0, height)]
    piece = Piece(name, Path.polygon(corners), grain=grain)
    return PaperPiece(name, piece, lines=("cut 1", "Card, 1 mm"))


@settings(deadline=None, max_examples=40, derandomize=True)
@given(papers, sizes)
def test_tiles_show_the_whole_piece_and_share_their_strips(
    paper: str, size: tuple[float, float]
) -> None:
    (block,) = blocks_on([oblong("plate", *size)], paper)
    windows = [box(t.window) for t in block.tiles]
    assert is_empty(minus(block.laid[0].paper.inside, union(windows)))
    assert is_empty(minus(box(block.laid[0].label.box), union(windows)))
    for tile in block.tiles:
        x0, y0, x1, y1 = tile.window
        assert (x1 - x0, y1 - y0) == pytest.approx(tile_size(paper))
        right = block.tile_at(tile.column + 1, tile.row)
        if right is not None:
            assert x1 - right.window[0] == pytest.approx(OVERLAP)
        below = block.tile_at(tile.column, tile.row + 1)
        if below is not None:
            assert below.window[3] - y0 == pytest.approx(OVERLAP)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(papers, st.lists(sizes, min_size=1, max_size=9))
def test_no_piece_or_label_lies_on_another(
    paper: str, all_sizes: list[tuple[float, float]]
) -> None:
    blocks = blocks_on([oblong(f"p{k}", *s) for k, s in enumerate(all_sizes)], paper)
    for block in blocks:
        taken = [union([x.paper.inside, box(x.label.box)]) for x in block.laid]
        for a, b in combinations(taken, 2):
            assert area(common(a, b)) < 1e-6
    assert [t.page for b in blocks for t in b.tiles] == list(range(2, pages_of(blocks) + 1))
    assert {x.paper.name for b in blocks for x in b.laid} == {
        f"p{k}" for k in range(len(all_sizes))
    }


@settings(deadline=None, max_examples=40, derandomize=True)
@given(sizes, st.floats(0, 359))
def test_the_grain_line_follows_the_grain(size: tuple[float, float], grain: float) -> None:
    (block,) = blocks_on([oblong("plate", *size, grain)], "a4")
    laid = block.laid[0]
    along = laid.arrow.head - laid.arrow.tail
    assert abs(along) >= SHORTEST - 1e-9
    assert along / abs(along) == pytest.approx(cmath.rect(1, cmath.pi * laid.paper.grain / 180))
    turned = (laid.paper.grain - grain) % 360
    assert min(turned, 360 - turned) == pytest.approx(0, abs=1e-6) or turned == pytest.approx(90)


def test_a_piece_s_own_arrows_come_before_its_material_s() -> None:
    plain = oblong("plate", 100, 60, 30.0)
    asked = replace(plain, nap=True, stretch="across")
    assert (asked.way, asked.gives) == (30.0, (-60.0,))
    assert replace(plain, stretch="both").gives == (-60.0, 30.0)
    assert plain.gives == ()
    own = replace(asked, piece=replace(plain.piece, nap=210.0, stretch=75.0))
    assert (own.way, own.gives) == (210.0, (75.0,))
    turned = own.moved(Affine.rotation(90.0))
    assert (turned.way % 360, turned.gives[0] % 180) == pytest.approx((300.0, 165.0))
    assert replace(own, nap=False).way == 30.0  # a nap that the material doesn't have


def of(width: float, height: float) -> Block:
    (block,) = blocks_on([oblong("plate", width, height)], "a4")
    return block


def test_a_piece_is_turned_where_that_saves_pages() -> None:
    assert len(of(170, 230).tiles) == 1
    assert len(of(230, 170).tiles) == 1
    x0, y0, x1, y1 = of(230, 170).laid[0].paper.piece.outline.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((170, 230))


def test_tiles_that_show_nothing_are_left_out() -> None:
    """A bow of a large frame: its middle is empty paper."""
    corners = [0, 1000, 1000 + 60j, 60 + 60j, 60 + 1000j, 1000j]
    piece = PaperPiece("bow", Piece("bow", Path.polygon([complex(c) for c in corners])))
    (block,) = blocks_on([piece], "a4")
    assert len(block.tiles) < block.columns * block.rows


@pytest.mark.parametrize(("room", "words"), [(200, "hem: to back.hem"), (12, "hem"), (2, "")])
def test_a_seam_says_as_much_as_finds_room(room: float, words: str) -> None:
    assert seam_words("hem", "back.hem", room)[0] == words
