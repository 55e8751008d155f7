"""Foam cores against their shells: pressed or loose, in per cent, against the job's band.

The figures of both ways to make a core are told, the one that the job chose and the other.  The
middle surface is a first guess: soft foam gives on the inside, so a test ring settles it, and some
oversize is intended.  Terms are in `rungs.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from foamwright.findings import Finding, fault, note
from foamwright.job_cores import CoreKeys, Way
from foamwright.stages.alter.derived import derived
from foamwright.stages.alter.draft import Draft, Drafts
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.rungs import Rung, rungs_of

#: What a core may lie outside its band by, per cent: rounding of what is measured.
BAND_SLACK = 0.05
#: The ways in words.
_WAYS: Mapping[Way, str] = {"inset": "by inset", "thickness": "by the foam's thickness"}


@dataclass(frozen=True, slots=True)
class CoreRow:
    """A core as measured against its shell.

    by: the way that it was made, empty where it is drawn.  thickness: of its foam, mm.  rungs:
    where the two are compared, end to end.  other: the same for the way that the job did not
    choose; empty for a drawn core or where it can't be had.  band: least and most strain, per cent.
    """

    name: str
    shell: str
    by: Way | None
    thickness: float
    rungs: tuple[Rung, ...]
    other: tuple[Rung, ...] = ()
    band: tuple[float, float] | None = None

    @property
    def middle(self) -> Rung:
        return self.rungs[len(self.rungs) // 2]

    @property
    def loosest(self) -> Rung:
        return min(self.rungs, key=lambda r: r.strain)

    @property
    def tightest(self) -> Rung:
        return max(self.rungs, key=lambda r: r.strain)

    @property
    def fits(self) -> bool:
        """Whether it lies within its band from end to end; so it does where none is stated."""
        low, high = self.band or (self.loosest.strain, self.tightest.strain)
        return self.loosest.strain >= low - BAND_SLACK and self.tightest.strain <= high + BAND_SLACK


def measure_cores(
    drafts: Drafts, thicknesses: Mapping[str, float], tolerance: float
) -> tuple[tuple[CoreRow, ...], tuple[Finding, ...]]:
    """Every core of the job that names its sides, against its shell.

    thicknesses: of each core's foam, mm, by its name, where the job doesn't state it.  tolerance:
    of a parallel, mm.  A351: sides that aren't there.  A352: the figures, told.  A353: a core
    outside its band.
    """
    rows: list[CoreRow] = []
    findings: list[Finding] = []
    for name, draft in drafts.items():
        keys = draft.spec.core
        thickness = keys and (keys.thickness or thicknesses.get(name))
        if keys is None or keys.sides is None or keys.of not in drafts or not thickness:
            continue
        try:
            row = _row(draft, drafts[keys.of], keys, thickness, tolerance)
        except NoSuchEdgeError as why:
            mend = "name two edges of the outline, by the same names on the shell and the core"
            findings.append(fault("A351", f"{name} core", str(why), mend, piece=name))
            continue
        rows.append(row)
        findings.append(_told(row))
        findings.extend(_outside(row))
    return tuple(rows), tuple(findings)


def _row(core: Draft, shell: Draft, keys: CoreKeys, thickness: float, tolerance: float) -> CoreRow:
    """Raises NoSuchEdgeError."""
    is_drawn = bool(core.spec.outline)
    rungs = rungs_of(shell.pattern, core.pattern, keys, thickness, not is_drawn)
    if is_drawn:
        return CoreRow(core.spec.name, keys.of, None, thickness, rungs, (), keys.band)
    other = _other(core, shell, keys, thickness, tolerance)
    return CoreRow(core.spec.name, keys.of, keys.by, thickness, rungs, other, keys.band)


def _other(
    core: Draft, shell: Draft, keys: CoreKeys, thickness: float, tolerance: float
) -> tuple[Rung, ...]:
    way: Way = "thickness" if keys.by == "inset" else "inset"
    try:
        made = derived(shell.pattern, core.spec, thickness, tolerance, way)
        return rungs_of(shell.pattern, made, keys, thickness, lies_in=True)
    except NoSuchEdgeError:
        return ()


def _told(row: CoreRow) -> Finding:
    what = (
        f"halfway along, its shell {row.shell} is {row.middle.shell:.1f} mm round inside; "
        f"the core{_way(row.by)} is {_figures(row.middle, row.thickness)}"
    )
    if row.other:
        way: Way = "thickness" if row.by == "inset" else "inset"
        middle = row.other[len(row.other) // 2]
        what += f"; {_WAYS[way]} it would be {_figures(middle, row.thickness)}"
    loose, tight = row.loosest.strain, row.tightest.strain
    if tight - loose > BAND_SLACK:
        what += f"; from end to end {loose:+.1f} to {tight:+.1f} %"
    if row.band is None:
        mend = 'state what is meant: band = ["LEAST %", "MOST %"] in [piece.core]'
        return note("A352", f"{row.name} core", f"{what}; whether it fits is open", mend, row.name)
    return note("A352", f"{row.name} core", what, piece=row.name)


def _way(by: Way | None) -> str:
    return "" if by is None else f" {_WAYS[by]}"


def _figures(rung: Rung, thickness: float) -> str:
    return (
        f"{rung.flat:.1f} mm wide flat and {rung.outside:.1f} mm round outside, rolled of "
        f"{thickness:g} mm foam: {rung.strain:+.1f} %"
    )


def _outside(row: CoreRow) -> Iterator[Finding]:
    if row.fits or row.band is None:
        return
    low, high = row.band
    is_loose = row.loosest.strain < low - BAND_SLACK
    worst = row.loosest if is_loose else row.tightest
    what = (
        f"{100 * worst.at:.0f} % along its sides the core is {worst.outside:.1f} mm round outside "
        f"and its shell {row.shell} {worst.shell:.1f} mm inside: {worst.strain:+.1f} %, with a "
        f"band of {low:+g} to {high:+g} %"
    )
    mend = "inset it less or widen the band" if is_loose else "inset it more or widen the band"
    yield fault("A353", f"{row.name} core", what, mend, piece=row.name)
