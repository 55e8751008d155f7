"""A pattern on its way through the steps, with what the job asks of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from foamwright.job import PieceSpec
from foamwright.model import Piece
from foamwright.stages.alter.pattern import Pattern


@dataclass(frozen=True)
class Draft:
    """A pattern with what the job asks of it. plain: as drawn at its size, nothing held or moved:
    what soundness is compared with.
    """

    pattern: Pattern
    spec: PieceSpec
    plain: Piece


Drafts = Mapping[str, Draft]
