"""Marks carried across pieces: a mark on one shows where it meets the piece sewn or glued to it.

Two ways to say how the pieces lie on each other.  By two pairs of places that come to lie together
(a sole's toe on the upper's toe): all is moved and turned as one, and mirrored where the pieces lie
face to face.  By a seam: sewn pieces lie face to face along it, so a mark has the same share of the
edge's length, from its other end, and lies as deep inside it.  Marks keep their size.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from foamwright.findings import Finding, fault, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path
from foamwright.geometry.region import covers, curve, region
from foamwright.job import Seam
from foamwright.job_marks import Registration
from foamwright.model import Mark
from foamwright.stages.alter.draft import Draft
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.marks import NEAR_TOLERANCE, asked_marks
from foamwright.stages.alter.pattern import Pattern, edge_of

#: What two pairs of places may lie apart unequally, mm: a pen's line; common practice, no source.
PAIR_SLACK = 0.5


class CannotCarryError(Exception):
    """Marks that have no place on the other piece; the text says why."""


def registered(
    drafts: Mapping[str, Draft], asked: Iterable[Registration], seams: Iterable[Seam]
) -> tuple[dict[str, Draft], tuple[Finding, ...]]:
    """The drafts with the marks carried to them, named `registration-mark`, in the job's order.

    A344: places, edges or marks that aren't there, or pairs that lie unequally far apart.  A345: a
    mark that the other piece doesn't bear.  Pieces that aren't drafted are left out.
    """
    made = dict(drafts)
    by_name = {s.name: s for s in seams}
    findings: list[Finding] = []
    for register in asked:
        if register.from_ not in made or register.to not in made:
            continue
        where = f"registration {register.name}"
        source, target = made[register.from_], made[register.to]
        try:
            marks = tuple(_wanted(source, register))
            seam = by_name[register.seam] if register.seam is not None else None
            carried = tuple(_carried(marks, source.pattern, target.pattern, register, seam))
        except (CannotCarryError, NoSuchEdgeError) as why:
            mend = "see `foamwright inspect` for corners and points"
            findings.append(fault("A344", where, str(why), mend, piece=register.to))
            continue
        borne = tuple(m for m in carried if _inside(target.pattern, m))
        for lost in (m for m in carried if m not in borne):
            findings.append(_beyond(where, lost, register))
        pattern = replace(target.pattern, marks=(*target.pattern.marks, *borne))
        made[register.to] = replace(target, pattern=pattern)
    return made, tuple(findings)


def _wanted(source: Draft, register: Registration) -> Iterator[Mark]:
    """The piece's marks, drawn and asked for, or those that are named. Raises CannotCarryError."""
    asked = (m for _, m in asked_marks(source.pattern, source.spec.mark) if isinstance(m, Mark))
    there = {m.name: m for m in (*source.pattern.marks, *asked)}
    for name in register.marks or tuple(there):
        if name not in there:
            known = ", ".join(there) or "none"
            raise CannotCarryError(f"{register.from_} has no mark {name!r}; its marks are {known}")
        yield there[name]


def _carried(
    marks: Sequence[Mark],
    source: Pattern,
    target: Pattern,
    register: Registration,
    seam: Seam | None,
) -> Iterator[Mark]:
    """Raises CannotCarryError, NoSuchEdgeError."""
    if seam is not None:
        first, second = _sides(seam, source, target)
        maps = [along_seam(m.at, first, second) for m in marks]
    else:
        laid = _laid_on(source, target, register)
        maps = [laid] * len(marks)
    for mark, m in zip(marks, maps, strict=True):
        paths = tuple(p.transformed(m) for p in mark.paths)
        yield Mark(f"{register.name}-{mark.name}", mark.shape, m(mark.at), paths)


def _laid_on(source: Pattern, target: Pattern, register: Registration) -> Affine:
    """What takes a place on the one piece to where it lies on the other."""
    pairs = register.at
    if pairs is None:
        raise CannotCarryError("nothing says how the pieces lie on each other")
    spots = [(_spot(source, a), _spot(target, b)) for a, b in pairs]
    (a, b), (c, d) = spots
    one, other = abs(c - a), abs(d - b)
    if abs(one - other) > PAIR_SLACK:
        raise CannotCarryError(
            f"{pairs[0][0]} and {pairs[1][0]} lie {one:.2f} mm apart on {source.name},"
            f" {pairs[0][1]} and {pairs[1][1]} {other:.2f} mm on {target.name}"
        )
    if min(one, other) <= PAIR_SLACK:
        raise CannotCarryError("the two places are one: they don't say how the pieces are turned")
    return _laid((a + c) / 2, c - a, (b + d) / 2, d - b, register.face_to_face)


def _spot(pattern: Pattern, place: str) -> complex:
    spot = pattern.spot(place)
    if spot is None:
        raise CannotCarryError(f"{pattern.name} has no corner or point {place!r}")
    return spot


def _laid(at: complex, way: complex, on: complex, along: complex, mirrored: bool) -> Affine:
    """What takes a place to a place and a direction to a direction; sizes stay."""
    turn = along / (way.conjugate() if mirrored else way)
    turn /= abs(turn)
    flip = Affine.scaling(1.0, -1.0) if mirrored else Affine()
    spin = Affine(turn.real, turn.imag, -turn.imag, turn.real)
    return Affine.translation(on) @ spin @ flip @ Affine.translation(-at)


def _sides(seam: Seam, source: Pattern, target: Pattern) -> tuple[Path, Path]:
    """The seam's edges on the two pieces. Raises NoSuchEdgeError, CannotCarryError."""
    patterns = {source.name: source, target.name: target}
    for first, second in (seam.joins, seam.joins[::-1]):
        names = [side.partition(".") for side in (first, second)]
        if (names[0][0], names[1][0]) == (source.name, target.name):
            edge_of(first, patterns), edge_of(second, patterns)
            return source.strand(names[0][2]).path, target.strand(names[1][2]).path
    raise CannotCarryError(f"seam {seam.name} doesn't join {source.name} and {target.name}")


def along_seam(at: complex, first: Path, second: Path) -> Affine:
    """What takes a mark about `at` beside one edge to where it lies beside the edge sewn to it."""
    along, _ = nearest_length(first, at)
    across = second.length * (1 - along / first.length)
    foot, other = first.point_at(along), second.point_at(across)
    return _laid(foot, first.tangent_at(along), other, -second.tangent_at(across), mirrored=True)


def _inside(pattern: Pattern, mark: Mark) -> bool:
    holes = (h.contour.path for h in pattern.holes)
    face = region(pattern.outline.path, holes, NEAR_TOLERANCE)
    return all(covers(face, curve(p, NEAR_TOLERANCE)) for p in mark.paths)


def _beyond(where: str, mark: Mark, register: Registration) -> Finding:
    at = f"{mark.at.real:.1f}, {mark.at.imag:.1f} mm"
    what = f"at {at} mark {mark.name} doesn't lie within {register.to}: left out"
    mend = "name the marks to carry, or see whether face_to_face and the places are right"
    return warning("A345", where, what, mend, piece=register.to)
