"""Allowance: the cut line round a stitch line, and the stitch line within a cut line.

Pattern work runs on stitch lines.  A drawing that shows cut lines has its allowance taken off first
(`taken_off`); as long as nothing has changed the stitch line, its cut line is the one drawn.
Widths and corners by edge are in `widths.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.contour import Contour
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.offset import offset
from foamwright.geometry.offset_edges import EdgeJoin, EdgeParallel, offset_edges
from foamwright.geometry.path import CORNER_ANGLE, Path, turn_degrees
from foamwright.geometry.region import curve, directed_deviation
from foamwright.job import PieceSpec
from foamwright.model import Mark
from foamwright.stages.alter.edges import NoSuchEdgeError, directions
from foamwright.stages.alter.pattern import OUTLINE, Pattern
from foamwright.stages.alter.run_on import run_on
from foamwright.stages.alter.sharpened import sharpened, without
from foamwright.stages.alter.widths import unknown_names, widths_of

#: How far a mitred corner may reach, as a multiple of the allowance, before it is cut square.
MITRE_LIMIT = 4.0
#: How far the corner of a stitch line within a hollow corner of a cut line may lie, likewise.
INNER_LIMIT = 100.0
#: An edge beside a step, which a mitre ran on by, is at most so many times as long as the step.
MOST_RUN_ON = 4.0
#: What the allowance, taken off and put back, may miss the drawing by, mm.
PUT_BACK = 0.01
#: Flattening where lines are compared, mm.
COMPARED = 0.001

Made = tuple[Pattern, tuple[Finding, ...]]


def taken_off(pattern: Pattern, spec: PieceSpec, tolerance: float) -> Made:
    """On its stitch lines, where the drawing shows cut lines; these are kept as `cut`.

    A309 where the allowance leaves no whole line, A321 for edges that aren't there, A322 where the
    allowance put back is not what was drawn.
    """
    if spec.drawn == "stitch-line" or not spec.allowance:
        return pattern, ()
    unknown = unknown_names(pattern, spec)
    if unknown:
        return pattern, unknown
    findings: list[Finding] = []
    for ring in _ring_names(pattern):
        try:
            stitch = _stitch(pattern, spec, ring, tolerance)
        except NoSuchEdgeError as why:
            mend = "lessen the allowance, widen the narrow part or draw the stitch line"
            findings.append(fault("A309", spec.name, str(why), mend, piece=spec.name))
            continue
        if stitch is not None:
            drawn = pattern.ring(ring).path
            pattern = pattern.reshaped(ring, stitch).with_cut(ring, drawn)
            findings.extend(_not_as_drawn(pattern, spec, ring, drawn, tolerance))
    return pattern, tuple(findings)


def allowed(pattern: Pattern, spec: PieceSpec, tolerance: float) -> Made:
    """With its cut lines. A309 where one isn't whole, A321 for edges that aren't there."""
    unknown = unknown_names(pattern, spec)
    if unknown:
        return pattern, unknown
    findings = []
    for ring in _ring_names(pattern):
        if pattern.cut_line(ring) is not pattern.ring(ring).path:
            continue
        try:
            cut = _cut(pattern, spec, ring, tolerance)
        except NoSuchEdgeError as why:
            mend = "lessen the allowance or widen the drawing's narrow part"
            findings.append(fault("A309", spec.name, str(why), mend, piece=spec.name))
            continue
        if cut is not None:
            findings.extend(_cut_off(pattern, spec, ring))
            pattern = pattern.with_cut(ring, cut)
    return pattern, tuple(findings)


def _cut_off(pattern: Pattern, spec: PieceSpec, ring: str) -> Iterator[Finding]:
    """A324: the corners too sharp for a whole mitre."""
    widths, contour = widths_of(pattern, spec, ring), pattern.ring(ring)
    names = {joint: name for name, joint in contour.places.items()}
    segments = contour.path.segments
    for i in sorted(contour.path.corners):
        wide = (widths.mm[i - 1], widths.mm[i])
        if widths.joins.get(i, widths.join) != "mitre" or max(wide) <= 0:
            continue
        whole = _mitre_reach(segments[i - 1].tangent(1.0), segments[i].tangent(0.0), *wide)
        most = MITRE_LIMIT * max(wide)
        if whole > most:
            corner = f"corner {names[i]}" if i in names else "a corner"
            what = f"{corner}: its mitre, which would reach {whole:.1f} mm beyond the stitch line, "
            what += f"is cut off square at {most:.1f} mm"
            mend = "draw a blunter tip, or state another corner ([piece.corners])"
            yield note("A324", spec.name, what, mend, piece=spec.name)


def _mitre_reach(came: complex, goes: complex, before: float, after: float) -> float:
    """How far from an outside corner the two allowances' lines meet, mm; nought at an inside one.

    The point whose part along each side's normal is that side's width.
    """
    sine = (came.conjugate() * goes).imag
    if sine <= 0:
        return 0.0
    return abs(after * came - before * goes) / sine


def _ring_names(pattern: Pattern) -> Iterator[str]:
    yield OUTLINE
    yield from (h.name for h in pattern.holes)


def _cut(pattern: Pattern, spec: PieceSpec, ring: str, tolerance: float) -> Path | None:
    """The ring's cut line; None without an allowance. Raises NoSuchEdgeError."""
    widths = widths_of(pattern, spec, ring)
    path = pattern.ring(ring).path
    if not any(widths.mm):
        return None
    if widths.is_plain:
        found = offset(path, widths.mm[0], tolerance, "mitre", MITRE_LIMIT)
    else:
        made = offset_edges(
            path, widths.mm, tolerance, widths.joins, widths.join, mitre_limit=MITRE_LIMIT
        )
        found = tuple(p.path for p in made)
    if len(found) != 1 or found[0].area * path.area <= 0:
        raise _no_room(widths.mm)
    return found[0]


def _stitch(pattern: Pattern, spec: PieceSpec, ring: str, tolerance: float) -> Contour | None:
    """The ring's stitch line with its places; None without an allowance. Raises NoSuchEdgeError."""
    if not any(widths_of(pattern, spec, ring).mm):
        return None
    drawn = sharpened(pattern, spec, ring)
    widths = widths_of(pattern.reshaped(ring, drawn), spec, ring)
    return _placed(drawn, within(drawn, widths.mm, tolerance), widths.mm)


def inset(drawn: Contour, mm: Sequence[float], tolerance: float) -> Contour:
    """The line of a ring's material within it, `mm` off each segment, places across from theirs.

    Where an edge that ends on a curve runs on to it, that is the corner.  Raises NoSuchEdgeError
    where no one line is left.
    """
    return _placed(drawn, run_on(within(drawn, mm, tolerance, "inset")), mm)


def within(
    drawn: Contour, mm: Sequence[float], tolerance: float, of: str = "allowance"
) -> EdgeParallel:
    """The one line that lies `mm` inside each segment of a ring.

    of: what the distances are, for messages.  Raises NoSuchEdgeError where no such line is left.
    """
    joins: dict[int, EdgeJoin] = dict.fromkeys(drawn.places.values(), "mitre")
    inner = [-w for w in mm]
    try:
        found = offset_edges(drawn.path, inner, tolerance, joins, mitre_limit=INNER_LIMIT)
    except GeometryError as why:
        raise NoSuchEdgeError(str(why)) from why
    if len(found) != 1 or found[0].path.area * drawn.path.area <= 0:
        raise _no_room(mm, of)
    return found[0]


def _no_room(mm: Sequence[float], of: str = "allowance") -> NoSuchEdgeError:
    wide = f"{min(mm):.2f} to {max(mm):.2f}"
    if min(mm) == max(mm):
        wide = f"{mm[0]:.2f}"
    return NoSuchEdgeError(f"an {of} of {wide} mm doesn't leave one whole outline")


def _placed(drawn: Contour, inner: EdgeParallel, mm: Sequence[float]) -> Contour:
    """The stitch line with the drawn line's places across from where they were."""
    stitch, edges = _crossed(inner)
    joints = stitch.path.joint_lengths()
    starts = {
        edge: joints[i] for i, edge in enumerate(edges) if edge is not None and edges[i - 1] != edge
    }
    for name, joint in drawn.places.items():
        at = _first_left(starts, joint, drawn)
        if at is None:
            inward = max(mm[joint - 1], mm[joint])
            at = _across(drawn.path, drawn.along(name), inner.path, inward)
        stitch = stitch.with_place(name, at)
    return stitch


def _first_left(starts: Mapping[int, float], joint: int, drawn: Contour) -> float | None:
    """Where the edge that begins at a joint does; an edge that the allowance took whole gives its
    place to the next, as far as the next place.
    """
    n, others = len(drawn.path.segments), set(drawn.places.values()) - {joint}
    for k in range(n):
        edge = (joint + k) % n
        if edge in starts or edge in others:
            return starts.get(edge)
    return None


def _crossed(inner: EdgeParallel) -> tuple[Contour, list[int | None]]:
    """The parallel without the steps between edges of unlike allowances: these cross.

    An edge beside a step goes with it where it is only what a mitre ran on by.
    """
    made, edges = Contour(inner.path), list(inner.edges)
    k = 0
    while k < len(edges):
        cut = _step_cut(made, edges, k) if edges[k] is None else None
        if cut is None:
            k += 1
            continue
        made, gone = cut
        edges = [e for i, e in enumerate(edges) if i not in gone]
        k = max(0, k - 1)
    return made, edges


def _step_cut(
    contour: Contour, edges: Sequence[int | None], k: int
) -> tuple[Contour, set[int]] | None:
    """Without the step k, and which segments went: as few as may be; None where it stays."""
    n = len(edges)
    step = contour.path.segments[k].length()
    for first, count in ((k, 1), (k, 2), (k - 1, 2)):
        gone = {(first + i) % n for i in range(count)}
        beside = edges[(first - 1) % n], edges[(first + count) % n]
        short = all(contour.path.segments[g].length() <= MOST_RUN_ON * step for g in gone)
        if None in beside or beside[0] == beside[1] or not short:
            continue
        try:
            made = without(contour, first % n, "an edge", count)
        except NoSuchEdgeError:
            continue  # where no way is left, the step stays, and A322 tells what it makes
        if len(made.path.segments) == n - count:
            return made, gone
    return None


def _across(line: Path, at: float, other: Path, inward: float) -> float:
    """Arc length on a line parallel to `line`, `inward` mm into the material, across from `at`.

    Across from a corner lies the corner that the mitre leads to, where the other line has one.
    """
    before, after = (1j * t for t in directions(line, at))
    mitre = (before + after) / max(1e-3, 1 + (before * after.conjugate()).real)
    spot = line.point_at(at) + inward * mitre
    if abs(turn_degrees(before, after)) > CORNER_ANGLE:
        near = min(other.corner_points(), key=lambda p: abs(p - spot), default=spot)
        spot = near if abs(near - spot) <= abs(inward) / 2 else spot
    return nearest_length(other, spot)[0]


def _not_as_drawn(
    pattern: Pattern, spec: PieceSpec, ring: str, drawn: Path, tolerance: float
) -> Iterator[Finding]:
    try:
        back = _cut(pattern, spec, ring, tolerance)
    except NoSuchEdgeError:
        back = None
    off = float("inf") if back is None else apart(back, drawn)
    if off > PUT_BACK:
        far = "nothing whole" if back is None else f"a line up to {off:.2f} mm off the drawn one"
        what = f"the allowance taken off and put back gives {far}"
        mend = "state its corners in [piece.corners], or draw the stitch line"
        where = f"{spec.name} {ring}".strip()
        yield warning("A322", where, what, mend, piece=spec.name)


def apart(a: Path, b: Path) -> float:
    """How far two lines lie apart at most, mm."""
    one, other = (p.flatten(COMPARED) for p in (a, b))
    return max(
        float(directed_deviation(one, curve(b, COMPARED)).max()),
        float(directed_deviation(other, curve(a, COMPARED)).max()),
    )


def stitching_marked(pattern: Pattern, spec: PieceSpec) -> Pattern:
    """With the stitch lines as marks on the face, where the job asks for them."""
    if not spec.mark_stitch_line:
        return pattern
    lines = [
        (f"stitch-line{'-' if ring else ''}{ring}", pattern.ring(ring).path)
        for ring in _ring_names(pattern)
        if pattern.cut_line(ring) is not pattern.ring(ring).path
    ]
    marks = tuple(Mark(name, "line", path.start, (path,)) for name, path in lines)
    return replace(pattern, marks=pattern.marks + marks)
