"""Sewn first, trimmed after: a rough block with the stitch line drawn on it, and clips to make.

Fingers and toes are too small to be sewn along a cut edge.  So a block is cut round them, sewn on
the drawn line and trimmed by hand; then the allowance is clipped in every *crotch*, a hollow corner
or tight hollow curve of the stitch line, which would else pucker when the work is turned.  A clip
mark runs from where the trimming will lie nearly to the stitch line.  An edge that isn't sewn is
drawn dashed.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from foamwright.findings import Finding, fault, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path, turn_degrees
from foamwright.geometry.region import Region, curve, distance, region
from foamwright.job import PieceSpec
from foamwright.job_marks import SewThenCut
from foamwright.model import Mark, Piece
from foamwright.stages.alter.axis import TWIN
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern

#: A hollow curve is tight, and so a crotch, up to this radius, mm; common practice, no source.
TIGHT = 10.0
#: Least turn of a crotch, and what one clip may serve of it, degrees; common practice, no source.
LEAST_TURN, PER_CLIP = 30.0, 60.0
#: How far a crotch's curve may run straight in between, mm.
STRAIGHT = 3.0
#: Flattening of the stitch line where crotches are sought, mm.
FLAT = 0.01
#: How far out of a narrow crotch a clip mark starts at most, as a multiple of the trimming.
FAR = 3.0
#: Shares of its length that a clip mark is tried at, and its shortest, mm.
SHARES, SHORTEST = (1.0, 0.75, 0.5), 0.8
#: Least distance from a clip mark to a stitch line beside it, as a part of `clip`.
BESIDE = 0.4
#: A dash of an open edge, and the gap after it, mm.
DASH, DASH_GAP = 5.0, 4.0

Found = tuple[Finding, ...]


def templated(
    piece: Piece, pattern: Pattern, spec: PieceSpec, drawn: bool = True
) -> tuple[Piece, Found]:
    """The block with the stitching template on it; the piece as it was where none is asked for.

    piece: as altered, cut on its stitch line.  drawn: the machine draws marks, and does not cut
    them through.  A348: a template that can't be made.  A349: a clip mark without room, left out.
    """
    keys = spec.sew_then_cut
    if keys is None:
        return piece, ()
    where = f"{spec.name} sew_then_cut"
    if not drawn:
        what = "this machine makes marks by cutting through, so it can't draw the stitch line"
        return piece, (fault("A348", where, what, "cut it on another one", piece=spec.name),)
    twins = (n + TWIN for n in keys.open if n + TWIN in pattern.edges)
    keys = keys.model_copy(update={"open": (*keys.open, *twins)})
    try:
        marks = [*_stitches(pattern, keys), *_open_edges(pattern, keys)]
    except NoSuchEdgeError as why:
        mend = "see `foamwright inspect`"
        return piece, (fault("A348", where, str(why), mend, piece=spec.name),)
    stitch = pattern.outline.path
    sewn = region(stitch, (), FLAT)
    findings: list[Finding] = []
    for number, crotch in enumerate(_sewn_crotches(pattern, keys), 1):
        clip = clip_mark(crotch, keys, sewn)
        if clip is None:
            findings.append(_no_room(where, crotch, spec.name))
        else:
            marks.append(Mark(f"clip-{number}", "line", clip.start, (clip,)))
    outline = block(stitch, keys.margin, pattern.grain)
    made = replace(piece, outline=outline, stitch=stitch, marks=(*piece.marks, *marks))
    return made, tuple(findings)


def block(stitch: Path, margin: float, grain: float | None) -> Path:
    """A rectangle along the grain, `margin` mm or more beyond every place of a stitch line."""
    turn = Affine.rotation(0.0 if grain is None else 90.0 - grain)
    x0, y0, x1, y1 = stitch.transformed(turn).bounds
    low, high = complex(x0 - margin, y0 - margin), complex(x1 + margin, y1 + margin)
    corners = [low, complex(high.real, low.imag), high, complex(low.real, high.imag)]
    return Path.polygon(corners).transformed(turn.inverse())


def _no_room(where: str, crotch: Crotch, piece: str) -> Finding:
    at = f"{crotch.at.real:.1f}, {crotch.at.imag:.1f} mm"
    what = f"the clip at {at} finds no room between the stitch lines: no mark"
    return warning("A349", where, what, "clip it by eye, or widen the gap there", piece=piece)


# the stitch line


def _stitches(pattern: Pattern, keys: SewThenCut) -> Iterator[Mark]:
    """The stitch line without the edges left open. Raises NoSuchEdgeError."""
    line = pattern.outline
    if not keys.open:
        yield Mark("stitch-line", "line", line.path.start, (line.path,))
        return
    runs = sorted(pattern.joints(pattern.run(name)) for name in keys.open)
    for (_, end), (start, _) in pairwise([*runs, runs[0]]):
        if end != start:
            path = line.strand(end, start).path
            yield Mark("stitch-line", "line", path.start, (path,))


def _open_edges(pattern: Pattern, keys: SewThenCut) -> Iterator[Mark]:
    for name in keys.open:
        dashes = tuple(_dashes(pattern.strand(name).path))
        yield Mark(f"open-{name}", "line", dashes[0].start, dashes)


def _dashes(path: Path) -> Iterator[Path]:
    """The path in dashes, one at either end."""
    count = max(2, round((path.length + DASH_GAP) / (DASH + DASH_GAP)))
    step = (path.length - DASH) / (count - 1)
    if step < DASH + 1.0:
        yield path
        return
    for k in range(count):
        yield path.between(k * step, k * step + DASH)


# crotches


@dataclass(frozen=True, slots=True)
class Bend:
    """A place where a flattened line turns. turn: degrees, to the left; out: unit vector out of the
    piece; tight: whether it is a corner or bends on less than TIGHT.  reach: of the line that turns
    there, mm; a corner's is nought.
    """

    at: complex
    out: complex
    turn: float
    tight: bool
    reach: float = 0.0

    @property
    def hollow(self) -> bool:
        return self.tight and self.turn < 0


@dataclass(frozen=True, slots=True)
class Crotch:
    """A place to clip. half: half of the angle between the stitch lines there, degrees."""

    at: complex
    out: complex
    half: float


def _sewn_crotches(pattern: Pattern, keys: SewThenCut) -> Iterator[Crotch]:
    """The crotches but those on an edge left open."""
    loose = [curve(pattern.strand(name).path, FLAT) for name in keys.open]
    for crotch in crotches(pattern.outline.path, keys.trim):
        spot = curve(Path.circle(crotch.at, FLAT), FLAT)
        if all(distance(spot, edge) > FLAT for edge in loose):
            yield crotch


def crotches(stitch: Path, trim: float) -> tuple[Crotch, ...]:
    """Where a stitch line, counter-clockwise, is hollow and tight: a corner once, a curve by its
    turn, but once where clips from `trim` mm outside it would cross.
    """
    bends = list(_bends(stitch))
    start = next((k for k, b in enumerate(bends) if not b.hollow), 0)
    found: list[Crotch] = []
    for hollow, run in groupby([*bends[start:], *bends[:start]], key=lambda b: b.hollow):
        if hollow:
            found.extend(_clips(list(run), trim))
    return tuple(found)


def _clips(run: Sequence[Bend], trim: float) -> Iterator[Crotch]:
    whole = -sum(b.turn for b in run)
    if whole < LEAST_TURN:
        return
    radius = sum(b.reach for b in run) / math.radians(whole)
    count = max(1, round(whole / PER_CLIP)) if radius > 1.5 * trim else 1
    for k in range(count):
        due, turned = whole * (k + 0.5) / count, 0.0
        for bend in run:
            turned -= bend.turn
            if turned >= due - 1e-9:
                half = max(1.0, (180.0 + bend.turn) / 2)
                yield Crotch(bend.at, bend.out, half)
                break


def _bends(path: Path) -> Iterator[Bend]:
    """Every turn of a closed line in order; a straight stretch counts as one without a turn."""
    segments = path.segments
    for k, segment in enumerate(segments):
        before, after = segments[k - 1].tangent(1.0), segment.tangent(0.0)
        if k in path.corners:
            yield _bend(segment.start, before, after, True)
        points = [complex(p) for p in segment.flatten(FLAT)]
        if len(points) == 2 and abs(points[1] - points[0]) > STRAIGHT:
            yield Bend(points[0], 0j, 0.0, False)
        for a, b, c in zip(points, points[1:], points[2:], strict=False):
            turn = math.radians(turn_degrees(b - a, c - b))
            reach = (abs(b - a) + abs(c - b)) / 2
            tight = abs(turn) * TIGHT > reach
            yield _bend(b, b - a, c - b, tight, reach)


def _bend(at: complex, before: complex, after: complex, tight: bool, reach: float = 0.0) -> Bend:
    turn = turn_degrees(before, after)
    ahead = before / abs(before) * cmath.rect(1.0, math.radians(turn / 2))
    return Bend(at, -1j * ahead, turn, tight, reach)


def clip_mark(crotch: Crotch, keys: SewThenCut, sewn: Region) -> Path | None:
    """From where the trimming will lie to `clip` mm from the stitch line, and not so far into a
    narrow angle that it comes too near to its sides; None without room.
    """
    slope = math.sin(math.radians(crotch.half))
    far = min(keys.trim / slope, FAR * keys.trim)
    near = max(keys.clip, BESIDE * keys.clip / slope)
    for share in SHARES:
        length = (far - near) * share
        if length < SHORTEST:
            return None
        end = crotch.at + crotch.out * near
        line = Path.polygon([end + crotch.out * length, end], closed=False)
        if distance(curve(line, FLAT), sewn) >= BESIDE * keys.clip - FLAT:
            return line
    return None
