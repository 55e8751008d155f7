"""The steps from programs to published files: texts, the record, the proof, the operator's sheet.

Everything is written into a staging folder; nothing here gives a file its final name but the kept
layout and a preview, which are written whole and then renamed.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from glob import escape
from pathlib import Path
from typing import Literal

from foamwright import __version__
from foamwright.asked import AskedJob, Bench, Plan
from foamwright.changes import Change, changes
from foamwright.check_tables import tables_of
from foamwright.checklist import CheckLine, Stage, checklist, load_checklist
from foamwright.errors import CommandError
from foamwright.exchanging import write_exchange
from foamwright.explained import Explanation
from foamwright.findings import Finding, Refused, fault
from foamwright.hazards import Rules, load_rules
from foamwright.job_checks import drawing_and_piece
from foamwright.job_drafts import DRAFT
from foamwright.model import Drawing, Program
from foamwright.names import readable, safe_name
from foamwright.offcuts import booked, left_over, offcuts
from foamwright.planning import kept_layouts, layout_file
from foamwright.profiles import resolve_settings, user_folder
from foamwright.record import (
    FileEntry,
    InputEntry,
    PermitEntry,
    ProfileEntry,
    Record,
    SheetEntry,
    Verification,
)
from foamwright.safety import Use, assess_record
from foamwright.stages.arrange import kept
from foamwright.stages.save.dxf import dxf_text
from foamwright.stages.save.locks import alone
from foamwright.stages.save.publish import RECORD, is_broken_off, write_file
from foamwright.stages.save.record import (
    bridges_of,
    file_entry,
    layout_summary,
    piece_entry,
    sha256,
    sheet_entry,
    total_time,
)
from foamwright.stages.save.svg import svg_text
from foamwright.stages.verify import read_files, verify
from foamwright.vouching import not_proven, vouch

SHEET = "operator-sheet.html"
#: How far a freed edge may lie from its target, mm: the chain's limit (design, section 1).
LIMIT = 0.01


@dataclass(frozen=True, slots=True)
class Result:
    """A finished cut: what was planned, the record as written, and every finding.

    changes: of profiles since the folder's record before.
    """

    plan: Plan
    record: Record
    findings: tuple[Finding, ...]
    changes: tuple[Change, ...] = ()


def changes_since(planned: Plan, out: Path) -> tuple[Change, ...]:
    """What changed in the job's profiles since the cut that the folder holds; it may hold none."""
    there = _read_record(out)
    return () if there is None else changes(there.profiles, _profiles(planned))


def keep_out_of_others(planned: Plan, out: Path) -> None:
    """Raises Refused where the folder holds another job's cut, which this one would replace."""
    there = _read_record(out)
    name = planned.asked.job.job.name
    if there is not None and there.job != name:
        what = f"it holds the cut of {there.job!r}, which {name!r} would replace"
        raise Refused([fault("W704", readable(str(out)), readable(what), "choose another --out")])


def book_offcuts(planned: Plan, out: Path) -> AbstractContextManager[None]:
    """While the files are published in `out`: then the offcuts that they lie on are booked for the
    job, and what they leave over is on the shelf, where that is asked for. Raises Refused (L412).
    """
    request, job = planned.asked.request, planned.asked.job.job.name
    if not request.use_offcuts and request.keep_offcuts is None:
        return nullcontext()
    shelf = user_folder()
    there = {e.id for e in offcuts(shelf)} if request.use_offcuts else set()
    sheets = [(b, p.sheet) for b, p in planned.programs]
    used = [s.stock.name for _, s in sheets if s.stock.kind == "offcut" and s.stock.name in there]
    least = request.keep_offcuts
    new = (
        None
        if least is None
        else [e for b, s in sheets for e in left_over(s, job, b.limits.clearance, least)]
    )
    return booked(shelf, job, used, new, lambda: is_broken_off(out))


def write_programs(planned: Plan, folder: Path) -> Record:
    """Every program as DXF and SVG, the pattern for other shops where it is asked for, and a record
    without proof; gives that record."""
    files: list[FileEntry] = []
    for bench, program in planned.programs:
        stem = _file_stem(planned.asked, bench, program)
        kinds: tuple[tuple[Literal["dxf", "svg"], str], ...] = (
            ("dxf", dxf_text(program, bench.style)),
            ("svg", svg_text(program, bench.style)),
        )
        for kind, text in kinds:
            data = text.encode("utf-8")
            write_file(folder, f"{stem}.{kind}", data)
            files.append(file_entry(f"{stem}.{kind}", kind, program, bench.style, data))
    exchange, sealed = write_exchange(planned, folder)
    told = {"exchange": exchange, "others": tuple(sealed), "sealed": sealed}
    draft = _record(planned, files).model_copy(update=told)
    write_file(folder, RECORD, draft.to_text())
    return draft


def _file_stem(asked: AskedJob, bench: Bench, program: Program) -> str:
    parts = (asked.stem, safe_name(bench.material.id), safe_name(bench.machine.id))
    return "-".join((*parts, str(program.sheet.number))).lower()


def _record(planned: Plan, files: Sequence[FileEntry]) -> Record:
    programs = [p for _, p in planned.programs]
    return Record(
        version=__version__,
        job=planned.asked.job.job.name,
        unreached_max_mm=planned.asked.job.job.unreached_max,
        inputs=tuple(_inputs(planned.asked)),
        profiles=_profiles(planned),
        permits=_permits(planned.asked),
        sheets=tuple(_sheet_entry(b, p) for b, p in planned.programs),
        pieces=tuple(
            piece_entry(x, p.sheet.number, bridges_of(p, x.copy.name))
            for p in programs
            for x in p.sheet.placements
        ),
        files=tuple(files),
        layout=layout_summary(programs),
        time_s=total_time(programs),
        findings=tuple(f.line() for f in planned.findings if not f.is_of_the_run),
    )


def _sheet_entry(bench: Bench, program: Program) -> SheetEntry:
    return sheet_entry(program, bench.material.profile.severed, bench.usable(program.sheet))


def _inputs(asked: AskedJob) -> Iterable[InputEntry]:
    names = [] if asked.request.is_drawing else [asked.request.source.name]
    drawn = (drawing_and_piece(s.outline)[0] for s in asked.specs)
    names += dict.fromkeys(name for name in drawn if name and name != DRAFT)
    outlines = [o for s in asked.job.stock for o in (s.outline, *(z.outline for z in s.zone))]
    lent = dict.fromkeys(drawing_and_piece(o)[0] for o in outlines if o is not None)
    names += [file for file in lent if file not in names]
    for name in names:
        told = Path(name).name if Path(name).is_absolute() else name
        yield InputEntry(name=told, sha256=sha256((asked.folder / name).read_bytes()))


def _profiles(planned: Plan) -> tuple[ProfileEntry, ...]:
    entries: dict[tuple[str, str, str], ProfileEntry] = {}
    for bench, _ in planned.programs:
        for entry in resolve_settings(bench.material, bench.machine, bench.cut):
            other = bench.machine.id if entry.kind == "material" else ""
            entries.setdefault((entry.kind, entry.id, other), entry)
    return tuple(entries.values())


def _permits(asked: AskedJob) -> tuple[PermitEntry, ...]:
    return tuple(
        PermitEntry(
            material=p.material,
            machine=p.machine,
            issued_by=p.issued_by,
            reference=p.reference,
            date=p.date.isoformat(),
            expires=p.expires.isoformat() if p.expires else None,
            data_sheet=p.data_sheet,
        )
        for p in asked.job.permit
    )


def prove(
    planned: Plan | None, folder: Path, tell: Callable[[str], None] | None = None
) -> tuple[Verification, tuple[Finding, ...]]:
    """The proof of a folder from disk, and the hazard rules on what was read back.

    planned: for the rules of the job's own shelves; None takes the packaged and the user's rules.
    tell: hears which sheet is looked at.
    """
    verification, findings = verify(folder, LIMIT, tell)
    rules, today = _rules(planned)
    read = _read_record(folder)
    if read is not None:
        findings = (*findings, *assess_record(read, rules, today))
        findings += vouch(folder, read, verification)
        findings += not_proven(read) if planned is None else ()
    faults = any(f.is_fault for f in findings)
    return verification.model_copy(update={"passed": verification.passed and not faults}), findings


def _rules(planned: Plan | None) -> tuple[Rules, datetime.date]:
    if planned is not None:
        return planned.asked.rules, planned.asked.request.today
    from foamwright.profiles import Shelf

    return load_rules(Shelf.of().folders), datetime.date.today()


def _read_record(folder: Path) -> Record | None:
    try:
        return Record.model_validate_json((folder / RECORD).read_bytes())
    except (OSError, ValueError):
        return None  # verify has told why


def finish(
    planned: Plan,
    draft: Record,
    proof: Verification,
    findings: Sequence[Finding],
    folder: Path,
) -> Result:
    """The record with its proof, and the operator's sheet, into the staging folder."""
    from foamwright.stages.save.sheet import sheet_html
    from foamwright.stages.save.sheet_view import view_of

    told = tuple(dict.fromkeys((*planned.findings, *findings)))
    layout = f"{planned.asked.stem}.layout.json" if planned.asked.request.is_drawing else None
    record = draft.model_copy(
        update={
            "verification": proof,
            "findings": tuple(f.line() for f in told if not f.is_of_the_run),
            "others": (SHEET, *draft.others, *((layout,) if layout else ())),
        }
    )
    programs = [p for _, p in planned.programs]
    view = view_of(record, programs, _checklist(planned), tables_of(planned.checks))
    sheet = sheet_html(replace(view, measuring=planned.asked.request.measuring))
    sealed = {**draft.sealed, SHEET: sha256(sheet.encode("utf-8"))}
    record = record.model_copy(update={"sealed": sealed})
    write_file(folder, SHEET, sheet)
    write_file(folder, RECORD, record.to_text())
    if layout:
        write_file(folder, layout, _layout_text(planned, {}))
    return Result(planned, record, told)


def _checklist(planned: Plan) -> Mapping[Stage, tuple[CheckLine, ...]]:
    """What this job's materials and machines call for."""
    rules, shelf = planned.asked.rules, planned.asked.shelf
    uses: list[Use] = []
    for bench in planned.benches.values():
        cuts = [c for b, p in planned.programs if b is bench for c in p.cuts]
        if cuts:
            uses.append(replace(bench.use, left=sum(c.left for c in cuts)))
    items = load_checklist(rules, shelf.folders)
    return checklist(items=items, uses=uses, rules=rules)


def keep_layouts(planned: Plan) -> None:
    """The job's layouts beside it, to be used again. A place that can't be written is no fault."""
    file = layout_file(planned.asked)
    if file is None or planned.asked.request.is_drawing:
        return  # a bare drawing's is published with its files
    before = kept_layouts(planned.asked) if planned.asked.request.only else {}
    text = _layout_text(planned, before)
    try:
        if not file.exists() or file.read_text("utf-8") != text:
            replace_whole(file, text.encode("utf-8"))
        else:
            with alone(file.parent):
                _clear_drafts(file)
    except (OSError, UnicodeDecodeError):
        return


def _layout_text(planned: Plan, before: dict[str, list[kept.Group]]) -> str:
    return kept.to_text({x.key: x.sheets for x in planned.layouts.values()}, before)


def replace_whole(file: Path, data: bytes) -> None:
    """A whole file in the place of another, or the other as it was. Raises OSError."""
    with alone(file.parent):
        _clear_drafts(file)
        draft = file.with_name(f".{file.name}.{os.getpid()}.part")
        try:
            with draft.open("xb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
            draft.replace(file)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise


def _clear_drafts(file: Path) -> None:
    """What killed runs left of this file. To be called `alone` in its folder."""
    for stale in file.parent.glob(f".{escape(file.name)}.*.part"):
        stale.unlink(missing_ok=True)


def write_preview(drawn: Drawing, findings: Sequence[Finding], file: Path) -> None:
    """A picture of a drawing with its corners numbered. Raises Refused where it can't be written
    or where a file that is no earlier preview stands there."""
    from foamwright.stages.save.preview import preview_svg

    _write_picture(preview_svg(drawn, findings), file)


def _write_picture(text: str, file: Path) -> None:
    """An SVG, or a PNG where the file is called so."""
    from foamwright.stages.save.preview import SIGNATURE

    data = text.encode("utf-8")
    if file.suffix.lower() == ".png":
        from foamwright.stages.save.raster import png_of

        data = png_of(text)
    replace_file(file, data, SIGNATURE.encode("utf-8"), "preview")


def write_sheets_preview(result: Result, file: Path) -> None:
    """A picture of all sheets as they are meant. Raises Refused as `write_preview` does."""
    from foamwright.stages.save.sheet_view import view_of
    from foamwright.stages.save.sheets_preview import sheets_svg

    programs = [p for _, p in result.plan.programs]
    _write_picture(sheets_svg(view_of(result.record, programs, {})), file)


def replace_file(file: Path, data: bytes, signature: bytes, kind: str) -> None:
    """A file in its place, whole. signature: what an earlier one of its kind holds.

    Raises Refused where a stranger's file stands there (W701) or it can't be written (W702).
    """
    where = readable(str(file))
    try:
        if file.exists() and signature not in file.read_bytes():
            what = f"this file is no earlier {kind}"
            raise Refused([fault("W701", where, what, "choose another name")])
        replace_whole(file, data)
    except OSError as why:
        what = f"can't be written: {why.strerror}"
        raise Refused([fault("W702", where, what, "choose another place")]) from why


def explain_piece(
    folder: Path, name: str, findings: Sequence[Finding], picture: Path | None
) -> tuple[tuple[Explanation, ...], Path | None]:
    """Where each copy of a piece is off most, the worst first, and the picture made of that.

    findings: those of the folder's proof.  picture: by default `explain-NAME.svg` beside the
    folder, never in it, where it might be cut.  Raises CommandError for a name that the record
    doesn't have, Refused where the picture can't be written.
    """
    from foamwright.stages.save.spot import spot_svg
    from foamwright.stages.verify.explain import copies_of, explain

    record = _read_record(folder)
    if record is None:
        return (), None
    copies = copies_of(record, name)
    if not copies:
        there = ", ".join(dict.fromkeys(p.name for p in record.pieces[:200]))
        raise CommandError(f"--explain {name}: no such piece or copy; there are {there}")
    texts = read_files(folder, record)
    told = [e for c in copies if (e := explain(record, texts, c, LIMIT)) is not None]
    told = [replace(e, faults=_refusals(findings, e)) for e in told]
    told.sort(key=lambda e: -e.worst.depth)
    if not told:
        return (), None
    file = picture or Path(os.path.abspath(folder)).parent / f"explain-{safe_name(name)}.svg"
    _write_picture(spot_svg(told[0]), file)
    return tuple(told), file


def _refusals(findings: Sequence[Finding], told: Explanation) -> tuple[str, ...]:
    """What was refused of the copy, in its worst file or whichever."""
    mine = (f for f in findings if f.is_fault and f.piece == told.copy)
    others = tuple(n for n in (".dxf", ".svg") if not told.file.endswith(n))
    return tuple(f.line() for f in mine if not f.where.partition(",")[0].endswith(others))


__all__ = [
    "LIMIT",
    "Result",
    "changes_since",
    "explain_piece",
    "finish",
    "keep_layouts",
    "prove",
    "replace_file",
    "write_preview",
    "write_programs",
    "write_sheets_preview",
]
