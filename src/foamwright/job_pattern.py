"""The job's keys for the pattern itself: its size.

What they must agree on between each other is in `job_pattern_checks.py`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field, PlainValidator

from foamwright.fields import Length, Name, Size, Table

#: A factor of the drawn size.
Factor = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.001, le=1000)]


def _axis(value: Any) -> str | tuple[str, str]:
    """Raises ValueError with the reason."""
    if isinstance(value, str) and value:
        return value
    pair = value if isinstance(value, list | tuple) and len(value) == 2 else ()
    if pair and all(isinstance(v, str | int) and not isinstance(v, bool) and v != "" for v in pair):
        return str(pair[0]), str(pair[1])
    raise ValueError("names a drawn line or an edge, or two corners or points in brackets")


#: How an allowance goes round a corner.
CornerKind: TypeAlias = Literal["mitre", "butt", "fold", "bevel", "round"]
#: A straight line: the name of a drawn line or of an edge, or two places that it runs through.
AxisName = Annotated[str | tuple[str, str], PlainValidator(_axis)]


class ScaleKeys(Table):
    """Factors of the drawn size; across and along the grain besides. What is drawn scales, no more:
    allowances, notches, marks, what is `fixed`, foam thickness and kerf keep their size.
    """

    scale: Factor = 1.0
    scale_across: Factor = 1.0
    scale_along: Factor = 1.0


class Fit(Table):
    """The size at which a piece, on its stitch line, is so long along the grain or so wide across
    it, or an edge so long. Of a piece with both given the factors differ.
    """

    piece: Name | None = None
    edge: Name | None = None
    length: Size | None = None
    width: Size | None = None


class SizeKeys(ScaleKeys):
    """The size of a whole job: factors, or what they must come to."""

    fit: Fit | None = None


class SizeSpec(SizeKeys):
    """One `[[size]]`: the whole pattern is cut at it. It stands in place of the job's own size."""

    name: Name


class Carry(Table):
    """An edge or opening made as long as another, `piece.edge`, and `ease` longer."""

    edge: Name
    from_: Name = Field(alias="from")
    ease: Length = 0.0


class Spread(Table):
    """An outline slit along a line and opened about the line's far end.

    slit: a drawn line, or the places where it opens and of its hinge.  angle: degrees; or gap: of
    its mouth; or width: of the whole piece square to the slit; or edge: one that is to be of
    length, mm.  blend: how far to each side of its hinge the outline is drawn anew.
    """

    slit: AxisName
    angle: Annotated[float, Field(strict=True, gt=0, le=120)] | None = None
    gap: Size | None = None
    width: Size | None = None
    edge: Name | None = None
    length: Size | None = None
    blend: Size | None = None


class TrueKeys(Table):
    """An edge, `piece.edge`, at the end of a seam, drawn anew so that it meets the seam squarely.

    keep: its length, or its ends where they are.  length: one that it is to have instead, mm.
    """

    edge: Name
    keep: Literal["length", "ends"] = "length"
    length: Size | None = None
