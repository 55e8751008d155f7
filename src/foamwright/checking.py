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


def check_pairs(asked: AskedJob, benches: Benches, layouts: Layouts) -> tuple[Checks, Found]:
    """Every left with its right as they lie on their sheets; none of a bare drawing's."""
    if asked.request.is_drawing:
        return Checks(), ()
    laid = {
        p.copy.name: _face_up(p, benches[pair].back)
        for pair, layout in layouts.items()
        for sheet in layout.sheets
        for p in sheet.placements
    }
    rows = []
    findings: list[Finding] = []
    for first, second in (pair for spec in asked.specs for pair in _pairs(spec, laid)):
        if first in laid and second in laid:
            one = laid[first]
            twins = first.partition("/")[0] != second.partition("/")[0]
            if twins and _kind(first) != _kind(second):  # two of one hand
                one = one.transformed(Affine.mirror_x())
            row, found = measure_pair(first, one, second, laid[second])
            rows.append(row)
            findings.extend(found)
    return Checks(pairs=tuple(rows)), tuple(findings)


def _face_up(placement: Placement, back: bool) -> Piece:
    """The piece as its face shows it: turned over where its back was cut, or where the hand will
    turn it over.
    """
    if placement.copy.turned != back:
        return placement.piece.transformed(Affine.mirror_x())
    return placement.piece


def _pairs(spec: PieceSpec, laid: Collection[str]) -> Iterator[tuple[str, str]]:
    """Copies that must be mirror images; those of one piece and hand are alike, so one stands.

    Of a piece and its twin those of one kind are compared, or what there is of both.
    """
    if spec.count and spec.mirrored:
        yield f"{spec.name}/drawn/1", f"{spec.name}/mirrored/1"
    if spec.mirror_of is not None:
        twins = [_kinds(name, laid) for name in (spec.mirror_of, spec.name)]
        both = [(a, b) for a in twins[0] for b in twins[1]]
        yield from sorted(both, key=lambda pair: _kind(pair[0]) != _kind(pair[1]))[:1]


def _kinds(piece: str, laid: Collection[str]) -> list[str]:
    """The first copy of each kind that lies on a sheet."""
    return [n for kind in ("drawn", "mirrored") if (n := f"{piece}/{kind}/1") in laid]


def _kind(copy: str) -> str:
    return copy.split("/")[1]
