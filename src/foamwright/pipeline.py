"""The map: one line a stage, from a job to proven files.

`plan` does all up to writing (that is `check`); `cut` writes, proves from disk and publishes.
What happens between the lines is in the modules that they name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

from foamwright import checking, finishing, papering, planning
from foamwright.asked import Noticed, Plan, Request
from foamwright.by_hand import leave_to_hand
from foamwright.changes import Change
from foamwright.copying import make_copies
from foamwright.exchanging import exchange_pieces
from foamwright.findings import Finding, refuse_on_fault
from foamwright.finishing import Result
from foamwright.record import Verification
from foamwright.stages.save.publish import publish, recover, staging

__all__ = ["Plan", "Request", "Result", "cut", "paper", "plan", "verify_folder"]

Before: TypeAlias = Callable[[tuple[Change, ...]], None]


def untold(changed: tuple[Change, ...]) -> None:
    """Nobody wants to know."""


def plan(request: Request) -> Plan:
    """All that `cut` does up to writing. Raises Refused with every fault found so far."""
    asked = planning.load(request)  # job file, shelf, rules
    noticed = Noticed(planning.job_lines(asked))
    asked = noticed(leave_to_hand(asked))
    noticed.stop_on_fault()
    drawn = noticed(planning.read_drawings(asked))  # acquire
    benches = noticed(planning.set_up(asked))  # profiles -> tool, limits, stock
    thick = planning.thicknesses(asked, benches)
    drafts = noticed(planning.draft_patterns(asked, drawn, thick))  # alter: lines at their size
    noticed.checks += noticed(checking.check_patterns(asked, drafts, thick))  # seams, cores
    request.tell(f"making {len(drafts)} pieces")
    pieces = noticed(planning.alter_pieces(asked, drafts, benches))  # alter: cut lines, notches
    noticed.checks += noticed(checking.check_necks(asked, benches, pieces, noticed.faulty))
    copies = noticed(make_copies(asked, drafts, benches, pieces))  # alter: mirrored, labelled
    noticed.add(planning.judge_hazards(asked, benches))  # safety, on the plan
    noticed.stop_on_fault()
    layouts = noticed(planning.arrange_copies(asked, benches, copies))  # arrange
    noticed.checks += noticed(checking.check_pairs(asked, benches, layouts))
    noticed.stop_on_fault()
    request.tell("finding the tool's paths")
    cuts = noticed(planning.compensate_sheets(asked, benches, layouts))  # compensate
    noticed.stop_on_fault()
    programs = planning.order_cuts(benches, cuts)  # order
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
    finishing.keep_out_of_others(planned, out)
    changed = finishing.changes_since(planned, out)
    before(changed)
    with staging(out) as folder:
        draft = finishing.write_programs(planned, folder)  # save
        proof, findings = finishing.prove(planned, folder, request.told)  # verify, safety
        refuse_on_fault((*planned.findings, *findings))
        result = finishing.finish(planned, draft, proof, findings, folder)  # record and sheet
        if preview is not None:
            finishing.write_sheets_preview(result, preview)
        with finishing.book_offcuts(planned, out):
            publish(folder, out)
    finishing.keep_layouts(planned)
    return replace(result, changes=changed)


def paper(request: Request, size: str, file: Path) -> tuple[int, tuple[Finding, ...]]:
    """The pattern at full size as a PDF on paper of this size; gives its number of pages."""
    asked = planning.load(request)
    noticed = Noticed(planning.job_lines(asked))
    drawn = noticed(planning.read_drawings(asked))  # acquire
    materials = noticed(papering.find_materials(asked))
    thick = {s.name: m.thickness for s in asked.specs if (m := materials.get(s.material))}
    drafts = noticed(planning.draft_patterns(asked, drawn, thick))  # alter: lines at their size
    noticed.checks += noticed(checking.check_patterns(asked, drafts, thick))  # seams, cores
    noticed.stop_on_fault()
    seams = noticed.checks.seams
    pieces = noticed(papering.draw_pieces(asked, drafts, seams, materials))  # alter: cut lines
    noticed.stop_on_fault()
    pages = papering.write_paper(papering.paper_pattern(asked, pieces, seams), size, file)  # save
    return pages, noticed.findings


def verify_folder(
    folder: Path, tell: Callable[[str], None] | None = None
) -> tuple[Verification, tuple[Finding, ...]]:
    """The proof again, from the written files alone. tell: hears which sheet is looked at."""
    recover(folder)
    return finishing.prove(None, folder, tell)
