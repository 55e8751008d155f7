"""From a drafted piece to the target: size, allowance, notches, reliefs and marks, in that order.

Only the drafted outline scales: allowance, notches, reliefs, marks and fixed openings keep their
size.  A stitch-line drawing gets its allowance outside; a cut-line drawing has it taken off, is
scaled, and gets it back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from foamwright.findings import Finding, fault
from foamwright.geometry.affine import Affine
from foamwright.geometry.offset import offset
from foamwright.geometry.path import Path
from foamwright.geometry.region import self_crossings
from foamwright.job import PieceSpec
from foamwright.model import Copy, Piece
from foamwright.stages.alter.bites import BitesMeetError, bitten
from foamwright.stages.alter.marks import asked_marks, too_near
from foamwright.stages.alter.notches import notches_and_reliefs
from foamwright.stages.alter.size import scaled

#: How far a mitred corner may reach, as a multiple of the allowance, before it is cut square.
MITRE_LIMIT = 4.0


def alter(
    piece: Piece, spec: PieceSpec, scale: float, tolerance: float
) -> tuple[Piece, tuple[Finding, ...]]:
    """The target piece as the job asks for it; tolerance (mm) for the allowance's parallel.

    `stitch` of the result is the stitch line where an allowance lies outside it.  Faults come as
    findings, with the piece as far as it could be made.
    """
    named = {o.name for o in piece.openings}
    findings: list[Finding] = [
        fault(
            "A307",
            spec.name,
            f"fixed names {n!r}, which is no opening of the piece",
            f"openings are {', '.join(sorted(named)) or 'none'}",
            piece=spec.name,
        )
        for n in spec.fixed
        if n not in named
    ]
    base = replace(piece, name=spec.name)
    drawn = scaled(base, scale, spec.fixed)
    lines = _lines(base, drawn, spec, scale, tolerance)
    if isinstance(lines, Finding):
        return drawn, (*findings, lines)
    stitch, cut_line = lines
    measured = replace(drawn, outline=drawn.outline if spec.drawn == "stitch-line" else cut_line)
    found = notches_and_reliefs(measured, cut_line, spec)
    findings.extend(found.findings)
    try:
        outline = bitten(cut_line, found.bites)
    except BitesMeetError as why:
        findings.append(fault("A308", spec.name, str(why), "move one of them", piece=spec.name))
        outline = cut_line
    made = replace(drawn, outline=outline, slits=drawn.slits + found.slits, stitch=stitch)
    findings.extend(_crossed(made))
    made, more = _with_marks(made, spec, scale)
    made = replace(made, marks=made.marks + found.marks)
    return made, (*findings, *more)


def _lines(
    base: Piece, drawn: Piece, spec: PieceSpec, scale: float, tolerance: float
) -> tuple[Path | None, Path] | Finding:
    """Stitch line (None without an allowance) and cut line."""
    width = spec.allowance_width
    if width <= 0:
        return None, drawn.outline
    if spec.drawn == "cut-line":
        inner = _one(offset(base.outline, -width, tolerance, "mitre", MITRE_LIMIT))
        if inner is None:
            return _no_room(spec, width)
        stitch = inner.transformed(Affine.scaling(scale))
        if scale == 1.0:
            return stitch, drawn.outline
    else:
        stitch = drawn.outline
    outer = _one(offset(stitch, width, tolerance, "mitre", MITRE_LIMIT))
    return _no_room(spec, width) if outer is None else (stitch, outer)


def _one(paths: tuple[Path, ...]) -> Path | None:
    """The only outer path of an offset, or None where it fell apart or vanished."""
    outer = [p for p in paths if p.area > 0]
    return outer[0] if len(outer) == 1 else None


def _no_room(spec: PieceSpec, width: float) -> Finding:
    return fault(
        "A309",
        spec.name,
        f"an allowance of {width:.2f} mm doesn't leave one whole outline",
        "lessen the allowance or widen the drawing's narrow part",
        piece=spec.name,
    )


def _crossed(piece: Piece) -> list[Finding]:
    return [
        fault(
            "A310",
            f"{piece.name} at {p.real:.2f}, {p.imag:.2f} mm",
            "the altered outline crosses itself",
            "lessen the relief, notch or allowance there",
            piece=piece.name,
        )
        for p in self_crossings(piece.outline)
    ]


def _with_marks(piece: Piece, spec: PieceSpec, scale: float) -> tuple[Piece, list[Finding]]:
    findings: list[Finding] = []
    marks = []
    for spec_mark, made in zip(spec.mark, asked_marks(piece, spec.mark, scale), strict=True):
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
    turns: Callable[[float | None], tuple[float, ...]],
    *,
    back: bool = False,
) -> tuple[Copy, ...]:
    """Every copy the job asks for, `name/drawn/1`, `name/mirrored/1`, ...

    turns: the rotations that the material allows for a grain direction.  back: cut from the back
    of the material, so each copy is laid as its mirror image.
    """
    made = []
    for kind, count in (("drawn", spec.count), ("mirrored", spec.mirrored)):
        mirrored = kind == "mirrored"
        laid = piece.transformed(Affine.mirror_x()) if mirrored != back else piece
        for k in range(1, count + 1):
            name = f"{spec.name}/{kind}/{k}"
            made.append(Copy(name, spec.name, laid, mirrored, material, machine, turns(laid.grain)))
    return tuple(made)
