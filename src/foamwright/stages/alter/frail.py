"""Where a piece is frail: its narrowest neck, and notches as deep as what bears them."""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.findings import Finding, fault, warning
from foamwright.geometry.necks import narrowest_neck
from foamwright.model import Piece
from foamwright.stages.alter.draft import Draft
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.notches import places_of
from foamwright.stages.alter.widths import width_beside

#: Accuracy of a neck's width, mm.
NECK_TOLERANCE = 0.05


@dataclass(frozen=True, slots=True)
class NotchRow:
    """A notch in an allowance, mm."""

    piece: str
    name: str
    depth: float
    allowance: float

    @property
    def is_right(self) -> bool:
        return self.depth < self.allowance


@dataclass(frozen=True, slots=True)
class NeckRow:
    """The narrowest neck of a piece, mm; None: it has none.

    at: its middle, in the piece's coordinates.  least: what it must be at least; stated: by a
    profile or the job, not by the material's thickness.
    """

    piece: str
    width: float | None
    at: tuple[float, float] | None
    least: float
    stated: bool

    @property
    def is_right(self) -> bool:
        return self.width is None or self.width >= self.least - NECK_TOLERANCE


def notch_depths(drawn: Draft) -> tuple[NotchRow, ...]:
    """Each notch of a piece that is cut into an allowance; A304 tells those that are too deep."""
    found = []
    for number, notch in enumerate(drawn.spec.notch, 1):
        try:
            ring, at = places_of(drawn.pattern, notch)[0]
            width = width_beside(drawn.pattern, drawn.spec, ring, at)
        except NoSuchEdgeError:
            continue  # A303 tells it
        if width > 0 and notch.shape != "mark":
            found.append(NotchRow(drawn.spec.name, f"notch-{number}", notch.depth, width))
    return tuple(found)


def measure_neck(
    piece: Piece, stated: float | None, thickness: float
) -> tuple[NeckRow, tuple[Finding, ...]]:
    """A target's narrowest neck against what its material bears.

    stated: by the job or the material, and a narrower neck is refused (A363).  Without it a neck
    narrower than the material is thick is warned of (common practice, no source).
    """
    least = thickness if stated is None else stated
    neck = narrowest_neck(piece.outline, (o.path for o in piece.openings), NECK_TOLERANCE / 5)
    row = NeckRow(
        piece.name,
        None if neck is None else neck.width,
        None if neck is None else (neck.at.real, neck.at.imag),
        least,
        stated is not None,
    )
    if neck is None or row.is_right:
        return row, ()
    where = f"{piece.name} at {neck.at.real:.2f}, {neck.at.imag:.2f} mm"
    why = "asked for at least" if row.stated else "of the material's thickness"
    what = f"its narrowest neck is {neck.width:.2f} mm wide, less than the {least:.2f} mm {why}"
    tell = fault if row.stated else warning
    return row, (tell("A363", where, what, "widen it, or shrink what is cut there", piece.name),)
