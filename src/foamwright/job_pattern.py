"""The job's keys for the pattern itself: its size.

What they must agree on between each other is in `job_pattern_checks.py`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from foamwright.fields import Name, Size, Table

#: A factor of the drawn size.
Factor = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.001, le=1000)]


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
