"""The steps from drafted pieces to targets, in their order: the map of this room.

`draft` makes the patterns of a job: on their stitch lines, at their size, all steps done that may
look at another piece.  `alter` makes the target of one of them: allowance, notches, reliefs, marks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from foamwright.findings import Finding, fault
from foamwright.geometry.affine import Affine
from foamwright.job import PieceSpec, Seam
from foamwright.job_pattern import SizeKeys
from foamwright.model import Copy, Piece
from foamwright.stages.alter.allowance import allowed, stitching_marked, taken_off
from foamwright.stages.alter.arrows import pointed
from foamwright.stages.alter.bites import BitesMeetError, bitten
from foamwright.stages.alter.carried import carried
from foamwright.stages.alter.darts import dart_cuts, darted, darts_kept
from foamwright.stages.alter.draft import Draft
from foamwright.stages.alter.evened import evened
from foamwright.stages.alter.fit import size_of
from foamwright.stages.alter.marks import asked_marks, too_near
from foamwright.stages.alter.notches import Set, notches_and_reliefs
from foamwright.stages.alter.opened import both_halves, opened
from foamwright.stages.alter.pattern import OUTLINE, Pattern, drafted, missing_edges
from foamwright.stages.alter.size import Size, sized
from foamwright.stages.alter.sound import unsound
from foamwright.stages.alter.spread import spread
from foamwright.stages.alter.trued import trued

Found = tuple[Finding, ...]


def draft(
    pieces: Mapping[str, tuple[Piece, PieceSpec]],
    keys: SizeKeys,
    tolerance: float,
    size_name: str = "",
    seams: Sequence[Seam] = (),
) -> tuple[dict[str, Draft], Found]:
    """The patterns of a job's pieces at one of its sizes, by name; faults come as findings.

    keys: the size.  tolerance: of a parallel, mm.  size_name: for messages.  seams: the job's, of
    which some are to be made true.
    """
    findings: list[Finding] = []
    stitched: dict[str, tuple[Pattern, PieceSpec]] = {}
    for name, (piece, spec) in pieces.items():
        stitched[name], found = _stitched(piece, spec, tolerance)
        findings.extend(found)
    size, found = size_of(keys, {n: p for n, (p, _) in stitched.items()}, size_name)
    findings.extend(found)
    made: dict[str, Draft] = {}
    for name, (before, spec) in stitched.items():
        own = size * Size(spec.scale * spec.scale_across, spec.scale * spec.scale_along)
        pattern, found = sized(before, own, spec)
        findings.extend(found)
        pattern, found = spread(pattern, spec)
        findings.extend(found)
        made[name] = Draft(pattern, spec, before.transformed(own.map(before.grain)).piece())
    specs = {n: d.spec for n, d in made.items()}
    patterns, found = carried({n: d.pattern for n, d in made.items()}, specs)
    findings.extend(found)
    untrue = patterns
    patterns, found = trued(untrue, seams)
    patterns = {n: darts_kept(untrue[n], p, specs[n]) for n, p in patterns.items()}
    if found:  # lengths that hang on an edge made true
        patterns, more = carried(patterns, specs)
        found += more
    made = {n: replace(d, pattern=patterns[n]) for n, d in made.items()}
    return made, (*findings, *found)


def _stitched(
    piece: Piece, spec: PieceSpec, tolerance: float
) -> tuple[tuple[Pattern, PieceSpec], Found]:
    """The whole pattern on its stitch line, and what is asked of the whole of it."""
    if piece.half and spec.half is None:
        spec = spec.model_copy(update={"half": piece.half})
    pattern, pointing = pointed(drafted(piece, spec), spec)
    pattern, found = opened(pattern, spec)
    pattern, more = evened(pattern, spec)
    findings = (*pointing, *found, *more, *missing_edges(pattern))
    spec = both_halves(spec, pattern)
    pattern, found = taken_off(pattern, spec, tolerance)
    pattern, more = darted(pattern, spec)
    return (pattern, spec), (*findings, *found, *more)


def alter(drawn: Draft, tolerance: float) -> tuple[Piece, Found]:
    """The target that a pattern comes to; tolerance (mm) for the allowance's parallel.

    `stitch` of the result is the stitch line where an allowance lies outside it.  Faults come as
    findings, with the piece as far as it could be made.
    """
    spec = drawn.spec
    pattern, faults = allowed(drawn.pattern, spec, tolerance)
    if faults:
        return pattern.piece(), faults
    pattern = stitching_marked(pattern, spec)
    found = notches_and_reliefs(pattern, spec) + dart_cuts(pattern, spec)
    findings = list(found.findings)
    made = pattern.piece()
    try:
        made = _with_bites(made, found)
    except BitesMeetError as why:
        findings.append(fault("A308", spec.name, str(why), "move one of them", piece=spec.name))
    made = replace(made, slits=made.slits + found.slits)
    findings.extend(unsound(drawn.plain, made))
    made, more = _with_marks(made, pattern, spec)
    near = (too_near(made, m, 0.0) for m in found.marks)
    made = replace(made, marks=made.marks + found.marks)
    return made, (*findings, *more, *(f for f in near if f is not None))


def _with_bites(piece: Piece, found: Set) -> Piece:
    """The piece with its bites set in. Raises BitesMeetError."""
    outline = bitten(piece.outline, [b for b in found.bites if b.ring == OUTLINE])
    openings = tuple(
        replace(o, path=bitten(o.path, [b for b in found.bites if b.ring == o.name]))
        for o in piece.openings
    )
    return replace(piece, outline=outline, openings=openings)


def _with_marks(piece: Piece, pattern: Pattern, spec: PieceSpec) -> tuple[Piece, list[Finding]]:
    findings: list[Finding] = []
    marks = []
    for spec_mark, made in asked_marks(pattern, spec.mark):
        if isinstance(made, Finding):
            findings.append(made)
            continue
        near = too_near(piece, made, spec_mark.keep)
        if near is not None:
            findings.append(near)
        marks.append(made)
    return replace(piece, marks=piece.marks + tuple(marks)), findings


def copies_of(
    piece: Piece,
    spec: PieceSpec,
    material: str,
    machine: str,
    turns: Callable[[Piece], tuple[float, ...]],
    *,
    back: bool = False,
) -> tuple[Copy, ...]:
    """Every copy the job asks for, `name/drawn/1`, `name/mirrored/1`, ...

    turns: the rotations that the material allows a laid piece, by its arrows.  back: cut from the
    back of the material, so each copy is laid as its mirror image.
    """
    made = []
    for kind, count in (("drawn", spec.count), ("mirrored", spec.mirrored)):
        mirrored = kind == "mirrored"
        laid = piece.transformed(Affine.mirror_x()) if mirrored != back else piece
        for k in range(1, count + 1):
            name = f"{spec.name}/{kind}/{k}"
            made.append(Copy(name, spec.name, laid, mirrored, material, machine, turns(laid)))
    return tuple(made)
