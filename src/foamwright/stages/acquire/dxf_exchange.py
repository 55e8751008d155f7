"""Sewn-products pattern exchange in DXF (ASTM D6673): which layer means what.

One block is a piece, inserted once; layers bear numbers.  The standard was read in two secondary
descriptions, not in itself, and the line that states the units is from memory.
Terms: a turn point is a corner of the boundary, a curve point a point between corners; validation
curves repeat a line for comparison.
Does not read graded nests, plaids and stripes: such layers are left out and counted.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from ezdxf.document import Drawing

#: The layer of the piece's boundary; a file without it is no exchange file.
BOUNDARY = "1"
#: The layer of what is cut inside it.
CUTOUTS = "11"


@dataclass(frozen=True, slots=True)
class Meaning:
    """role: one of `shapes.ROLES`, or None where the layer is left out; name: what it holds."""

    role: str | None
    name: str


LAYERS: Mapping[str, Meaning] = MappingProxyType(
    {
        "1": Meaning("cut", "boundary"),
        "2": Meaning(None, "turn points"),
        "3": Meaning(None, "curve points"),
        "4": Meaning("point", "notch"),
        "5": Meaning(None, "grade references"),
        "6": Meaning("fold", "mirror line"),
        "7": Meaning("grain", "grain line"),
        "8": Meaning("mark", "internal line"),
        "9": Meaning(None, "stripe references"),
        "10": Meaning(None, "plaid references"),
        "11": Meaning("cut", "internal cutout"),
        "12": Meaning(None, "blank"),
        "13": Meaning("mark", "drill hole"),
        "14": Meaning("mark", "sew line"),
        "15": Meaning("note", "annotation"),
        "80": Meaning("point", "t-notch"),
        "81": Meaning("point", "castle-notch"),
        "82": Meaning("point", "check-notch"),
        "83": Meaning("point", "u-notch"),
        "84": Meaning(None, "validation curves"),
        "85": Meaning(None, "validation curves"),
        "86": Meaning(None, "validation curves"),
        "87": Meaning(None, "validation curves"),
    }
)
#: Layers whose POINTs hold a notch's depth where others hold a height (group 30).
NOTCHES = frozenset(("4", "80", "81", "82", "83"))

_UNITS = re.compile(r"units\s*:\s*(metric|english)", re.IGNORECASE)


def meanings(document: Drawing) -> Mapping[str, Meaning]:
    """LAYERS, if the drawing is an exchange file; else nothing.

    It is one where every block that is drawn holds a boundary on layer 1 and nothing on a layer
    that the standard doesn't know.
    """
    drawn = [e for e in document.modelspace() if e.dxftype() != "TEXT"]
    if not drawn or any(e.dxftype() != "INSERT" for e in drawn):
        return MappingProxyType({})
    blocks = [document.blocks.get(e.dxf.get("name", "")) for e in drawn]
    return LAYERS if all(b is not None and _is_piece(b) for b in blocks) else MappingProxyType({})


def _is_piece(block: Any) -> bool:
    layers = {str(e.dxf.get("layer", "0")) for e in block if e.dxftype() not in ("TEXT", "ATTDEF")}
    return BOUNDARY in layers and layers <= LAYERS.keys()


def is_slit(layer: str, kind: str, closed: bool) -> bool:
    """Whether an internal cutout is a slit: a whole polyline that is open. Loose lines may join."""
    return layer == CUTOUTS and kind in ("POLYLINE", "LWPOLYLINE") and not closed


def stated_unit(document: Drawing) -> str | None:
    """`mm` or `in`, by the line that says METRIC or ENGLISH; None where no line or both say so."""
    places = [document.modelspace(), *document.blocks]
    texts = (str(e.dxf.get("text", "")) for p in places for e in p if e.dxftype() == "TEXT")
    said = {found[1].lower() for text in texts if (found := _UNITS.search(text))}
    return {"metric": "mm", "english": "in"}[said.pop()] if len(said) == 1 else None
