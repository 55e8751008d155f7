"""The map: one line a stage, from a job to proven files.

`plan` does all up to writing (that is `check`); `cut` writes, proves from disk and publishes.
What happens between the lines is in `planning.py`, `copying.py` and `finishing.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

from foamwright.asked import Noticed, Plan, Request
from foamwright.by_hand import leave_to_hand
from foamwright.changes import Change
from foamwright.checking import check_necks, check_pairs, check_patterns
from foamwright.comparing import StockRow, compare_stocks
from foamwright.copying import make_copies
from foamwright.exchanging import exchange_pieces
from foamwright.explained import Explanation
from foamwright.findings import Finding, refuse_on_fault
from foamwright.finishing import (
    Result,
    book_offcuts,
    changes_since,
    explain_piece,
    finish,
    keep_layouts,
    keep_out_of_others,
    prove,
    write_preview,
    write_programs,
    write_sheets_preview,
)
from foamwright.model import Drawing
from foamwright.papering import draw_pieces, find_materials, paper_pattern, write_paper
from foamwright.planning import (
    alter_pieces,
    arrange_copies,
    compensate_sheets,
    draft_patterns,
    job_lines,
    judge_hazards,
    load,
    order_cuts,
    read_drawings,
    set_up,
    thicknesses,
)
from foamwright.record import Verification
from foamwright.stages.save.publish import publish, recover, staging

__all__ = [
    "Plan",
    "Request",
    "Result",
    "cut",
    "explain",
    "inspect",
    "paper",
    "plan",
    "verify_folder",
]


Before: TypeAlias = Callable[[tuple[Change, ...]], None]


def untold(changed: tuple[Change, ...]) -> None:
    """Nobody wants to know."""


def plan(request: Request) -> Plan:
    """All that `cut` does up to writing. Raises Refused with every fault found so far."""
    asked = load(request)  # job file, shelf, rules
    noticed = Noticed(job_lines(asked))
    asked = noticed(leave_to_hand(asked))
    noticed.stop_on_fault()
    drawn = noticed(read_drawings(asked))  # acquire
    benches = noticed(set_up(asked))  # profiles -> tool, limits, stock
    thick = thicknesses(asked, benches)
    drafts = noticed(draft_patterns(asked, drawn, thick))  # alter: stitch lines at their size
    noticed.checks += noticed(check_patterns(asked, drafts, thick))  # seams, cores, notches
    request.tell(f"making {len(drafts)} pieces")
    pieces = noticed(alter_pieces(asked, drafts, benches))  # alter: cut lines, notches, marks
    noticed.checks += noticed(check_necks(asked, benches, pieces, noticed.faulty))
    copies = noticed(make_copies(asked, drafts, benches, pieces))  # alter: mirrored, labelled
    noticed.add(judge_hazards(asked, benches))  # safety, on the plan
    noticed.stop_on_fault()
    layouts = noticed(arrange_copies(asked, benches, copies))  # arrange
    noticed.checks += noticed(check_pairs(asked, benches, layouts))
    noticed.stop_on_fault()
    request.tell("finding the tool's paths")
    cuts = noticed(compensate_sheets(asked, benches, layouts))  # compensate
    noticed.stop_on_fault()
    programs = order_cuts(benches, cuts)  # order
    patterns = exchange_pieces(asked, drafts)
    checks, findings = noticed.checks, noticed.findings
    return Plan(asked, benches, checks, layouts, programs, findings, patterns)


def cut(
    request: Request, out: Path, preview: Path | None = None, before: Before = untold
) -> Result:
    """The main job: files in `out`, proven before they bear their names, or nothing at all.

    preview: where a picture of the sheets goes, SVG or PNG.  before: is told what changed in the
    profiles since the folder's last cut, before anything is written.
    """
    planned = plan(replace(request, out=out))
    keep_out_of_others(planned, out)
    changed = changes_since(planned, out)
    before(changed)
    with staging(out) as folder:
        draft = write_programs(planned, folder)  # save
        proof, findings = prove(planned, folder, request.told)  # verify, safety on what was read
        refuse_on_fault((*planned.findings, *findings))
        result = finish(planned, draft, proof, findings, folder)  # record and operator's sheet
        if preview is not None:
            write_sheets_preview(result, preview)
        with book_offcuts(planned):
            publish(folder, out)
    keep_layouts(planned)
    return replace(result, changes=changed)


def paper(request: Request, size: str, file: Path) -> tuple[int, tuple[Finding, ...]]:
    """The pattern at full size as a PDF on paper of this size; gives its number of pages."""
    asked = load(request)
    noticed = Noticed(job_lines(asked))
    drawn = noticed(read_drawings(asked))  # acquire
    materials = noticed(find_materials(asked))
    thick = {
        s.name: materials[s.material].thickness for s in asked.specs if s.material in materials
    }
    drafts = noticed(draft_patterns(asked, drawn, thick))  # alter: stitch lines at their size
    noticed.checks += noticed(check_patterns(asked, drafts, thick))  # seams, cores, notches
    noticed.stop_on_fault()
    seams = noticed.checks.seams
    pieces = noticed(draw_pieces(asked, drafts, seams, materials))  # alter: cut lines, notches
    noticed.stop_on_fault()
    pages = write_paper(paper_pattern(asked, pieces, seams), size, file)  # save
    return pages, noticed.findings


def compare(planned: Plan) -> tuple[StockRow, ...]:
    """The same pieces on each stock that they could be cut from, alone."""
    return tuple(compare_stocks(planned))


def verify_folder(
    folder: Path, tell: Callable[[str], None] | None = None
) -> tuple[Verification, tuple[Finding, ...]]:
    """The proof again, from the written files alone. tell: hears which sheet is looked at."""
    recover(folder)
    return prove(None, folder, tell)


def explain(
    folder: Path, piece: str, findings: tuple[Finding, ...], picture: Path | None
) -> tuple[tuple[Explanation, ...], Path | None]:
    """Where a piece's copies are off most, with a picture; findings: those of its proof."""
    return explain_piece(folder, piece, findings, picture)


def inspect(
    drawing: Path, units: str | None, preview: Path | None, mend_crossings: bool = False
) -> tuple[Drawing, tuple[Finding, ...]]:
    """What a drawing holds, or a job's pieces; with preview, a picture with corners numbered and
    findings flagged. mend_crossings: as in `read_drawing`; a job says so itself."""
    from foamwright.inspecting import job_drawing, side_by_side
    from foamwright.stages.acquire import read_drawing

    is_job = drawing.suffix.lower() == ".toml"
    if is_job:
        drawn, findings = job_drawing(drawing, units)
    else:
        drawn, findings = read_drawing(drawing, units, mend_crossings=mend_crossings)
    if preview is not None:
        placed = [replace(f, spots=()) for f in findings] if is_job else findings
        write_preview(side_by_side(drawn) if is_job else drawn, placed, preview)
    return drawn, findings
