"""What a drawing holds, or a job's pieces as drawn or drafted: corners, points and named edges.

A draft has no drawing to inspect, so its corners' numbers and names are told from the job file.
Nothing is altered: sizes, allowances and opened halves are the pipeline's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from foamwright.asked import AskedJob, Noticed, Request
from foamwright.findings import Finding
from foamwright.finishing import write_preview
from foamwright.geometry.affine import Affine
from foamwright.hazards import load_rules
from foamwright.job import load_job
from foamwright.job_drafts import DRAFT
from foamwright.job_sizes import by_size
from foamwright.model import Drawing, NamedEdge, Piece
from foamwright.planning import job_lines, read_drawings
from foamwright.profiles import Shelf
from foamwright.stages.acquire import read_drawing
from foamwright.stages.acquire.drafts import drafts
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern, drafted, missing_edges

#: Space between two pieces in the picture, as a part of the widest one.
APART = 0.15


def inspect(
    drawing: Path, units: str | None, preview: Path | None, mend_crossings: bool = False
) -> tuple[Drawing, tuple[Finding, ...]]:
    """What a drawing holds, or a job's pieces; with preview, a picture with corners numbered and
    findings flagged. mend_crossings: as in `read_drawing`; a job says so itself."""
    is_job = drawing.suffix.lower() == ".toml"
    if is_job:
        drawn, findings = job_drawing(drawing, units)
    else:
        drawn, findings = read_drawing(drawing, units, mend_crossings=mend_crossings)
    if preview is not None:
        placed = [replace(f, spots=()) for f in findings] if is_job else findings
        write_preview(side_by_side(drawn) if is_job else drawn, placed, preview)
    return drawn, findings


def job_drawing(file: Path, units: str | None = None) -> tuple[Drawing, tuple[Finding, ...]]:
    """The job's pieces under its own names, then those of its drafts that no piece takes.

    units: of drawings that state none.  A half's twin edges are not there yet, so an edge of them
    is told as missing (A303).  Raises Refused with every fault of the job file.
    """
    asked = _at_drawn_size(file, units)
    noticed = Noticed(job_lines(asked))
    drawn = noticed(read_drawings(asked))
    pieces, edges = list[Piece](), {}
    for spec in asked.job.piece:
        if spec.name in drawn:
            pattern = drafted(drawn[spec.name], spec)
            halved = spec.half or drawn[spec.name].half
            noticed.add(() if halved else missing_edges(pattern))
            pieces.append(replace(drawn[spec.name], name=spec.name))
            edges[spec.name] = tuple(_edges(pattern))
    taken = {spec.outline for spec in asked.job.piece}
    made, _ = drafts(asked.job.draft)
    spare = [p for p in made.pieces if f"{DRAFT}#{p.name}" not in taken]
    pieces += [replace(p, name=f"{DRAFT}#{p.name}") for p in spare]
    return Drawing(file.name, tuple(pieces), "mm", edges=MappingProxyType(edges)), noticed.findings


def _at_drawn_size(file: Path, units: str | None) -> AskedJob:
    """The job with each of its pieces once, whatever sizes it is cut at."""
    job = load_job(file).model_copy(update={"size": ()})
    shelf = Shelf.of(file.parent, base=file.parent)
    _, sizes = by_size(job)
    return AskedJob(Request(file, units=units), job, file.parent, shelf, load_rules(), sizes)


def _edges(pattern: Pattern) -> Iterator[NamedEdge]:
    for name, (first, last) in pattern.edges.items():
        try:
            yield NamedEdge(name, first, last, pattern.edge(name).length)
        except NoSuchEdgeError:
            continue  # told by missing_edges


def side_by_side(drawing: Drawing) -> Drawing:
    """The drawing with its pieces in a row, for a picture: drafts all begin at the same place."""
    gap = APART * max((_width(p) for p in drawing.pieces), default=0.0)
    at, moved = 0.0, list[Piece]()
    for piece in drawing.pieces:
        low_x, low_y, _, _ = piece.outline.bounds
        moved.append(piece.transformed(Affine.translation(complex(at - low_x, -low_y))))
        at += _width(piece) + gap
    return replace(drawing, pieces=tuple(moved))


def _width(piece: Piece) -> float:
    return piece.outline.bounds[2] - piece.outline.bounds[0]
