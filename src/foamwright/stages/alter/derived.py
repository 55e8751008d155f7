"""A core that is derived from its shell's stitch line, at the shell's size.

Its sides lie inside the shell's by a distance, or by as much as lets it fill the shell when it is
rolled from foam; other edges by what the job says.  Places and edges keep the shell's names.  The
shell's openings, slits, marks and arrows are not the core's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from foamwright.findings import Finding, fault
from foamwright.job import PieceSpec
from foamwright.job_cores import CoreKeys, Way
from foamwright.stages.alter.allowance import inset
from foamwright.stages.alter.arrows import pointed
from foamwright.stages.alter.axis import twin
from foamwright.stages.alter.draft import Draft, Drafts
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import OUTLINE, Pattern, mark_points, missing_edges
from foamwright.stages.alter.rungs import rungs_of
from foamwright.stages.alter.widths import DEFAULT, run_segments

#: What a side is inset by where the job doesn't say, mm: 1/2 in.  Common practice, no source.
SIDE_INSET = 12.7
#: How near to its shell's girth, and the oversize, a core by thickness comes on average, mm.
FILLED = 1e-4
#: Most rounds until it does.
MOST_ROUNDS = 12

Found = tuple[Finding, ...]


def derived_cores(
    drafts: Drafts,
    specs: Mapping[str, PieceSpec],
    thicknesses: Mapping[str, float],
    tolerance: float,
) -> tuple[dict[str, Draft], Found]:
    """The drafts of cores that have no drawing, by name.

    drafts: of their shells.  thicknesses: of each core's foam, mm, by its name; where the job and
    this give none, the core is left out, since its material is then told as missing.  tolerance: of
    a parallel, mm.  A351 tells a core that can't be had.
    """
    made: dict[str, Draft] = {}
    findings: list[Finding] = []
    for name, spec in specs.items():
        assert spec.core is not None
        thickness = spec.core.thickness or thicknesses.get(name)
        if spec.core.of not in drafts or thickness is None:
            continue
        try:
            pattern = derived(drafts[spec.core.of].pattern, spec, thickness, tolerance)
        except NoSuchEdgeError as why:
            mend = "name edges of the shell, and lessen what is taken off"
            findings.append(fault("A351", f"{name} core", str(why), mend, piece=name))
            continue
        pattern, found = pointed(pattern, spec)
        findings += found
        made[name] = Draft(pattern, spec, pattern.piece())
        findings += missing_edges(pattern)
    return made, tuple(findings)


def derived(
    shell: Pattern, spec: PieceSpec, thickness: float, tolerance: float, by: Way | None = None
) -> Pattern:
    """The core within a shell; by: in the place of the job's own way. Raises NoSuchEdgeError."""
    keys = spec.core
    assert keys is not None
    plain = replace(
        shell,
        name=spec.name,
        holes=(),
        edges=MappingProxyType({**shell.edges, **spec.edges}),
        points=MappingProxyType({**shell.points, **mark_points(spec)}),
        slits=(),
        marks=(),
        grain=None,
        nap=None,
        stretch=None,
        notes=(),
        cut=None,
    )
    if (by or keys.by) == "inset" or keys.sides is None:
        return _within(plain, keys, SIDE_INSET, tolerance, fixed=False)
    taken = math.pi * (1 - keys.neutral) * thickness
    for _ in range(MOST_ROUNDS):
        if taken < 0:
            raise NoSuchEdgeError(f"{thickness:g} mm of foam would be wider than the shell itself")
        core = _within(plain, keys, taken, tolerance, fixed=True)
        rungs = rungs_of(shell, core, keys, thickness, lies_in=True)
        over = sum(r.outside - r.shell * (1 + keys.oversize / 100) for r in rungs) / len(rungs)
        if abs(over) <= FILLED:
            break
        taken += over / 2
    return core


def _within(
    plain: Pattern, keys: CoreKeys, on_sides: float, tolerance: float, fixed: bool
) -> Pattern:
    """The core inset by edge; on_sides: of the sides, mm, unless named; fixed: even if named."""
    mm = [keys.inset.get(DEFAULT, 0.0)] * len(plain.outline.path.segments)
    sides = keys.sides or ()
    if DEFAULT not in keys.inset or fixed:
        _set(plain, mm, dict.fromkeys(sides, on_sides))
    named = {n: w for n, w in keys.inset.items() if n != DEFAULT and not (fixed and n in sides)}
    twins = {twin(n): w for n, w in named.items() if twin(n) in plain.edges}
    _set(plain, mm, {**twins, **named})
    return plain.reshaped(OUTLINE, inset(plain.outline, mm, tolerance))


def _set(pattern: Pattern, mm: list[float], widths: Mapping[str, float]) -> None:
    """Raises NoSuchEdgeError."""
    for name, width in widths.items():
        run = pattern.run(name)
        for k in run_segments(pattern.ring(run.ring), run):
            mm[k] = width
