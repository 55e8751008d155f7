"""The alphabet by its shapes: every glyph in its box, drawn once, and like no other one."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import numpy.typing as npt
import pytest

from foamwright.stages.alter.letters import (
    CAP,
    GAP,
    WIDE,
    known_letters,
    plain_letters,
    strokes_of,
    unknown_letters,
    word,
)

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
#: Least distance between two shapes, as a part of a letter's height: at 3 mm it is 0.25 mm, more
#: than a fine pen's line is wide (common practice, no source).
APART = 1 / 12
#: Signs that are each other's turn or mirror by nature.
ALIKE = set("().,'-_/+")


def points(letter: str) -> npt.NDArray[np.complex128]:
    """Points close together on a glyph's strokes, about the middle of its box."""
    lines = [
        a + (b - a) * np.linspace(0, 1, 40) for s in strokes_of(letter) for a, b in pairwise(s)
    ]
    dense = np.concatenate(lines)
    return dense - (dense.real.min() + dense.real.max()) / 2 - 1j * CAP / 2


def apart(a: npt.NDArray[np.complex128], b: npt.NDArray[np.complex128]) -> float:
    """Hausdorff distance of two sets of points."""
    gaps = abs(a[:, None] - b[None, :])
    return float(max(gaps.min(axis=0).max(), gaps.min(axis=1).max()))


def test_every_letter_and_digit_is_drawn() -> None:
    assert set(LETTERS) <= set(known_letters())


@pytest.mark.parametrize("letter", known_letters())
def test_a_glyph_lies_in_its_box_and_draws_nothing_twice(letter: str) -> None:
    strokes = strokes_of(letter)
    for stroke in strokes:
        assert all(0 <= p.real <= WIDE and 0 <= p.imag <= CAP for p in stroke)
        assert all(abs(b - a) > 0.5 for a, b in pairwise(stroke))
    chords = [frozenset(c) for s in strokes for c in pairwise(s)]
    assert max(Counter(chords).values()) == 1


@pytest.mark.parametrize("letter", LETTERS)
def test_a_capital_or_digit_fills_its_height(letter: str) -> None:
    assert np.ptp(points(letter).imag) == pytest.approx(CAP)


@pytest.mark.parametrize("turn", [1, -1], ids=["upright", "turned round"])
def test_no_glyph_is_another_one_nor_another_one_s_turn(turn: int) -> None:
    """Distances of shapes over letters and digits, and over signs where those aren't alike."""
    drawn = {c: points(c) for c in known_letters()}
    near = [
        (a, b, round(d / CAP, 3))
        for a, b in combinations(drawn, 2)
        if not (turn < 0 and {a, b} <= ALIKE)
        if (d := apart(drawn[a], turn * drawn[b])) < APART * CAP
    ]
    assert not near


def test_a_word_is_as_long_as_its_letters_and_gaps() -> None:
    glyphs, length = word("HI", 12.0)
    assert [g.width for g in glyphs] == pytest.approx([8.0, 4.0])
    assert length == pytest.approx(8 + GAP + 4)
    assert word("HI", 3.0)[1] == pytest.approx(length / 4)


def test_letters_of_a_word_stand_apart() -> None:
    glyphs, _ = word("WAY TO 10", 6.0)
    for a, b in pairwise(glyphs):
        assert b.at - b.width / 2 - (a.at + a.width / 2) >= GAP * 6.0 / CAP - 1e-9


def test_accents_and_small_letters_are_written_plainly() -> None:
    assert plain_letters("Flügel  groß") == "FLUGEL GROSS"
    assert unknown_letters("côté-2") == ""
    assert unknown_letters("крыло & A") == "КРЫЛО&"
