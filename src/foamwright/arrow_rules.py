"""How a piece may lie on its material: its grain, nap and stretch arrows against the roll's.

Grain and nap of a roll run along it (+y), one-way nap up it; the material says which way it gives.
A piece says which way each is to run on it: its grain line, whose head is the nap's way where no
nap is stated, and the way in which it must give.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from foamwright.findings import Finding, fault
from foamwright.model import Piece
from foamwright.profile_models import MaterialProfile

#: Decimals of a turn, degrees: a drawn grain line's rounding must not turn a whole quarter askew.
TURN_DECIMALS = 6
#: What two arrows of a piece may miss their right angle by, degrees; common practice, no source.
ASKEW = 1.0
#: Way up the roll and across it, degrees.
UP, ACROSS = 90.0, 0.0


@dataclass(frozen=True, slots=True)
class Arrows:
    """A piece's arrows in degrees, as in `model.Piece`; None: not stated."""

    grain: float | None = None
    nap: float | None = None
    stretch: float | None = None

    @staticmethod
    def of(piece: Piece) -> Arrows:
        return Arrows(piece.grain, piece.nap, piece.stretch)


@dataclass(frozen=True, slots=True)
class Rule:
    """An arrow of a piece and the way that it must lie, degrees. headed: not turned end for end."""

    name: str
    arrow: float
    way: float
    headed: bool

    @property
    def period(self) -> float:
        return 360.0 if self.headed else 180.0

    def met_by(self, turn: float) -> bool:
        off = (self.arrow + turn - self.way) % self.period
        return min(off, self.period - off) <= ASKEW

    def turns(self) -> tuple[float, ...]:
        """The turns that meet it, 0 to less than 360."""
        first = round(self.way - self.arrow, TURN_DECIMALS) % 360
        return (first,) if self.headed else (first, (first + 180) % 360)


def rules_of(material: MaterialProfile, piece: Arrows) -> tuple[Rule, ...]:
    """What the material asks of a piece's arrows, the strictest first."""
    return tuple(_rules(material, piece))


def _rules(material: MaterialProfile, piece: Arrows) -> Iterator[Rule]:
    upright = UP if piece.grain is None else piece.grain
    if material.nap == "one-way":
        yield Rule("nap", upright if piece.nap is None else piece.nap, UP, headed=True)
    gives = material.stretch
    if piece.grain is not None or (gives != "none" and piece.stretch is None):
        yield Rule("grain", upright, UP, headed=False)
    if piece.stretch is not None and gives in ("across", "along"):
        way = ACROSS if gives == "across" else UP
        yield Rule("stretch", piece.stretch, way, headed=False)


def rotations_for(material: MaterialProfile, piece: Arrows) -> tuple[float, ...]:
    """The turns, in degrees, that bring a piece's arrows where the material wants them; empty where
    none does.

    One-way nap: the nap up the sheet, never down.  A stated grain, or a material that gives: grain
    up or down.  A stated stretch: the way that the material gives.  Else any quarter turn.
    """
    if piece.stretch is not None and material.stretch == "none":
        return ()
    rules = rules_of(material, piece)
    if not rules:
        return (0.0, 90.0, 180.0, 270.0)
    return tuple(t for t in rules[0].turns() if all(r.met_by(t) for r in rules))


def cannot_lie(material: MaterialProfile, name: str, piece: Piece) -> Finding:
    """A347: the piece's arrows against what its material wants. name: the material's id."""
    if piece.stretch is not None and material.stretch == "none":
        what = f"it must give at {piece.stretch:.4g} degrees, and {name} doesn't give"
        mend = "take a material that gives, or leave stretch out"
    else:
        told = [
            f"its {r.name}, drawn at {r.arrow % r.period:.4g} degrees, must lie "
            f"{'up' if r.headed else 'along' if r.way == UP else 'across'} the roll"
            for r in rules_of(material, Arrows.of(piece))
        ]
        what = f"on {name} {' and '.join(told)}, and no turn brings all of them there"
        mend = "turn one of the arrows (0 is to the right, 90 is up), or take another material"
    return fault("A347", f"{piece.name} arrows", what, mend, piece=piece.name)
