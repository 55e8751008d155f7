"""A file's tool against the profile values that the record lists, and contours against their kind.

What the geometry can't show is held together here: that the tool is the one of the profiles, that
its blade severs this stock, and that each contour was cut by an operation that does so.
A record that lists no values for a machine says nothing to compare.  Does not judge geometry.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from foamwright.model import Tool
from foamwright.record import ContourEntry, FileEntry, ProfileEntry, Record

Values: TypeAlias = Mapping[str, Any]

#: Lengths that differ by less are the same, mm: the tool's are kept with 9 decimals.
SAME = 1e-6
#: The limit at the bottom face where no profile tells one, mm.
FAR_FACE_MAX = 1.0
#: What frees a piece or cuts a slit.
_OPERATION = {"outline": "CUT_OUTER", "opening": "CUT_INNER", "slit": "CUT_SLIT"}
#: What makes a mark, by the machine's `marks_by`.
_MADE_BY = {"score": "SCORE", "pen": "PEN", "hole": "HOLE", "slit": "CUT_SLIT"}


def wrong_tool(record: Record, entry: FileEntry, tool: Tool) -> Iterator[str]:
    """Where a file's tool is not that of the machine and the material in the record."""
    machines = [_values(p) for p in record.profiles if (p.kind, p.id) == ("machine", entry.machine)]
    if not machines:
        return
    machine = machines[0]
    told = {
        "method": (tool.method, machine.get("method")),
        "applies": (sorted(tool.applies), sorted(machine.get("applies", ()))),
        "marks_by": (tool.marks_by, machine.get("marks_by")),
        "blade_offset": (tool.blade_offset, machine.get("blade_offset", 0.0)),
    }
    for key, (ours, theirs) in told.items():
        if ours != theirs:
            yield f"its {key} is {ours} and the machine's {theirs}"
    materials = [
        _values(p) for p in record.profiles if (p.kind, p.id) == ("material", entry.material)
    ]
    fitting = [m for m in materials if m.get("cut.method") == tool.method]
    if not fitting:
        yield f"the material's values tell of no {tool.method}"
        return
    wrong = [list(_wrong_blade(m, machine, record, entry, tool)) for m in fitting]
    yield from min(wrong, key=len)


def _values(profile: ProfileEntry) -> Values:
    return {v.key: v.value for v in profile.values}


def _wrong_blade(
    material: Values, machine: Values, record: Record, entry: FileEntry, tool: Tool
) -> Iterator[str]:
    """Where the stock's thickness or the blade's edge is not the profiles'."""
    severed = material.get("backing", material.get("thickness"))
    sheet = next((s for s in record.sheets if s.number == entry.sheet), None)
    if sheet is not None and sheet.thickness != severed:
        yield f"its sheet is {sheet.thickness:g} mm thick and the material's {severed} mm"
    if tool.method != "oscillating-knife":
        return
    edges = material.get("cut.edges", machine.get("edges", "single"))
    if tool.edges != edges:
        yield f"its blade is {tool.edges}-edged and the profiles' {edges}-edged"
    most = material.get("cut.far_face_max", machine.get("far_face_max", FAR_FACE_MAX))
    if tool.far_face_max != most:
        yield f"its far_face_max is {tool.far_face_max:g} mm and the profiles' {most} mm"
    angle = material.get("cut.edge_angle", machine.get("edge_angle"))
    if not isinstance(angle, int | float) or not isinstance(severed, int | float):
        yield "the profiles tell no edge_angle or no thickness"
        return
    due = severed / math.tan(math.radians(angle)) if 0 < angle <= 90 else math.inf
    if not abs(tool.overrun - due) < SAME:
        yield f"its overrun is {tool.overrun:g} mm and that of the profiles' blade {due:g} mm"


def wrong_operations(contours: Sequence[ContourEntry], tool: Tool) -> Iterator[tuple[str, str]]:
    """Copies with a contour that its operation does not make, and why."""
    for c in contours:
        kind = c.contour.partition(":")[0]
        due = {_OPERATION[kind]} if kind in _OPERATION else set()
        if kind == "mark":
            due = {"HOLE", _MADE_BY[tool.marks_by]}
        if due and c.operation not in due:
            yield c.copy_name, f"its {c.contour} is {c.operation}, not {' or '.join(sorted(due))}"
