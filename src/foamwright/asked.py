"""What a run is asked for and what a plan holds: the nouns of `planning.py` and `finishing.py`.

Terms.  A *bench* is one material on one machine with all that follows from the pair.  *Noticed*
gathers findings, so that all faults of a job are told at once.  Does nothing by itself.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from foamwright.errors import CommandError
from foamwright.exchange import ExchangeUnits, PatternPiece
from foamwright.findings import Finding, Refused
from foamwright.hazards import Rules
from foamwright.job import Job, PieceSpec
from foamwright.job_sizes import JobSize
from foamwright.measured import weakest
from foamwright.model import (
    FileStyle,
    Limits,
    Program,
    Sheet,
    Stock,
    Tool,
)
from foamwright.names import readable, safe_name
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import Loaded, Shelf, with_word
from foamwright.safety import Use
from foamwright.stages.alter import CoreRow, NeckRow, NotchRow, PairRow, SeamRow
from foamwright.stages.arrange import Asked as LayoutAsked
from foamwright.stages.arrange import Layout, Progress
from foamwright.units import parse_length
from foamwright.word_tables import WordTable

Value = TypeVar("Value")
#: What a piece that was glued already bears besides its material.
GLUE = "contact-cement"


@dataclass(frozen=True, slots=True)
class Request:
    """What the command line asks for. only: pieces or copies; today: for permits' expiry.

    out: the output folder, where a bare drawing's layouts are kept.  measuring: what the operator's
    sheet says is to be measured of what is cut.  use_offcuts: those of the shelf are offered first;
    keep_offcuts: what is left over and everywhere at least so wide is put there, mm.  told: hears
    of each step as it begins.
    """

    source: Path
    material: str | None = None
    machine: str | None = None
    units: str | None = None
    scale: float | None = None
    mirrored: int | None = None
    only: tuple[str, ...] = ()
    layout: LayoutAsked = field(default_factory=LayoutAsked)
    today: datetime.date = field(default_factory=datetime.date.today)
    out: Path | None = None
    measuring: tuple[WordTable, ...] = ()
    exchange: ExchangeUnits | None = None
    use_offcuts: bool = False
    keep_offcuts: float | None = None
    told: Callable[[str], None] | None = field(default=None, compare=False)

    def tell(self, step: str) -> None:
        """Says which step begins, to whom it may concern."""
        if self.told is not None:
            self.told(step)

    @staticmethod
    def of(
        job: Path,
        *,
        material: str | None = None,
        machine: str | None = None,
        units: str | None = None,
        scale: float | None = None,
        mirrored: int | None = None,
        only: Sequence[str] = (),
        layout_time: int = 5,
        seed: int = 1,
        fresh_layout: bool = False,
        by_hand: bool = False,
        first_layout: bool | None = None,
        tell: Callable[[Progress], None] | None = None,
        exchange: ExchangeUnits | None = None,
        use_offcuts: bool = False,
        keep_offcuts: str | None = None,
        told: Callable[[str], None] | None = None,
    ) -> Request:
        """From the options. Raises CommandError where they contradict each other.

        by_hand: no machine is asked for.  first_layout: no search; by default where there is no
        time for one.  tell: told of each better layout, told: of each step.
        keep_offcuts: a length, the least width of what is shelved.
        """
        bare = job.suffix.lower() != ".toml"
        given = {"material": material, "machine": machine, "scale": scale, "mirrored": mirrored}
        if job.is_dir():
            raise CommandError(f"{job} is a folder: name the file in it, {job / 'job.toml'}")
        needed = ("material",) if by_hand else ("material", "machine")
        missing = [f"--{k}" for k in needed if given[k] is None]
        if bare and missing:
            wanted = " and ".join(missing)
            raise CommandError(f"{job} is a drawing: give {wanted} too (`profile list` shows ids)")
        if not bare and any(v is not None for v in given.values()):
            named = ", ".join(f"--{k}" for k, v in given.items() if v is not None)
            raise CommandError(f"{named} go with a bare drawing; {job.name} says it itself")
        first = layout_time == 0 if first_layout is None else first_layout
        asked = LayoutAsked(layout_time, seed, fresh_layout, first, tell)
        names = tuple(only)
        given_by = (job, material, machine, units, scale, mirrored, names, asked)
        return Request(
            *given_by,
            exchange=exchange,
            use_offcuts=use_offcuts,
            keep_offcuts=None if keep_offcuts is None else _width(keep_offcuts),
            told=told,
        )

    @property
    def is_drawing(self) -> bool:
        return self.source.suffix.lower() != ".toml"


def _width(text: str) -> float:
    """A length of the command line, bare numbers in mm. Raises CommandError."""
    try:
        width = parse_length(text, "mm")
    except ValueError as why:
        raise CommandError(f"--keep-offcuts {text}: {why}") from None
    if width <= 0:
        raise CommandError(f"--keep-offcuts {text}: must be more than nought")
    return width


@dataclass(frozen=True, slots=True)
class Checks:
    """What was measured of the patterns, row by row; what is wrong is told by findings besides."""

    seams: tuple[SeamRow, ...] = ()
    cores: tuple[CoreRow, ...] = ()
    notches: tuple[NotchRow, ...] = ()
    pairs: tuple[PairRow, ...] = ()
    necks: tuple[NeckRow, ...] = ()

    def __add__(self, other: Checks) -> Checks:
        return Checks(
            self.seams + other.seams,
            self.cores + other.cores,
            self.notches + other.notches,
            self.pairs + other.pairs,
            self.necks + other.necks,
        )


class PlanRefused(Refused):
    """A job that is refused, with the checks made until then."""

    def __init__(self, findings: Iterable[Finding], checks: Checks) -> None:
        super().__init__(findings)
        self.checks = checks


class Noticed:
    """Findings gathered over the stages: `noticed(stage(...))` keeps them and gives the value."""

    def __init__(self, located: Callable[[Finding], Finding] = lambda f: f) -> None:
        """located: puts a line of the job file before the place of a finding that it causes."""
        self.findings: tuple[Finding, ...] = ()
        self.checks = Checks()
        self._located = located

    def __call__(self, found: tuple[Value, Iterable[Finding]]) -> Value:
        value, findings = found
        self.add(findings)
        return value

    def add(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(dict.fromkeys((*self.findings, *map(self._located, findings))))

    def stop_on_fault(self) -> None:
        if any(f.is_fault for f in self.findings):
            raise PlanRefused(self.findings, self.checks)

    @property
    def faulty(self) -> frozenset[str]:
        """Pieces that a fault was found in."""
        return frozenset(f.piece for f in self.findings if f.is_fault)


@dataclass(frozen=True, slots=True)
class AskedJob:
    """The job with the folder it stands in, the shelf it sees and the rules of that shelf.

    job: with a piece for each of its sizes.  by_hand: pieces that no machine cuts.
    """

    request: Request
    job: Job
    folder: Path
    shelf: Shelf
    rules: Rules
    sizes: tuple[JobSize, ...]
    by_hand: frozenset[str] = frozenset()

    @property
    def stem(self) -> str:
        """The job's name in file names."""
        return safe_name(self.job.job.name).lower()

    @property
    def exchange(self) -> ExchangeUnits | None:
        """In which units the pattern is written for other shops too, if it is."""
        return self.request.exchange or self.job.job.exchange

    def machine_of(self, spec: PieceSpec) -> str:
        return spec.machine or self.job.job.machine or ""

    def wants(self, *names: str) -> bool:
        """Whether `--only` lets a piece or copy of one of these names through."""
        return not self.request.only or bool(set(names) & set(self.request.only))

    def wants_piece(self, spec: PieceSpec) -> bool:
        return self.wants(spec.name) or any(
            o.startswith(f"{spec.name}/") for o in self.request.only
        )

    def material_on(self, material_id: str, machine_id: str) -> Loaded[MaterialProfile]:
        """A material as it lies on a machine: a piece already glued brings its glue with it.

        Raises Refused.
        """
        loaded = self.shelf.material(material_id)
        pieces = (s for s in self.job.piece if s.material == material_id)
        if any(s.glued and self.machine_of(s) == machine_id for s in pieces):
            return with_word(loaded, GLUE, f"job:{readable(self.request.source.name)}")
        return loaded

    @property
    def needed(self) -> tuple[PieceSpec, ...]:
        """The wanted pieces and those that must be read for their sake."""
        wanted = {s.name for s in self.specs}
        wanted |= {n for s in self.sizes if wanted & {*s.pieces.values()} if (n := s.measured_by)}
        sources = {s.name: {c.from_.partition(".")[0] for c in s.carry} for s in self.job.piece}
        for spec in self.job.piece:
            sources[spec.name] |= {spec.core.of} if spec.core else set()
        for register in self.job.registration:
            sources[register.to].add(register.from_)
        for sewn in ({j.partition(".")[0] for j in s.joins} for s in self.job.seam if s.notch):
            for name in sewn:
                sources[name] |= sewn
        while more := {n for name in wanted for n in sources[name]} - wanted:
            wanted |= more
        return tuple(s for s in self.job.piece if s.name in wanted)

    @property
    def specs(self) -> tuple[PieceSpec, ...]:
        wanted = (s for s in self.job.piece if self.wants_piece(s))
        return tuple(s for s in wanted if s.name not in self.by_hand)


@dataclass(frozen=True)
class Bench:
    """One material on one machine, and the plain values that follow from the two profiles."""

    material: Loaded[MaterialProfile]
    machine: Loaded[MachineProfile]
    cut: CutSettings
    tool: Tool
    style: FileStyle
    limits: Limits
    stocks: tuple[Stock, ...]

    @property
    def back(self) -> bool:
        return self.material.profile.cut_from == "back"

    def usable(self, sheet: Sheet) -> tuple[float, float, float, float]:
        """Where targets may lie on a sheet: left, near, right, far, mm."""
        left, right, near, far = (m + self.limits.edge for m in self.limits.margins)
        return left, near, sheet.width - right, sheet.length - far

    @property
    def use(self) -> Use:
        return use_of_pair(self.material, self.machine, weakest(self.cut))


def use_of_pair(
    material: Loaded[MaterialProfile], machine: Loaded[MachineProfile], settings: str = "estimate"
) -> Use:
    """What the hazard rules ask of a material on a machine, with settings there or without."""
    profile = material.profile
    return Use(
        material=material.id,
        composition=material.composition,
        basis=profile.composition_basis,
        machine=machine.id,
        method=machine.profile.method,
        lineage=tuple(a.id for a in material.lineage),
        thickness=profile.severed,
        feed=machine.profile.feed,
        hold=profile.hold,
        cut_from=profile.cut_from,
        settings=settings,
        directed=profile.nap != "none" or profile.stretch != "none",
    )


#: Benches by (material, machine) as the job names them.
Benches = Mapping[tuple[str, str], Bench]
Layouts = Mapping[tuple[str, str], Layout]


@dataclass(frozen=True)
class Plan:
    """A job up to its programs, nothing written yet."""

    asked: AskedJob
    benches: Benches
    checks: Checks
    layouts: Layouts
    programs: tuple[tuple[Bench, Program], ...]
    findings: tuple[Finding, ...]
    patterns: tuple[PatternPiece, ...] = ()
