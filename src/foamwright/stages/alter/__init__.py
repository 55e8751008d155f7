"""What the job makes of a drafted piece. Sees no machine and no stock.

Terms: the stitch line is where pieces are sewn, the cut line lies outside it by the allowance; an
edge is a run between two corners; a bite is what a notch or relief takes out of the outline.
"""

from foamwright.stages.alter.alter import alter, copies_of, with_stitch
from foamwright.stages.alter.seams import SeamRow, measure_seams
from foamwright.stages.alter.size import scaled

__all__ = ["SeamRow", "alter", "copies_of", "measure_seams", "scaled", "with_stitch"]
