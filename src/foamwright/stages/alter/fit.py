"""The size of a job from what a piece or an edge of it must measure."""

from __future__ import annotations

from collections.abc import Mapping

from foamwright.findings import Finding, fault, note
from foamwright.job_pattern import Fit, SizeKeys
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern, edge_of
from foamwright.stages.alter.size import Size, extent


def size_of(
    keys: SizeKeys, patterns: Mapping[str, Pattern], name: str = ""
) -> tuple[Size, tuple[Finding, ...]]:
    """The size that the keys ask for; a fit is measured on the stitch lines as drawn.

    A317 tells the factors that a fit came to, or why it can't be had.  name: of the size.
    """
    where = f"size {name} fit" if name else "fit"
    if keys.fit is None:
        return Size(keys.scale * keys.scale_across, keys.scale * keys.scale_along), ()
    try:
        size = _fitted(keys.fit, patterns)
    except NoSuchEdgeError as why:
        return Size(), (fault("A317", where, str(why), "name an edge as piece.edge"),)
    factors = f"{size.along:.4f}"
    if size.across != size.along:
        factors += f" along and {size.across:.4f} across"
    return size, (note("A317", where, f"the drawn size is scaled by {factors}"),)


def _fitted(fit: Fit, patterns: Mapping[str, Pattern]) -> Size:
    if fit.edge is not None and fit.length is not None:
        factor = fit.length / edge_of(fit.edge, patterns).length
        return Size(factor, factor)
    if fit.piece is None or fit.piece not in patterns:
        raise NoSuchEdgeError(f"there is no piece {fit.piece!r} in this run")
    pattern = patterns[fit.piece]
    across, along = extent(pattern.outline.path, pattern.grain)
    x = None if fit.width is None else fit.width / across
    y = None if fit.length is None else fit.length / along
    both = x if y is None else y
    assert both is not None
    return Size(both if x is None else x, both if y is None else y)
