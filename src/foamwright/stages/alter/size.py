"""Scale: outlines, openings, slits and lines grow; fixed openings and marks keep their size."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.model import Mark, Opening, Piece

#: Marks whose size is a tool's or an eye's matter: only their place is scaled.
KEEP_SIZE = ("cross", "dot", "hole")


def scaled(piece: Piece, scale: float, fixed: Collection[str] = ()) -> Piece:
    """The piece at `scale` about the drawing's origin; fixed: names of openings kept as drafted."""
    if scale == 1.0:
        return replace(
            piece, openings=tuple(replace(o, fixed=o.name in fixed) for o in piece.openings)
        )
    grown = piece.transformed(Affine.scaling(scale))
    openings = tuple(
        Opening(o.name, _kept_about_middle(o.path, scale), True) if o.name in fixed else g
        for o, g in zip(piece.openings, grown.openings, strict=True)
    )
    marks = tuple(
        _kept_mark(m, scale) if m.shape in KEEP_SIZE else g
        for m, g in zip(piece.marks, grown.marks, strict=True)
    )
    return replace(grown, openings=openings, marks=marks)


def _kept_about_middle(path: Path, scale: float) -> Path:
    low_x, low_y, high_x, high_y = path.bounds
    middle = complex(low_x + high_x, low_y + high_y) / 2
    return path.transformed(Affine.translation(middle * (scale - 1)))


def _kept_mark(mark: Mark, scale: float) -> Mark:
    m = Affine.translation(mark.at * (scale - 1))
    return replace(mark, at=m(mark.at), paths=tuple(p.transformed(m) for p in mark.paths))
