"""Part labels: what a copy is, and by which joint each of its edges is sewn, in drawn letters.

A label names the piece, its hand and the face that it is drawn on; a joint's number stands beside
each edge that a seam joins, the same on both pieces.  They are marks like any other, so the machine
draws them and the proof holds them.  They lie in the allowance, between stitch line and cut line,
or on the face; on a copy that is a mirror image the letters are not.

What finds no room is left out and told (A341): nothing is drawn nearer to an edge than asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from foamwright.findings import Finding, fault, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.region import (
    Region,
    boundary,
    covers,
    curve,
    distance,
    grown,
    is_empty,
    minus,
    point,
    region,
    union,
)
from foamwright.job_marks import PieceLabel
from foamwright.model import Copy, Mark, Piece
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.lettering import (
    Track,
    Word,
    along,
    block,
    from_middle,
    stations,
    strokes_region,
)
from foamwright.stages.alter.letters import plain_letters, unknown_letters
from foamwright.stages.alter.pattern import OUTLINE, Pattern

#: Least distance from letters to other marks and slits, mm, so that they can be read.
CLEAR = 1.0
#: Flattening of a piece where room for letters is sought, mm.
NEARLY = 0.01

Found = tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Joint:
    """An edge of a piece that a seam joins. number: of the seam in its job."""

    number: int
    edge: str


@dataclass(frozen=True, slots=True)
class Face:
    """How a piece lies. back: its back is up.  drawn: the machine draws marks, and does not cut
    them through.
    """

    back: bool
    drawn: bool


def words_for(copy: Copy, keys: PieceLabel, hand: str | None, back: bool) -> tuple[str, ...]:
    """What a copy's label says, line by line: `SOLE L`, `BACK`.

    hand: of the copies that are not mirrored.  back: the label is drawn on the material's back.
    """
    name = keys.text or copy.of
    if hand is not None:
        name += f" {_other(hand) if copy.mirrored else hand}"[:2].upper()
    return plain_letters(name), "BACK" if back else "FRONT"


def sticker_for(
    copy: Copy, keys: PieceLabel, hand: str | None, joints: Sequence[Joint], back: bool
) -> tuple[str, ...]:
    """What a printed label of a copy says: piece and hand, the face that was up, its joints."""
    name = keys.text or copy.of
    if hand is not None:
        name += f", {_other(hand) if copy.mirrored else hand}"
    told = [f"{j.edge} to joint {j.number}" for j in joints if keys.joints]
    return name, f"cut with its {'back' if back else 'front'} up", *told


def _other(hand: str) -> str:
    return "right" if hand == "left" else "left"


def labelled(
    copy: Copy,
    pattern: Pattern,
    keys: PieceLabel,
    hand: str | None,
    joints: Sequence[Joint],
    face: Face,
) -> tuple[Copy, Found]:
    """The copy with its label and joint numbers as marks.

    copy: laid, so a mirror image where it is one or its back is up.  pattern: of its piece, on its
    stitch line, as drawn.  A342 for letters that have no strokes, A343 where the face or machine
    bears no label.
    """
    where = f"{copy.of} label"
    words = words_for(copy, keys, hand, face.back)
    refused = _refused(words, keys, face, where, copy.of)
    if keys.on == "none" or refused:
        return copy, refused
    ground = _Ground.of(copy, pattern, keys, laid_as_mirror=copy.mirrored != face.back)
    findings: list[Finding] = []
    for joint in joints if keys.joints else ():
        found = ground.joint(joint)
        if found is None:
            findings.append(
                _no_room(
                    where,
                    f"the number of joint {joint.number} beside edge {joint.edge}",
                    keys,
                    copy.of,
                )
            )
        else:
            ground = ground.with_mark(f"joint-{joint.number}-{joint.edge}", found)
    found = ground.name(words)
    if found is None:
        findings.append(_no_room(where, f"{' '.join(words)!r}", keys, copy.of))
    else:
        ground = ground.with_mark("label", found)
    return replace(copy, piece=ground.piece), tuple(findings)


def _refused(
    words: Sequence[str], keys: PieceLabel, face: Face, where: str, piece: str
) -> tuple[Finding, ...]:
    if keys.on == "none":
        return ()
    unknown = unknown_letters(" ".join(words))
    if unknown:
        what = f"no letters are drawn for {unknown!r}"
        mend = "give text in [piece.label], in plain letters and digits"
        return (fault("A342", where, what, mend, piece=piece),)
    if not face.drawn:
        what = "this machine makes marks by cutting through, so no label is drawn"
        return (warning("A343", where, what, "print it (stickers = true)", piece=piece),)
    if keys.on == "hidden" and not face.back:
        what = "the face that lies up when it is cut is the front, which is seen"
        mend = 'say on = "allowance", or on = "face" where it will be covered'
        return (fault("A343", where, what, mend, piece=piece),)
    return ()


def _no_room(where: str, what: str, keys: PieceLabel, piece: str) -> Finding:
    place = "in the allowance" if keys.on == "allowance" else "on the face"
    told = f"{what} finds no room {place}, {keys.keep:g} mm from its edges: left out"
    mend = "lessen height or keep, shorten text, or "
    mend += "use its printed label" if keys.stickers else "print it (stickers = true)"
    return warning("A341", where, told, mend, piece=piece)


@dataclass(frozen=True)
class _Ground:
    """A laid piece with the stitch lines as they lie on it. edge: an edge by its name, laid.

    room: where letters may lie, as far from edges as asked.  lean: degrees at which letters stand
    upright once the piece lies on its sheet, the first way that it may lie.
    """

    piece: Piece
    stitch: Path
    edge: Callable[[str], Path | None]
    keys: PieceLabel
    cut_edge: Region
    room: Region
    lean: float

    @staticmethod
    def of(copy: Copy, pattern: Pattern, keys: PieceLabel, laid_as_mirror: bool) -> _Ground:
        m = Affine.mirror_x() if laid_as_mirror else Affine.scaling(1.0)

        def laid(path: Path) -> Path:
            moved = path.transformed(m)
            return moved.reversed() if laid_as_mirror else moved

        def edge(name: str) -> Path | None:
            try:
                return laid(pattern.strand(name).path)
            except NoSuchEdgeError:
                return None  # the seam table tells it

        face = region(copy.piece.outline, (o.path for o in copy.piece.openings), NEARLY)
        room = face
        if keys.on == "allowance":
            holes = (laid(h.contour.path) for h in pattern.holes)
            room = minus(face, region(laid(pattern.outline.path), holes, NEARLY))
        room = grown(room, -keys.keep, NEARLY)
        stitch = laid(pattern.ring(OUTLINE).path)
        lean = -copy.rotations[0]
        return _Ground(copy.piece, stitch, edge, keys, boundary(face), room, lean)

    def free(self) -> Region:
        taken = [
            *(p for m in self.piece.marks for p in m.paths),
            *(s.path for s in self.piece.slits),
        ]
        near = grown(union([curve(p, NEARLY) for p in taken]), CLEAR, NEARLY) if taken else None
        return self.room if near is None else minus(self.room, near)

    def with_mark(self, name: str, strokes: tuple[Path, ...]) -> _Ground:
        mark = Mark(name, "label", strokes[0].start, strokes)
        return replace(self, piece=replace(self.piece, marks=(*self.piece.marks, mark)))

    def joint(self, joint: Joint) -> tuple[Path, ...] | None:
        line = self.edge(joint.edge)
        if line is None:
            return None
        made = Word.on_bar(str(joint.number), self.keys.height)
        track = Track.of(line)
        return self._beside(track, made, from_middle(track, made))

    def name(self, words: Sequence[str]) -> tuple[Path, ...] | None:
        height = self.keys.height
        if self.keys.on != "allowance":
            free = self.free()
            return next(
                (b for lines in _broken(words, height) if (b := block(lines, free, self.lean))),
                None,
            )
        line = self.edge(self.keys.edge) if self.keys.edge else self.stitch
        made = Word.of(" ".join(words), height)
        track = Track.of(line or self.stitch)
        return self._beside(track, made, stations(track, made))

    def _beside(self, track: Track, made: Word, places: Sequence[float]) -> tuple[Path, ...] | None:
        """The word along a stitch line, amid the allowance, or inside the line on the face."""
        free = self.free()
        if is_empty(free):
            return None
        for at in places:
            inward = self.keys.keep + made.height / 2
            if self.keys.on == "allowance":
                width = distance(point(track.point(at)), self.cut_edge)
                if width < 2 * inward - NEARLY:
                    continue
                inward = -width / 2
            strokes = along(track, at, made, inward)
            if strokes and covers(free, strokes_region(strokes)):
                return strokes
        return None


def _broken(words: Sequence[str], height: float) -> Iterator[tuple[Word, ...]]:
    """The label's lines as they are, then each word on a line of its own."""
    yield tuple(Word.of(w, height) for w in words)
    yield tuple(Word.of(part, height) for w in words for part in w.split())
