"""Groups and layers of a cut file: their names, colours and the order in which they stand.

A block is one operation within one band of the feed.  Groups in the SVG and layers in the DXF bear
the same names.  Does not know either format.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from types import MappingProxyType

from foamwright.model import Cut, FileStyle, Operation, Program

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
    seen: dict[str, int] = {}
    for (_, operation), run in groupby(program.cuts, key=lambda c: (c.band, c.operation)):
        layer = layer_name(operation, style)
        seen[layer] = seen.get(layer, 0) + 1
        label = layer if seen[layer] == 1 else f"{layer}-{seen[layer]}"
        yield Block(operation, layer, label, colour_of(operation, style), tuple(run))


def used_layers(program: Program, style: FileStyle) -> dict[str, str]:
    """Operation (or layer for people) to the name it bears in the file, in file order."""
    names: dict[str, str] = {b.operation: b.layer for b in blocks(program, style)}
    people = {n: layer_name(n, style) for n in FOR_PEOPLE if n in style.writes}
    return {**names, **people}
