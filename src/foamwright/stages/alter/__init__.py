"""What the job makes of a drafted piece. Sees no machine and no stock.

Terms: the stitch line is where pieces are sewn, the cut line lies outside it by the allowance; an
edge is a run between two corners; a bite is what a notch or relief takes out of the outline.
"""

from foamwright.stages.alter.alter import alter, copies_of, draft
from foamwright.stages.alter.bevels import bevelled
from foamwright.stages.alter.core import CoreRow, measure_cores
from foamwright.stages.alter.cuttable import suited
from foamwright.stages.alter.derived import derived_cores
from foamwright.stages.alter.draft import Draft, Drafts
from foamwright.stages.alter.exchanged import exchanged
from foamwright.stages.alter.frail import NeckRow, NotchRow, measure_neck, notch_depths
from foamwright.stages.alter.labels import Face, Joint, labelled, sticker_for
from foamwright.stages.alter.pairs import PairRow, measure_pair
from foamwright.stages.alter.registered import registered
from foamwright.stages.alter.seam_notches import with_seam_notches
from foamwright.stages.alter.seams import SeamRow, measure_seams
from foamwright.stages.alter.template import templated

__all__ = [
    "CoreRow",
    "Draft",
    "Drafts",
    "Face",
    "Joint",
    "NeckRow",
    "NotchRow",
    "PairRow",
    "SeamRow",
    "alter",
    "bevelled",
    "copies_of",
    "derived_cores",
    "draft",
    "exchanged",
    "labelled",
    "measure_cores",
    "measure_neck",
    "measure_pair",
    "measure_seams",
    "notch_depths",
    "registered",
    "sticker_for",
    "suited",
    "templated",
    "with_seam_notches",
]
