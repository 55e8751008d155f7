"""Proves a folder of cut files from the files alone: reads, simulates the tool, compares.

`read_record`, `read_svg` and `read_dxf` take only what `save` writes and mend nothing; `simulate`
drives the tool (`blade`: a trailing tip); `compare`, `depth` and `contents` measure one piece;
`sheet_proof` a sheet.  Every fault is reported, whatever the hashes say.
Shares no offset and no fit with the stages that it checks.  Does not judge materials (`safety`).
"""

from __future__ import annotations

import hashlib
import pathlib
from collections.abc import Callable, Iterator, Mapping, Sequence

from foamwright.findings import Finding, fault, note
from foamwright.model import Tool
from foamwright.record import (
    FaceEntry,
    FileEntry,
    PieceProof,
    Record,
    UnreachedEntry,
    Verification,
)
from foamwright.stages.verify.agreement import wrong_operations, wrong_tool
from foamwright.stages.verify.compare import Fault, Proof, Spot
from foamwright.stages.verify.contents import wrong_order
from foamwright.stages.verify.exchange import prove_exchange
from foamwright.stages.verify.faces import told
from foamwright.stages.verify.read_dxf import read_dxf
from foamwright.stages.verify.read_record import RECORD, read_record
from foamwright.stages.verify.read_svg import read_svg
from foamwright.stages.verify.reading import Run, UnreadableError
from foamwright.stages.verify.sheet_proof import (
    FileProof,
    Named,
    Sheet,
    prove_file,
    prove_layout,
    prove_nesting,
    prove_reach,
    same_runs,
)
from foamwright.stages.verify.simulate import BadToolError, read_tool
from foamwright.stages.verify.targets import BadTargetError, Target, read_target

__all__ = ["read_files", "verify", "verify_record"]

#: mm off at the bottom face above which it is told.
TOLD = 0.05
#: The chain's limit, mm (the design's section 1).
LIMIT = 0.01
_ANEW = "cut the job anew"
#: Hears what is being looked at.
Tell = Callable[[str], None]


def verify(
    folder: pathlib.Path, limit: float = LIMIT, tell: Tell | None = None
) -> tuple[Verification, tuple[Finding, ...]]:
    """The proof of a folder from its record and its cut files, and all that was found.

    limit: mm that a freed edge may lie off its target.  tell: hears which sheet is looked at.
    Nothing is raised for what the folder
    holds: whatever is wrong is a finding, and the verification has not passed.
    """
    try:
        data = (folder / RECORD).read_bytes()
    except OSError as err:
        why = err.strerror or "no such file"
        found = fault("V001", str(folder / RECORD), f"can't be read ({why})", "name a cut's folder")
        return _failed(limit), (found,)
    record, findings = read_record(data)
    if record is None:
        return _failed(limit), findings
    proof, more = verify_record(record, read_files(folder, record), limit, tell)
    if record.exchange is not None:
        findings += prove_exchange(record.exchange, _read(folder, record.exchange.name))
    return proof.model_copy(update={"passed": proof.passed and not findings}), (*findings, *more)


def read_files(folder: pathlib.Path, record: Record) -> dict[str, bytes]:
    """The bytes of those of the record's cut files that can be read, by name."""
    return {f.name: text for f in record.files if (text := _read(folder, f.name)) is not None}


def _read(folder: pathlib.Path, name: str) -> bytes | None:
    """A file of the folder itself, or None: nothing outside it is opened."""
    if pathlib.PurePath(name).name != name:
        return None
    try:
        return (folder / name).read_bytes()
    except (OSError, ValueError):
        return None


def _failed(limit: float) -> Verification:
    return Verification(passed=False, limit_mm=limit, worst_deviation_mm=0.0)


def verify_record(
    record: Record, texts: Mapping[str, bytes], limit: float = LIMIT, tell: Tell | None = None
) -> tuple[Verification, tuple[Finding, ...]]:
    """The proof of a record whose files have these bytes, by name."""
    work = _Work(record, texts, limit, tell)
    work.run()
    return work.result(), tuple(work.findings)


class _Work:
    """One proof as it goes: collects findings, and the worst of each piece."""

    def __init__(
        self, record: Record, texts: Mapping[str, bytes], limit: float, tell: Tell | None
    ) -> None:
        self.record, self.texts, self.limit, self.tell = record, texts, limit, tell
        self.findings: list[Finding] = []
        self.proofs: dict[str, Proof] = {}
        self.unreached: dict[str, tuple[UnreachedEntry, ...]] = {}
        self.far: dict[str, Spot] = {}

    def run(self) -> None:
        targets = self._targets()
        numbers = {s.number for s in self.record.sheets}
        for p in self.record.pieces:
            if p.sheet not in numbers:
                self._fault(
                    "V020", p.copy_name, f"no sheet {p.sheet} is recorded for it", p.copy_name
                )
        if not self.record.pieces:
            self._fault("V020", RECORD, "it names no pieces", "")
        for entry in self.record.sheets:
            if self.tell is not None:
                self.tell(f"proof of sheet {entry.number} of {len(self.record.sheets)}")
            mine = tuple(t for t in targets if t.sheet == entry.number)
            sheet = Sheet(entry, mine)
            self._name(f"sheet {entry.number}", prove_layout(sheet))
            self._sheet_files(sheet)

    def _fault(self, code: str, where: str, what: str, piece: str = "") -> None:
        self.findings.append(fault(code, where, what, _ANEW, piece))

    def _name(self, where: str, faults: Iterator[Named] | Sequence[Named]) -> None:
        for named in faults:
            self.findings.append(_finding(where, named.copy, named.fault))

    def _targets(self) -> list[Target]:
        made = []
        for entry in self.record.pieces:
            try:
                made.append(read_target(entry, self.limit / 20))
            except BadTargetError as err:
                self._fault("V020", entry.copy_name, str(err), entry.copy_name)
        return made

    def _sheet_files(self, sheet: Sheet) -> None:
        entries = [f for f in self.record.files if f.sheet == sheet.entry.number]
        for kind in ("dxf", "svg"):
            if not any(f.format == kind for f in entries):
                for t in sheet.targets:
                    what = f"its sheet {sheet.entry.number} has no {kind.upper()} file"
                    self._fault("V020", t.name, what, t.name)
        done: list[tuple[FileEntry, tuple[Run, ...], FileProof]] = []
        tapers = ""
        for entry in entries:
            runs = self._read(entry, sheet)
            tool = self._tool(entry)
            if runs is None or tool is None:
                continue
            proof = self._known(entry, runs, done)
            if proof is None:
                proof = prove_file(sheet, runs, entry, tool, self.limit)
                done.append((entry, runs, proof))
            self._take(entry, sheet, tool, proof)
            measured = [f for p in proof.proofs.values() for f in p.faces]
            tapers = tapers or told(tool, measured, sheet.entry.back, self.limit)
        if tapers:
            self.findings.append(note("V022", f"sheet {sheet.entry.number}", tapers))

    def _known(
        self,
        entry: FileEntry,
        runs: Sequence[Run],
        done: Sequence[tuple[FileEntry, tuple[Run, ...], FileProof]],
    ) -> FileProof | None:
        """The proof of a file whose runs are the same, place by place: it holds for this one."""
        for other, its_runs, proof in done:
            same = other.tool == entry.tool and other.contours == entry.contours
            if same and same_runs(runs, its_runs, self.limit / 1000):
                return proof
        return None

    def _read(self, entry: FileEntry, sheet: Sheet) -> tuple[Run, ...] | None:
        data = self.texts.get(entry.name)
        if data is None:
            for name in sorted({c.copy_name for c in entry.contours}) or [""]:
                self._fault("V004", entry.name, _of("the file is missing", name), name)
            return None
        if hashlib.sha256(data).hexdigest() != entry.sha256:
            what = "its hash is not the record's: it was changed after the cut"
            self._fault("V005", entry.name, what)
        try:
            if entry.format == "dxf":
                reading = read_dxf(data, entry)
            else:
                reading = read_svg(data, entry, sheet.entry)
        except UnreadableError as err:
            self._fault("V006", entry.name, str(err))
            for t in sheet.targets:
                self._fault("V020", entry.name, f"{t.name} can't be proven from it", t.name)
            return None
        for reason in reading.reasons:
            self._fault("V006", entry.name, reason)
        return reading.runs

    def _tool(self, entry: FileEntry) -> Tool | None:
        try:
            tool = read_tool(entry.tool)
        except BadToolError as err:
            self._fault("V003", RECORD, f"the tool of {entry.name}: {err}")
            return None
        for what in wrong_tool(self.record, entry, tool):
            self._fault("V003", RECORD, f"the tool of {entry.name}: {what}")
        for copy, what in wrong_operations(entry.contours, tool):
            self._fault("V003", RECORD, f"{entry.name}, {copy}: {what}", copy)
        return tool

    def _take(self, entry: FileEntry, sheet: Sheet, tool: Tool, proof: FileProof) -> None:
        self._name(entry.name, proof.faults)
        self._name(entry.name, [Named(c, f) for c, f in wrong_order(entry.contours)])
        self._name(entry.name, prove_nesting(sheet, entry.contours))
        for t in sheet.targets:
            found = proof.proofs[t.name]
            self._name(entry.name, [Named(t.name, f) for f in found.faults])
            held = self.proofs.get(t.name)
            if held is None or found.worst.depth > held.worst.depth:
                self.proofs[t.name] = found
            if t.name not in self.unreached:
                self._reach(entry, t, tool)
            if found.far is not None and t.name not in self.far:
                self._far_face(entry, t.name, found.far)

    def _far_face(self, entry: FileEntry, name: str, far: Spot) -> None:
        """Tells how far off a turned blade's edge is at the bottom face."""
        self.far[name] = far
        if far.depth > TOLD:
            what = f"its edge at the bottom face is up to {far.depth:.2f} mm off, on a curve"
            where = f"{entry.name}, {name} at {far.place()} mm"
            self.findings.append(note("V033", where, what, piece=name))

    def _reach(self, entry: FileEntry, target: Target, tool: Tool) -> None:
        spots, faults = prove_reach(target, tool, self.limit, self.record.unreached_max_mm)
        self._name(entry.name, [Named(target.name, f) for f in faults])
        self.unreached[target.name] = tuple(
            UnreachedEntry(
                copy_name=target.name,
                x=round(s.at.real, 4),
                y=round(s.at.imag, 4),
                depth=round(s.depth, 4),
            )
            for s in spots
        )
        if spots:
            what = f"the tool leaves up to {spots[0].depth:.3f} mm over at {len(spots)} places"
            where = f"{entry.name}, {target.name} at {spots[0].place()} mm"
            self.findings.append(note("V021", where, what, piece=target.name))

    def result(self) -> Verification:
        pieces = tuple(
            PieceProof(
                copy_name=name,
                worst_deviation_mm=round(p.worst.depth, 5),
                x=round(p.worst.at.real, 4),
                y=round(p.worst.at.imag, 4),
            )
            for name, p in self.proofs.items()
        )
        return Verification(
            passed=not any(f.is_fault for f in self.findings),
            limit_mm=self.limit,
            worst_deviation_mm=max((p.worst_deviation_mm for p in pieces), default=0.0),
            unreached=tuple(u for spots in self.unreached.values() for u in spots),
            left_mm=round(sum(p.left for p in self.proofs.values()), 3),
            far_face_mm=round(max((f.depth for f in self.far.values()), default=0.0), 4),
            pieces=pieces,
            faces=tuple(
                FaceEntry(
                    copy_name=name,
                    face=f.side,
                    least_mm=round(f.least, 4),
                    most_mm=round(f.most, 4),
                )
                for name, p in self.proofs.items()
                for f in p.faces
            ),
        )


def _of(what: str, name: str) -> str:
    return f"{what}, and {name} with it" if name else what


def _finding(file: str, copy: str, wrong: Fault) -> Finding:
    where = f"{file}, {copy}" if copy else file
    if wrong.at is not None:
        where += f" at ({wrong.at.real:.2f}, {wrong.at.imag:.2f}) mm"
    return fault(wrong.code, where, wrong.what, wrong.mend, copy)
