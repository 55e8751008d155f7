"""The steps between the stages, up to the programs: what each stage is given from job and shelf.

Its nouns are in `asked.py`.  Writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from foamwright.asked import AskedJob, Bench, Benches, Layouts, Request, use_of_pair
from foamwright.derive import (
    blade_due,
    bridging_faults,
    bridging_for,
    footprint_of,
    idle_rules,
    limits_for,
    settings_for,
    style_for,
    tool_for,
)
from foamwright.drawn_stock import DrawnStock
from foamwright.errors import CommandError
from foamwright.findings import Finding, Refused, fault
from foamwright.hazards import load_rules
from foamwright.idle_stock import idle_stock
from foamwright.job import Job, PieceSpec, job_for_drawing, load_job
from foamwright.job_checks import drawing_and_piece
from foamwright.job_drafts import DRAFT
from foamwright.job_places import locator
from foamwright.job_sizes import by_size, sized_names
from foamwright.laying import stock_for
from foamwright.model import (
    Copy,
    Cut,
    Drawing,
    Footprint,
    Piece,
    Program,
    Sheet,
)
from foamwright.names import readable
from foamwright.offcuts import half_done, offcuts, stock_from
from foamwright.profiles import Shelf, user_folder
from foamwright.safety import Use, assess
from foamwright.stages.acquire import read_drawing, select
from foamwright.stages.acquire.drafts import drafts
from foamwright.stages.alter import (
    Draft,
    Drafts,
    alter,
    bevelled,
    derived_cores,
    draft,
    registered,
    suited,
    templated,
    with_seam_notches,
)
from foamwright.stages.arrange import Layout, arrange, kept
from foamwright.stages.compensate import compensate
from foamwright.stages.order import order

#: Fitting's share of the chain's 0.01 mm, mm (design, section 1).
FIT_TOLERANCE = 0.006
#: Accuracy of an allowance's parallel, mm: it makes the target, so it isn't part of the chain.
ALLOWANCE_TOLERANCE = 0.006


def load(request: Request) -> AskedJob:
    """The job and what it stands among. Raises Refused with every fault of the files."""
    folder = request.source.parent
    shelf = Shelf.of(folder, base=Path() if request.is_drawing else folder)
    job = _job_of_drawing(request) if request.is_drawing else load_job(request.source)
    job, sizes = by_size(job)
    only = tuple(n for name in request.only for n in sized_names(name, sizes))
    _check_only(only, job)
    request = replace(request, only=only)
    return AskedJob(request, job, folder, shelf, load_rules(shelf.folders), sizes)


def job_lines(asked: AskedJob) -> Callable[[Finding], Finding]:
    """What puts the job file's line before a finding; a bare drawing has no such file."""
    if asked.request.is_drawing:
        return lambda finding: finding
    return locator(asked.request.source)


def _check_only(only: Iterable[str], job: Job) -> None:
    """Raises CommandError where `--only` names what the job doesn't make."""
    copies = {p.name: tuple(_copy_names(p)) for p in job.piece}
    for name in only:
        of = name.split("/")[0]
        if name not in copies.keys() | set(copies.get(of, ())):
            there = ", ".join(copies.get(of, copies))
            raise CommandError(f"--only {name}: no such piece or copy; there are {there}")


def _copy_names(spec: PieceSpec) -> Iterable[str]:
    for kind, count in (("drawn", spec.count), ("mirrored", spec.mirrored)):
        yield from (f"{spec.name}/{kind}/{k}" for k in range(1, count + 1))


def _job_of_drawing(request: Request) -> Job:
    drawing, findings = read_drawing(request.source, request.units)
    if any(f.is_fault for f in findings):
        raise Refused(findings)
    return job_for_drawing(
        request.source,
        request.material or "",
        request.machine or "by-hand",  # a name that is never looked up
        [p.name for p in drawing.pieces],
        scale=1.0 if request.scale is None else request.scale,
        mirrored=request.mirrored or 0,
    )


def read_drawings(asked: AskedJob) -> tuple[dict[str, Piece], list[Finding]]:
    """Each wanted piece as drafted, and those that its size hangs on, by the job's names."""
    drafted, told = drafts(asked.job.draft)
    drawings: dict[str, Drawing] = {DRAFT: drafted}
    findings = list(told)
    drawn: dict[str, Piece] = {}
    for spec in (s for s in asked.needed if s.outline):
        file, name = drawing_and_piece(spec.outline)
        if file not in drawings:
            asked.request.tell(f"reading {file}")
            drawing, found = read_drawing(
                asked.folder / file,
                asked.request.units or asked.job.job.drawing_units,
                asked.job.job.corner_angle,
                mend_crossings=asked.job.job.crossings == "even-odd",
            )
            drawings[file] = drawing
            findings.extend(found)
        piece = select(drawings[file], name)
        if piece is not None:
            drawn[spec.name] = piece
        elif drawings[file].pieces:
            there = ", ".join(p.name for p in drawings[file].pieces[:12])
            findings.append(
                fault(
                    "J530",
                    f"piece {spec.name}",
                    f"{file} has no piece {name!r}",
                    f"it has {there}",
                    piece=spec.name,
                )
            )
    return drawn, findings


def set_up(asked: AskedJob) -> tuple[dict[tuple[str, str], Bench], list[Finding]]:
    """A bench for each material on each machine that the wanted pieces name."""
    benches: dict[tuple[str, str], Bench] = {}
    findings: list[Finding] = [*idle_stock(asked)]
    for pair in dict.fromkeys((s.material, asked.machine_of(s)) for s in asked.specs):
        try:
            benches[pair] = _bench(asked, *pair)
        except Refused as why:
            forbidden = bool(_forbidden(asked, *pair))  # then settings of its own are no remedy
            findings.extend(f for f in why.findings if not (forbidden and f.code == "J514"))
    for spec in asked.specs:
        bench = benches.get((spec.material, asked.machine_of(spec)))
        if bench is not None:
            bridging = bridging_for(spec.bridges, bench.cut)
            findings.extend(bridging_faults(f"piece {spec.name}", bench.tool, bridging))
    for bench in benches.values():
        findings.extend(idle_rules(bench.machine.profile, bench.material.profile))
    if asked.request.use_offcuts:
        there, job = offcuts(user_folder()), asked.job.job.name
        materials = dict.fromkeys(b.material.id for b in benches.values())
        findings.extend(f for m in materials for f in half_done(there, m, job))
    machines = {b.machine.id: b.machine.profile for b in benches.values()}
    findings.extend(f for m in machines.values() for f in blade_due(m))
    return benches, [*findings, *_namesakes(benches.values())]


def _namesakes(benches: Iterable[Bench]) -> Iterable[Finding]:
    """Two files of one id can't be told apart in file names and the record."""
    taken: dict[tuple[str, str], str] = {}
    for loaded in (x for b in benches for x in (b.material, b.machine)):
        origin = loaded.origin("name")
        other = taken.setdefault((loaded.kind, loaded.id.casefold()), origin)
        if other != origin:
            what = f"{other} and {origin} are two profiles of one id"
            yield fault("J507", f"{loaded.kind} {loaded.id}", what, "rename one of the files")


def _bench(asked: AskedJob, material_id: str, machine_id: str) -> Bench:
    faults: list[Finding] = []
    material = machine = None
    try:
        material = asked.material_on(material_id, machine_id)
    except Refused as why:
        faults.extend(_named(f, f"material {material_id}") for f in why.findings)
    try:
        machine = asked.shelf.machine(machine_id)
    except Refused as why:
        faults.extend(_named(f, f"machine {machine_id}") for f in why.findings)
    if material is None or machine is None:
        raise Refused(faults)
    cut = settings_for(machine.profile, material.profile)
    tool = tool_for(machine.profile, material.profile, cut, asked.job.job.true_face)
    stocks = stock_for(material.profile, asked.job.stock, DrawnStock(asked))
    if asked.request.use_offcuts:
        there = offcuts(user_folder())
        stocks = (*stock_from(there, material.id, asked.job.job.name), *stocks)
    limits = limits_for(machine.profile, material.profile, tool, stocks, cut)
    return Bench(material, machine, cut, tool, style_for(machine.profile), limits, stocks)


def draft_patterns(
    asked: AskedJob, drawn: Mapping[str, Piece], thick: Mapping[str, float]
) -> tuple[dict[str, Draft], tuple[Finding, ...]]:
    """The patterns on their stitch lines, at their sizes, by name. thick: of the materials."""
    made: dict[str, Draft] = {}
    findings: list[Finding] = []
    for size in asked.sizes:
        names = drawn.keys() & set(size.pieces.values())
        pieces = {s.name: (drawn[s.name], s) for s in asked.needed if s.name in names}
        if not pieces:
            continue
        drafts, found = draft(pieces, size.keys, ALLOWANCE_TOLERANCE, size.name, asked.job.seam)
        made.update(drafts)
        findings.extend(found)
    cores = {s.name: s for s in asked.needed if s.core and not s.outline}
    derived, found = derived_cores(made, cores, thick, ALLOWANCE_TOLERANCE)
    made.update(derived)
    findings.extend(found)
    made = with_seam_notches(made, asked.job.seam)
    made, found = registered(made, asked.job.registration, asked.job.seam)
    return made, (*findings, *found)


def thicknesses(asked: AskedJob, benches: Benches) -> dict[str, float]:
    """mm, of the material of each wanted piece whose profiles are there."""
    pairs = {s.name: (s.material, asked.machine_of(s)) for s in asked.specs}
    return {n: benches[p].material.profile.thickness for n, p in pairs.items() if p in benches}


def _named(finding: Finding, profile: str) -> Finding:
    """A profile that no shelf has is told by the name that the job gives it."""
    missing = finding.code == "J511" and finding.where == "profiles"
    return replace(finding, where=readable(profile)) if missing else finding


def alter_pieces(
    asked: AskedJob, drafts: Drafts, benches: Benches
) -> tuple[dict[str, Piece], list[Finding]]:
    """The target of each wanted piece, by name, with what its blade can't cut made otherwise."""
    findings: list[Finding] = []
    made: dict[str, Piece] = {}
    for spec in asked.specs:
        if spec.name not in drafts:
            continue
        drawn = drafts[spec.name]
        bench = benches.get((spec.material, asked.machine_of(spec)))
        blade = Footprint() if bench is None else footprint_of(bench.tool)
        fitting, changed = suited(drawn.spec, blade, asked.job.seam)
        piece, found = alter(replace(drawn, spec=fitting), ALLOWANCE_TOLERANCE)
        more: tuple[Finding, ...] = ()
        if bench is not None and spec.bevel:
            piece, more = bevelled(
                piece,
                drawn.pattern,
                drawn.spec,
                bench.material.profile.thickness,
                ALLOWANCE_TOLERANCE,
                drawn=bench.tool.marks_by in ("pen", "score"),
            )
        marks = bench is None or bench.tool.marks_by in ("pen", "score")
        piece, block = templated(piece, drawn.pattern, drawn.spec, drawn=marks)
        made[spec.name] = piece
        findings.extend((*changed, *found, *more, *block))
    return made, findings


def judge_hazards(asked: AskedJob, benches: Benches) -> tuple[Finding, ...]:
    """The rules on the plan, and what no settings could lift of pairs that have none."""
    uses = [b.use for b in benches.values()]
    judged = assess(uses, asked.job.permit, asked.rules, asked.request.today)
    pairs = dict.fromkeys((s.material, asked.machine_of(s)) for s in asked.specs)
    return (*judged, *(f for p in pairs if p not in benches for f in _forbidden(asked, *p)))


def _forbidden(asked: AskedJob, material_id: str, machine_id: str) -> list[Finding]:
    """What forbids a pair whatever its settings: the S001 of it."""
    uses = list(_use_without_settings(asked, material_id, machine_id))
    found = assess(uses, asked.job.permit, asked.rules, asked.request.today)
    return [f for f in found if f.code == "S001"]


def _use_without_settings(asked: AskedJob, material_id: str, machine_id: str) -> Iterable[Use]:
    """The pair as the rules see it; nothing where a profile can't be read, which is told."""
    try:
        pair = asked.material_on(material_id, machine_id), asked.shelf.machine(machine_id)
    except Refused:
        return ()
    return (use_of_pair(*pair),)


def layout_file(asked: AskedJob) -> Path | None:
    """Where the layouts are kept: beside the job, or in a bare drawing's output folder."""
    folder = asked.request.out if asked.request.is_drawing else asked.folder
    return folder / f"{asked.stem}.layout.json" if folder else None


def kept_layouts(asked: AskedJob) -> dict[str, list[kept.Group]]:
    file = layout_file(asked)
    try:
        return kept.from_text(file.read_text("utf-8")) if file else {}
    except (OSError, UnicodeDecodeError):
        return {}


def arrange_copies(
    asked: AskedJob, benches: Benches, by_bench: Mapping[tuple[str, str], Sequence[Copy]]
) -> tuple[dict[tuple[str, str], Layout], list[Finding]]:
    """The sheets of each bench, numbered through the job; by_bench: its copies."""
    before = kept_layouts(asked)
    layouts: dict[tuple[str, str], Layout] = {}
    findings: list[Finding] = []
    number = 0
    for pair, bench in benches.items():
        copies = by_bench[pair]
        if not copies:
            continue
        key = kept.layout_key(copies, bench.stocks, bench.limits, bench.back)
        layout = arrange(
            copies,
            bench.stocks,
            bench.limits,
            asked.request.layout,
            kept=before.get(key),
            back=bench.back,
        )
        sheets = tuple(replace(s, number=number + k) for k, s in enumerate(layout.sheets, 1))
        number += len(sheets)
        layouts[pair] = replace(layout, sheets=sheets)
        findings.extend(layout.findings)
    return layouts, findings


Cuts = Mapping[tuple[str, str], tuple[tuple[Sheet, tuple[Cut, ...]], ...]]


def compensate_sheets(
    asked: AskedJob, benches: Benches, layouts: Layouts
) -> tuple[Cuts, list[Finding]]:
    """The tool's paths for each sheet."""
    findings: list[Finding] = []
    made = {}
    for pair, layout in layouts.items():
        done = []
        for sheet in layout.sheets:
            cuts, found = compensate(
                sheet, benches[pair].tool, FIT_TOLERANCE, asked.job.job.unreached_max
            )
            done.append((sheet, cuts))
            findings.extend(found)
        made[pair] = tuple(done)
    return made, findings


def order_cuts(benches: Benches, cuts: Cuts) -> tuple[tuple[Bench, Program], ...]:
    """A program for each sheet."""
    return tuple(
        (benches[pair], order(made, sheet, benches[pair].tool))
        for pair, sheets in cuts.items()
        for sheet, made in sheets
    )
