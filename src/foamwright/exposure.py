"""What burning the kerf of a forbidden material could give off: a reason that people understand.

A theoretical maximum: all of the kerf's mass turns to gas and none of it leaves the room.  Shown
for forbidden pairs only and never beside a permit: a room's mean says nothing of the plume.
"""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.hazards import Gas

#: The example's kerf, mm; metres of cut; and the sealed room, m3.
KERF, METRES, ROOM = 0.2, 1.0, 30.0
#: Litres of a mole of gas at 25 degrees and one atmosphere.
MOLAR_VOLUME = 24.45


@dataclass(frozen=True, slots=True)
class Exposure:
    """grams of gas; ppm of it in the room; times the limit that this is."""

    grams: float
    ppm: float
    times: float


def exposure(
    gas: Gas, thickness: float, kerf: float = KERF, metres: float = METRES, room: float = ROOM
) -> Exposure:
    """What a cut of so many metres could give off. thickness, kerf: mm; room: m3."""
    stuff = thickness * kerf * metres * gas.density  # mm2 times m are cm3
    grams = stuff * gas.share
    ppm = grams / gas.molar * MOLAR_VOLUME / (room * 1000) * 1e6
    return Exposure(grams, ppm, ppm / gas.limit)


def said(gas: Gas, thickness: float) -> str:
    """The reason in words; empty for stock without a thickness."""
    if thickness <= 0:
        return ""
    found = exposure(gas, thickness)
    beside = "times" if found.times >= 1 else "of"
    return (
        f"{METRES:g} m of cut in {thickness:g} mm at {KERF:g} mm kerf can give off up to "
        f"{found.grams:.2g} g of {gas.agent}, {found.ppm:.2g} ppm in a sealed room of {ROOM:g} m3: "
        f"{found.times:.2g} {beside} the {gas.limit_source}, {gas.limit:g} ppm (a theoretical "
        "maximum, and the plume is far above a room's mean)"
    )
