"""Groups and layers of a cut file: their names, colours and the order in which they stand.

A block is one operation within one band of the feed.  Groups in the SVG and layers in the DXF bear
the same names.  Does not know either format.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from itertools import count, groupby
from types import MappingProxyType

from foamwright.errors import GeometryError
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import split_wide_arcs
from foamwright.geometry.segments import Cubic
from foamwright.model import Cut, FileStyle, Operation, Program
from foamwright.stages.save.people import lines_for_people

#: Okabe and Ito's palette (2008), which people of every colour vision can tell apart.
COLOURS: Mapping[str, str] = MappingProxyType(
    {
        "PEN": "#009E73",
        "SCORE": "#56B4E9",
        "HOLE": "#CC79A7",
        "CUT_SLIT": "#E69F00",
        "CUT_INNER": "#0072B2",
        "CUT_OUTER": "#D55E00",
        "TEXT": "#000000",
        "STOCK": "#000000",
        "CHECK": "#F0E442",
    }
)
#: Layers for people, written only where the machine's software can bear them.
FOR_PEOPLE = ("TEXT", "STOCK", "CHECK")


@dataclass(frozen=True, slots=True)
class Block:
    """The cuts of one operation in one band. label: the group's id, unique in its file."""

    operation: Operation
    layer: str
    label: str
    colour: str
    cuts: tuple[Cut, ...]


def layer_name(operation: str, style: FileStyle) -> str:
    return style.layers.get(operation, operation)


def colour_of(operation: str, style: FileStyle) -> str:
    return style.colours.get(operation, COLOURS[operation])


def blocks(program: Program, style: FileStyle) -> Iterator[Block]:
    """The program's cuts in cutting order, block by block."""
    taken = set(used_layers(program, style).values())
    seen: set[str] = set()
    for (_, operation), cuts in groupby(program.cuts, key=lambda c: (c.band, c.operation)):
        layer = layer_name(operation, style)
        label = free_label(layer, seen, taken)
        seen.add(label)
        yield Block(operation, layer, label, colour_of(operation, style), tuple(cuts))


def free_label(layer: str, seen: Set[str], taken: Set[str]) -> str:
    """The layer's name for its first group, then `NAME-2`, `NAME-3`.. past the names taken."""
    if layer not in seen:
        return layer
    numbered = (f"{layer}-{k}" for k in count(2))
    return next(label for label in numbered if label not in seen and label not in taken)


def used_layers(program: Program, style: FileStyle) -> dict[str, str]:
    """Operation (or layer for people) to the name it bears in the file, in file order."""
    shown = {*lines_for_people(program, style), *({"TEXT"} & set(style.writes))}
    names = (*(c.operation for c in program.cuts), *(n for n in FOR_PEOPLE if n in shown))
    return {n: layer_name(n, style) for n in names}


def as_written(path: Path) -> Path:
    """The path with arcs as files hold them. Raises GeometryError for other curves."""
    if any(isinstance(s, Cubic) for s in path.segments):
        raise GeometryError("a cut with a curve that is neither line nor arc can't be written")
    return split_wide_arcs(path)
