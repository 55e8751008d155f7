"""The checks of the pattern: what `check` measures of the pieces before anything is cut.

Seams, notches and necks are measured on the patterns and targets, pairs on the pieces as they lie
on their sheets.  Does not print (`check_tables.py`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from foamwright.asked import AskedJob, Benches, Checks, Layouts
from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.job import PieceSpec
from foamwright.model import Piece, Placement
from foamwright.planning import ALLOWANCE_TOLERANCE
from foamwright.stages.alter import (
    Drafts,
    measure_cores,
    measure_neck,
    measure_pair,
    measure_seams,
    notch_depths,
)

Found = tuple[Finding, ...]


def check_patterns(
    asked: AskedJob, drafts: Drafts, thicknesses: Mapping[str, float]
) -> tuple[Checks, Found]:
    """The seam table on stitch lines, cores against their shells, notches beside their allowance.

    Seams of pieces that aren't wanted are left out.
    """
    wanted = {s.name: drafts[s.name] for s in asked.specs if s.name in drafts}
    seams = tuple(s for s in asked.job.seam if all(j.partition(".")[0] in wanted for j in s.joins))
    rows, findings = measure_seams(seams, wanted)
    notches = tuple(row for drawn in wanted.values() for row in notch_depths(drawn))
    from_shells = {n: d for n, d in drafts.items() if n in wanted or d.spec.core is None}
    cores, more = measure_cores(from_shells, thicknesses, ALLOWANCE_TOLERANCE)
    return Checks(seams=rows, cores=cores, notches=notches), (*findings, *more)


def check_necks(
    asked: AskedJob, benches: Benches, pieces: Mapping[str, Piece], faulty: Collection[str]
) -> tuple[Checks, Found]:
    """The narrowest neck of each target; faulty: pieces that are not whole, left out.

    A bare drawing's are looked for only where its material says what it bears.
    """
    rows = []
    findings: list[Finding] = []
    for spec in asked.specs:
        bench = benches.get((spec.material, asked.machine_of(spec)))
        if bench is None or spec.name not in pieces or spec.name in faulty:
            continue
        material = bench.material.profile
        stated = material.neck_min if spec.neck_min is None else spec.neck_min
        if stated is None and asked.request.is_drawing:
            continue
        row, found = measure_neck(pieces[spec.name], stated, material.severed)
        rows.append(row)
        findings.extend(found)
    return Checks(necks=tuple(rows)), tuple(findings)


def check_pairs(asked: AskedJob, layouts: Layouts) -> tuple[Checks, Found]:
    """Every left with its right as they lie on their sheets; none of a bare drawing's."""
    if asked.request.is_drawing:
        return Checks(), ()
    placed = (p for x in layouts.values() for s in x.sheets for p in s.placements)
    laid = {p.copy.name: _face_up(p) for p in placed}
    rows = []
    findings: list[Finding] = []
    for first, second in (pair for spec in asked.specs for pair in _pairs(spec)):
        if first in laid and second in laid:
            row, found = measure_pair(first, laid[first], second, laid[second])
            rows.append(row)
            findings.extend(found)
    return Checks(pairs=tuple(rows)), tuple(findings)


def _face_up(placement: Placement) -> Piece:
    """The piece as it lies, or as it will when the hand has turned it over."""
    if placement.copy.turned:
        return placement.piece.transformed(Affine.mirror_x())
    return placement.piece


def _pairs(spec: PieceSpec) -> Iterator[tuple[str, str]]:
    """Copies that must be mirror images; those of one piece and hand are alike, so one stands."""
    if spec.count and spec.mirrored:
        yield f"{spec.name}/drawn/1", f"{spec.name}/mirrored/1"
    if spec.mirror_of is not None:
        yield f"{spec.mirror_of}/drawn/1", f"{spec.name}/drawn/1"
