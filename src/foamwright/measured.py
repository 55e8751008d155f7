"""What was measured, put in the place of a cut's or profile's own values.

An entry serves the machine, tool and operation that it was measured with and no other.  Of several
at one thickness the newest is in force.  Stock within a tenth of a measured thickness counts as
that thickness; between two measured ones a length or speed lies on a straight line; beyond them
there is none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from foamwright.findings import Refused, fault
from foamwright.profile_measured import OF_STOCK, TOLD, MeasuredEntry, parsed
from foamwright.profile_models import BASES, Basis, CutSettings, MachineProfile, MaterialProfile
from foamwright.series import ON_A_LINE

#: Stock that differs by no more than this share is of one thickness (common practice, no source).
SAME_STOCK = 0.1
#: Longest source that is told, characters: a profile's own limit.
LONGEST_SOURCE = 200
#: Decimals of a value between two measured ones, mm or mm/s: a nanometre.
DECIMALS = 6


@dataclass(frozen=True, slots=True)
class Found:
    """A measured value. numbers: of the entries that it was taken from, as they stand in the log.

    basis: the weakest of the points that it lies between.
    """

    key: str
    value: Any
    numbers: tuple[int, ...]
    source: str
    basis: Basis = "measured"


def measured_cut(
    cut: CutSettings, material: MaterialProfile, machine: MachineProfile
) -> tuple[Found, ...]:
    """What was measured for this cut's machine, tool and operation at the material's thickness.

    In the order of measuring.  Raises Refused (J526) for a thickness outside those measured.
    """
    logs: dict[str, list[tuple[int, MeasuredEntry]]] = {}
    for number, entry in enumerate(material.measured):
        if entry.what not in (*OF_STOCK, *TOLD) and serves(entry, machine, cut):
            logs.pop("kerf" if entry.what in ("kerf_x", "kerf_y") else "", None)
            if entry.what == "kerf":
                logs.pop("kerf_x", None)
                logs.pop("kerf_y", None)
            logs.setdefault(entry.what, []).append((number, entry))
    found = [_at(key, log, cut, material, machine) for key, log in logs.items()]
    return tuple(sorted(found, key=lambda f: f.numbers))


def serves(entry: MeasuredEntry, machine: MachineProfile, cut: CutSettings) -> bool:
    """Whether an entry was measured on this machine, with this tool, in this operation."""
    same = (entry.machine or "").casefold() == machine.id.casefold()
    return same and entry.tool in (machine.tool, None) and entry.operation == cut.operation


def _at(
    key: str,
    log: Sequence[tuple[int, MeasuredEntry]],
    cut: CutSettings,
    material: MaterialProfile,
    machine: MachineProfile,
) -> Found:
    thickness = material.thickness
    points = {}
    for point in cut.at:
        if key in point.values:
            source = point.source or cut.source or ""
            basis = cut.basis_of(key)
            points[point.thickness] = Found(key, point.values[key], (), source, basis)
    for number, entry in log:
        value = parsed(CutSettings, key, entry.value)
        at = thickness if entry.thickness is None else entry.thickness
        points[at] = Found(key, value, (number,), entry.source)
    return _between(key, points, thickness, f"{material.id} on {machine.id}")


def _between(key: str, points: Mapping[float, Found], thickness: float, where: str) -> Found:
    near = min(points, key=lambda t: abs(t - thickness))
    if abs(near - thickness) <= SAME_STOCK * thickness:
        return points[near]
    ordered = sorted(points)
    for low, high in pairwise(ordered):
        if low < thickness < high:
            share = (thickness - low) / (high - low)
            return _mixed(key, points[low], points[high], share)
    span = f"{ordered[0]:g} to {ordered[-1]:g} mm" if len(ordered) > 1 else f"{near:g} mm alone"
    what = f"its {key} was measured in {span}, and the stock is {thickness:g} mm thick"
    mend = f"cut a test coupon of {thickness:g} mm stock and record what it measures"
    raise Refused([fault("J526", where, what, mend)])


def _mixed(key: str, low: Found, high: Found, share: float) -> Found:
    """On the straight line between two; words are the thicker stock's."""
    numbers = tuple(sorted({*low.numbers, *high.numbers}))
    value = high.value
    if key in ON_A_LINE or isinstance(value, float):
        value = round(low.value + share * (high.value - low.value), DECIMALS)
    basis = low.basis if low.basis != "measured" else high.basis
    return Found(key, value, numbers, f"{low.source}; {high.source}", basis)


def overlaid(cut: CutSettings, found: Sequence[Found]) -> CutSettings:
    """The cut with what was measured in place of its own, its bases told value by value."""
    if not found:
        return cut
    values: dict[str, Any] = {}
    bases = {k: cut.basis_of(k) for k in given(cut)}
    both = {"kerf_x", "kerf_y"}
    for one in found:
        if one.key in both and cut.kerf is not None:
            for other in both:
                values.setdefault(other, cut.kerf)
                bases.setdefault(other, cut.basis_of("kerf"))
            values["kerf"] = None
            bases.pop("kerf", None)
        if one.key == "kerf":
            values |= dict.fromkeys(both)
            bases = {k: b for k, b in bases.items() if k not in both}
        values[one.key] = one.value
        bases[one.key] = one.basis
    in_series = {k for p in cut.at for k in p.values}
    if in_series & values.keys():
        values["at"] = ()
    told = "; ".join(dict.fromkeys(f"{f.key}: {f.source}" for f in found))
    source = f"{told}; else {cut.source}" if cut.source else told
    least = min(bases.values(), key=BASES.index)
    return cut.model_copy(
        update={**values, "bases": bases, "basis": least, "source": source[:LONGEST_SOURCE]}
    )


def weakest(cut: CutSettings) -> Basis:
    """How the least known of a cut's values is known."""
    return min({cut.basis, *cut.bases.values()}, key=BASES.index)


def given(cut: CutSettings) -> tuple[str, ...]:
    """The keys of a cut that give a value which has a basis."""
    return tuple(
        k
        for k in type(cut).model_fields
        if k not in _NO_VALUE and k in cut.model_fields_set and getattr(cut, k) is not None
    )


_NO_VALUE = frozenset(
    {"method", "machine", "tool", "operation", "basis", "bases", "source", "at", "bridges"}
)


def with_measures(
    data: dict[str, Any], origins: dict[str, str], keys: Sequence[str]
) -> tuple[dict[str, Any], dict[str, str]]:
    """A profile's own values as last measured, its bases and origins with them; raw data."""
    data, origins = dict(data), dict(origins)
    for number, entry in enumerate(data.get("measured", ())):
        what = entry.get("what")
        if what in keys:
            data[what] = entry.get("value")
            data["bases"] = {**data.get("bases", {}), what: "measured"}
            data.setdefault("source", f"measured {entry.get('date')}")
            origins[what] = origins[f"measured.{number}"]
    return data, origins
