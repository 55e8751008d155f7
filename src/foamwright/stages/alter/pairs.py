"""Lefts and rights: pieces that must be mirror images of one another, measured on their outlines.

Two shapes are a true pair where the one, turned over, can be laid on the other.  If it can be laid
on it without being turned over too, the shape is even, and either may lie on either side.
"""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.findings import Finding, fault
from foamwright.geometry.congruence import off_congruence
from foamwright.model import Piece

#: How far the outlines of a pair may lie apart, mm: the chain's limit (design, section 1).
PAIR_LIMIT = 0.01
#: Flattening of outlines where they are laid on one another, mm.
COMPARED = 0.002


@dataclass(frozen=True, slots=True)
class PairRow:
    """How far two outlines lie apart at most, mm, when one is laid on the other.

    mirrored_off: turned over first; turned_off: not turned over.
    """

    first: str
    second: str
    mirrored_off: float
    turned_off: float

    @property
    def is_pair(self) -> bool:
        return self.mirrored_off <= PAIR_LIMIT

    @property
    def is_even(self) -> bool:
        """Alike without being turned over: neither a left nor a right."""
        return self.turned_off <= PAIR_LIMIT


def measure_pair(
    first: str, one: Piece, second: str, other: Piece
) -> tuple[PairRow, tuple[Finding, ...]]:
    """The pair as measured, outline and openings. A362 where they are no mirror images."""
    shape, image = ([p.outline, *(o.path for o in p.openings)] for p in (one, other))
    off = [off_congruence(shape, image, mirrored, COMPARED) for mirrored in (True, False)]
    row = PairRow(first, second, *off)
    if row.is_pair:
        return row, ()
    if row.is_even:
        what, mend = "two of one hand, alike without turning over", "mirror the one"
    else:
        what = f"no mirror images: {row.mirrored_off:.2f} mm apart at best, turned over"
        mend = "draw one of them and ask for it mirrored"
    limit = f"{row.turned_off:.2f} mm not turned over, limit {PAIR_LIMIT:g} mm"
    return row, (fault("A362", f"{first} and {second}", f"{what} ({limit})", mend, piece=first),)
