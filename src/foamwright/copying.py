"""From altered pieces to the copies that are laid out: mirror images, labels, bridges, turns.

What is told of a copy is found here, where both its laid piece and its pattern are known.  Places
nothing on a sheet.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from foamwright.arrow_rules import Arrows, cannot_lie, rotations_for
from foamwright.asked import AskedJob, Bench, Benches
from foamwright.derive import bridging_for
from foamwright.findings import Finding
from foamwright.geometry.affine import Affine
from foamwright.job import PieceSpec
from foamwright.job_marks import PieceLabel
from foamwright.laying import turning_for
from foamwright.model import Copy, Piece
from foamwright.splitting import fitted
from foamwright.stages.alter import Draft, Drafts, Face, Joint, copies_of, labelled, sticker_for

#: The copies of each bench, by (material, machine) as the job names them.
Copies = Mapping[tuple[str, str], tuple[Copy, ...]]


def make_copies(
    asked: AskedJob, drafts: Drafts, benches: Benches, pieces: Mapping[str, Piece]
) -> tuple[Copies, list[Finding]]:
    """Every copy that is asked for, by bench in the benches' order, labelled where the job says."""
    findings: list[Finding] = []
    made: dict[tuple[str, str], tuple[Copy, ...]] = {}
    for pair, bench in benches.items():
        copies: list[Copy] = []
        for spec in asked.specs:
            if (spec.material, asked.machine_of(spec)) != pair or spec.name not in pieces:
                continue
            if not rotations_for(bench.material.profile, Arrows.of(pieces[spec.name])):
                told = cannot_lie(bench.material.profile, bench.material.id, pieces[spec.name])
                findings.append(told)
                continue
            for copy in _copies(asked, bench, spec, pieces[spec.name]):
                done, found = _labelled(asked, bench, drafts[spec.name], copy)
                parts, more = fitted(_with_rules(done, bench, spec), bench, spec)
                copies.extend(map(_at_origin, parts))
                findings.extend((*found, *more))
        made[pair] = tuple(copies)
    return made, findings


def _copies(asked: AskedJob, bench: Bench, spec: PieceSpec, piece: Piece) -> Iterator[Copy]:
    made = copies_of(
        piece,
        spec,
        bench.material.id,
        bench.machine.id,
        lambda laid: rotations_for(bench.material.profile, Arrows.of(laid)),
        back=bench.back,
    )
    bridging = bridging_for(spec.bridges, bench.cut)
    return (replace(c, bridging=bridging) for c in made if asked.wants(spec.name, c.name))


def _labelled(
    asked: AskedJob, bench: Bench, drawn: Draft, copy: Copy
) -> tuple[Copy, tuple[Finding, ...]]:
    keys = drawn.spec.label
    if keys is None and asked.job.label is not None:
        keys = PieceLabel(**asked.job.label.model_dump())
    if keys is None:
        return copy, ()
    face = Face(back=bench.back, drawn=bench.tool.marks_by in ("pen", "score"))
    joints = tuple(_joints(asked, drawn.spec.name))
    if keys.stickers:
        lines = sticker_for(copy, keys, drawn.spec.hand, joints, face.back)
        copy = replace(copy, sticker=lines)
    return labelled(copy, drawn.pattern, keys, drawn.spec.hand, joints, face)


def _joints(asked: AskedJob, piece: str) -> Iterator[Joint]:
    """A piece's sewn edges, by the number that each seam has in the job file, at whatever size."""
    for number, seam in enumerate(asked.job.seam):
        for of, _, edge in dict.fromkeys(j.partition(".") for j in seam.joins):
            if of == piece:
                yield Joint(number // len(asked.sizes) + 1, edge)


def _with_rules(copy: Copy, bench: Bench, spec: PieceSpec) -> Copy:
    """The copy with the job's and the material's rules of how it may lie."""
    lay = spec.lay
    turning = turning_for(bench.material.profile, Arrows.of(copy.piece), lay)
    group = lay.together or ""
    if group == "pair":
        group = f"{spec.name} {copy.name.rpartition('/')[2]}"
    one_sided = bool(copy.piece.marks or spec.bevel or bench.tool.kerf_exit is not None)
    return replace(
        copy,
        rotations=turning.rotations,
        free=turning.free,
        pin=None if lay.at is None else complex(*lay.at),
        group=group,
        turnable=bench.material.profile.turnable and not one_sided,
    )


def _at_origin(copy: Copy) -> Copy:
    """Moved so that its box starts at the origin: a layout doesn't hang on the drawing's place."""
    low_x, low_y, _, _ = copy.piece.outline.bounds
    return replace(copy, piece=copy.piece.transformed(Affine.translation(-complex(low_x, low_y))))
