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
from foamwright.job import PieceSpec
from foamwright.model import Copy, Piece
from foamwright.stages.alter.bites import BitesMeetError, bitten
from foamwright.stages.alter.marks import asked_marks, too_near
from foamwright.stages.alter.notches import notches_and_reliefs
from foamwright.stages.alter.size import scaled
from foamwright.stages.alter.sound import unsound

#: How far a mitred corner may reach, as a multiple of the allowance, before it is cut square.
MITRE_LIMIT = 4.0


def alter(
    piece: Piece, spec: PieceSpec, scale: float, tolerance: float
) -> tuple[Piece, tuple[Finding, ...]]:
    """The target piece as the job asks for it; tolerance (mm) for the allowance's parallel.

    `stitch` of the result is the stitch line where an allowance lies outside it.  Faults come as
    findings, with the piece as far as it could be made.
    """
    findings: list[Finding] = _unknown_fixed(piece, spec)
    base = replace(piece, name=spec.name)
    drawn = scaled(base, scale, spec.fixed)
    lines = _lines(base, drawn, spec, scale, tolerance)
    if isinstance(lines, Finding):
        return drawn, (*findings, lines)
    stitch, cut_line = lines
    found = notches_and_reliefs(drawn, cut_line, spec, _inward(spec, scale))
    findings.extend(found.findings)
    try:
        outline = bitten(cut_line, found.bites)
    except BitesMeetError as why:
        findings.append(fault("A308", spec.name, str(why), "move one of them", piece=spec.name))
        outline = cut_line
    made = replace(drawn, outline=outline, slits=drawn.slits + found.slits, stitch=stitch)
    findings.extend(unsound(scaled(base, scale), made))
    made, more = _with_marks(made, spec, scale)
    near = (too_near(made, m, 0.0) for m in found.marks)
    made = replace(made, marks=made.marks + found.marks)
    return made, (*findings, *more, *(f for f in near if f is not None))


def _unknown_fixed(piece: Piece, spec: PieceSpec) -> list[Finding]:
    named = {o.name for o in piece.openings}
    return [
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


def _inward(spec: PieceSpec, scale: float) -> float:
    """How far the cut line lies inside the drawn outline at its size, mm."""
    return spec.allowance_width * (scale - 1 if spec.drawn == "cut-line" else -1)


def with_stitch(piece: Piece, spec: PieceSpec, tolerance: float) -> Piece:
    """The drawn piece with its stitch line, where the drawing shows a cut line with an allowance.

    Left as it is where the allowance leaves no whole stitch line, which `alter` tells.
    """
    if spec.drawn == "stitch-line" or spec.allowance_width <= 0:
        return piece
    return replace(piece, stitch=_stitch_within(piece.outline, spec.allowance_width, tolerance))


def _stitch_within(cut_line: Path, width: float, tolerance: float) -> Path | None:
    return _one(offset(cut_line, -width, tolerance, "mitre", MITRE_LIMIT))


def _lines(
    base: Piece, drawn: Piece, spec: PieceSpec, scale: float, tolerance: float
) -> tuple[Path | None, Path] | Finding:
    """Stitch line (None without an allowance) and cut line."""
    width = spec.allowance_width
    if width <= 0:
        return None, drawn.outline
    if spec.drawn == "cut-line":
        inner = _stitch_within(base.outline, width, tolerance)
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
    """The only path of an offset, or None where it fell apart, vanished or closed round a gap."""
    return paths[0] if len(paths) == 1 and paths[0].area > 0 else None


def _no_room(spec: PieceSpec, width: float) -> Finding:
    return fault(
        "A309",
        spec.name,
        f"an allowance of {width:.2f} mm doesn't leave one whole outline",
        "lessen the allowance or widen the drawing's narrow part",
        piece=spec.name,
    )


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
