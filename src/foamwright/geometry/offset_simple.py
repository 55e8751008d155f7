"""Which raw parallels bound their result by themselves, but for loops that are cut off.

A raw parallel whose crossings with itself are all known, and whose loops there all turn the way of
an inside corner's and don't interlock, is the result with those loops left out.  For at such a
crossing both strands of the loop lie on the material's side of the corner that remains, so the
loop winds once more round what the rest winds round already, and what it winds round at least once
is what the result is (`winding.py`).  Where anything is nearer to a touch than doubles can tell, or
anything else than this is found, the answer is "not known" and the polygon library has to say.
"""

from __future__ import annotations

from foamwright.geometry.chains import Chains, Flags, Indices
from foamwright.geometry.offset_raw import Raw


def simple_results(raw: Raw, clockwise: Flags, narrow: float) -> tuple[Chains, Indices]:
    """The results that are known, and for each segment the element that it is (a stretch) of.

    A path whose result isn't known has no segments.  clockwise: how each source runs; narrow: a
    result narrower than this, mm, is not told.
    """
    from foamwright.geometry.offset_simple_compiled import simple_pieces

    pieces, first = simple_pieces(
        raw.start,
        raw.end,
        raw.bulge,
        raw.role,
        raw.sharp,
        raw.first,
        clockwise,
        narrow,
    )
    n = int(first[-1])
    made = Chains(pieces.start[:n], pieces.end[:n], pieces.bulge[:n], pieces.corner[:n], first)
    return made, pieces.element[:n]
