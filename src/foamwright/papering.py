"""The steps from a job to its pattern on paper: what is drafted, for the hand and no machine.

The drawings, sizes, seams, allowances, notches and marks are the job's.  Nothing is laid out on
stock, compensated or judged by hazard rules, and no blade's limits change a notch.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from foamwright import __version__
from foamwright.asked import AskedJob
from foamwright.findings import Finding, Refused, fault
from foamwright.finishing import replace_file
from foamwright.geometry.nearest import nearest_length
from foamwright.geometry.path import Path as Line
from foamwright.job import PieceSpec
from foamwright.job_pattern import Fit
from foamwright.model import Piece
from foamwright.names import readable
from foamwright.planning import ALLOWANCE_TOLERANCE
from foamwright.profile_models import MaterialProfile
from foamwright.stages.alter import Draft, Drafts, SeamRow, alter, bevelled, templated
from foamwright.stages.save.paper_plan import (
    PaperPattern,
    PaperPiece,
    SeamNote,
    blocks_on,
    pages_of,
)
from foamwright.stages.save.paper_words import seam_words

#: Who makes the file; a file that doesn't say so is a stranger's.
MAKER = f"Foamwright {__version__}"
SIGNATURE = b"/Producer (Foamwright"
#: More pages than anyone joins: a size or a unit that can't be meant.
PAGES_MOST = 500
#: Places of an opening's stitch line that are looked at, and how far off its cut line is apart, mm.
LOOKED_AT, APART = 16, 0.05

Materials = Mapping[str, MaterialProfile]


def find_materials(asked: AskedJob) -> tuple[Materials, tuple[Finding, ...]]:
    """The wanted pieces' materials by the job's names for them."""
    found: dict[str, MaterialProfile] = {}
    findings: list[Finding] = []
    for name in dict.fromkeys(s.material for s in asked.specs):
        try:
            found[name] = asked.shelf.material(name).profile
        except Refused as why:
            findings.extend(why.findings)
    return found, tuple(findings)


def draw_pieces(
    asked: AskedJob, drafts: Drafts, seams: Sequence[SeamRow], materials: Materials
) -> tuple[tuple[PaperPiece, ...], list[Finding]]:
    """Each wanted piece once, with its cut and stitch lines and what is told on it."""
    made: list[PaperPiece] = []
    findings: list[Finding] = []
    for spec in asked.specs:
        if spec.name not in drafts or spec.material not in materials:
            continue
        drawn, material = drafts[spec.name], materials[spec.material]
        piece, found = alter(drawn, ALLOWANCE_TOLERANCE)
        findings.extend(found)
        if spec.bevel:
            piece, found = bevelled(
                piece, drawn.pattern, drawn.spec, material.thickness, ALLOWANCE_TOLERANCE
            )
            findings.extend(found)
        stitches = tuple(_stitches(piece, drawn))
        if spec.sew_then_cut:  # its stitch line is drawn as marks already, where it is sewn
            piece, found = templated(piece, drawn.pattern, drawn.spec)
            findings.extend(found)
        made.append(
            PaperPiece(
                name=spec.name,
                piece=piece,
                stitches=stitches,
                lines=tuple(_lines(asked, spec, piece, material)),
                nap=material.nap == "one-way",
                stretch=material.stretch,
                seams=tuple(_seam_notes(drawn, seams)),
            )
        )
    return tuple(made), findings


def _stitches(piece: Piece, drawn: Draft) -> Iterator[Line]:
    """The stitch lines that differ from the cut lines."""
    if piece.stitch is not None:
        yield piece.stitch
    cuts = {o.name: o.path for o in piece.openings}
    for hole in drawn.pattern.holes:
        line = hole.contour.path
        steps = (line.length * k / LOOKED_AT for k in range(LOOKED_AT))
        off = [nearest_length(cuts[hole.name], line.point_at(s))[1] > APART for s in steps]
        if sum(off) > LOOKED_AT / 2:
            yield line


def _lines(
    asked: AskedJob, spec: PieceSpec, piece: Piece, material: MaterialProfile
) -> Iterator[str]:
    yield count_words(*_counts(asked, spec))
    yield material.name
    if piece.stitch is None:
        yield "no seam allowance"
    if material.cut_from == "back":
        yield "seen from the face: to trace it on the back, turn it over"
    yield from piece.notes[:2]
    yield f"{asked.job.job.name}, 1:1"


def _counts(asked: AskedJob, spec: PieceSpec) -> tuple[int, int]:
    """How many are wanted as drawn, and how many mirror images."""
    wanted = {"drawn": spec.count, "mirrored": spec.mirrored}
    drawn, mirrored = (
        sum(asked.wants(spec.name, f"{spec.name}/{kind}/{k}") for k in range(1, count + 1))
        for kind, count in wanted.items()
    )
    return drawn, mirrored


def count_words(drawn: int, mirrored: int) -> str:
    """`cut 1`, `cut 2: a pair`, `cut 3 as drawn and 1 mirror image`."""
    if not mirrored:
        return f"cut {drawn}"
    images = f"{mirrored} mirror image" + ("s" if mirrored > 1 else "")
    if not drawn:
        return f"cut {images}"
    if drawn == mirrored:
        return f"cut {drawn + mirrored}: " + ("a pair" if drawn == 1 else f"{drawn} pairs")
    return f"cut {drawn} as drawn and {images}"


def _seam_notes(drawn: Draft, seams: Sequence[SeamRow]) -> Iterator[SeamNote]:
    """What each of the piece's edges is sewn to, at the edge's middle."""
    for row in seams:
        for join, other in (row.joins, row.joins[::-1]):
            name, _, edge = join.partition(".")
            if name == drawn.spec.name:
                run = drawn.pattern.edge(edge)
                at = run.place(run.length / 2)
                words, width = seam_words(row.name, other, run.length)
                if words:
                    tangent = run.line.tangent_at(at)
                    yield SeamNote(words, run.line.point_at(at), tangent, width)


def paper_pattern(
    asked: AskedJob, pieces: tuple[PaperPiece, ...], seams: Sequence[SeamRow]
) -> PaperPattern:
    """The whole of it, with what the job's file says of itself."""
    head = asked.job.job
    wanted = {s.name: s for s in asked.specs}
    names = {s.name: p.lines[1] for p in pieces for s in (wanted[p.name],)}
    return PaperPattern(
        title=head.name,
        author=head.author or "",
        licence=f"Licence: {head.licence}" if head.licence else "",
        size="" if asked.job.size else _size_words(head.scale, head.fit),
        maker=MAKER,
        pieces=pieces,
        rows=tuple(
            (p.name, count_words(*_counts(asked, wanted[p.name])), names[p.name]) for p in pieces
        ),
        seams=tuple(
            (r.name, " and ".join(r.joins), " / ".join(f"{x:.1f}" for x in r.lengths))
            for r in seams
        ),
    )


def _size_words(scale: float, fit: Fit | None) -> str:
    """What was made of the drawn size."""
    if fit is not None:
        measured = fit.piece or fit.edge
        sizes = [f"{v:g} mm {way}" for v, way in ((fit.length, "long"), (fit.width, "wide")) if v]
        return f"fitted so that {measured} is {' and '.join(sizes)}"
    return "" if scale == 1 else f"drawn size times {scale:g}"


def write_paper(pattern: PaperPattern, paper: str, file: Path) -> int:
    """The PDF, whole or not at all; gives its number of pages.

    Raises Refused where it has more pages than anyone joins (W705), where the file can't be
    written (W702), or where one stands that is no earlier paper pattern (W701).
    """
    from foamwright.stages.save.paper import paper_pdf

    blocks = blocks_on(pattern.pieces, paper)
    pages = pages_of(blocks)
    if pages > PAGES_MOST:
        what = f"it would take {pages} pages of {paper}"
        raise Refused([fault("W705", readable(str(file)), what, "look at scale and units")])
    replace_file(file, paper_pdf(pattern, blocks, paper), SIGNATURE, "paper pattern")
    return pages
