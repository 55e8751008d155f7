"""One pattern at several sizes: a job with `[[size]]` tables as a job with a piece for each size.

A piece `sole` at the size `M` is `sole-M`, and so in copies, files' contents, record and sheet; a
seam at each size joins that size's own pieces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from foamwright.job import Job, PieceSpec, Seam
from foamwright.job_marks import Registration
from foamwright.job_pattern import Fit, SizeKeys


@dataclass(frozen=True, slots=True)
class JobSize:
    """A size of the job. name: empty where the file has no table of sizes.  keys: with the names
    of its own pieces.  pieces: these names by those that the file gives.
    """

    name: str
    keys: SizeKeys
    pieces: Mapping[str, str]

    def edge(self, edge: str) -> str:
        """`piece.edge` as it is called at this size."""
        piece, _, rest = edge.partition(".")
        return f"{self.pieces[piece]}.{rest}"

    @property
    def measured_by(self) -> str | None:
        """The piece that a fit measures."""
        fit = self.keys.fit
        if fit is None:
            return None
        return fit.piece if fit.edge is None else fit.edge.partition(".")[0]


def by_size(job: Job) -> tuple[Job, tuple[JobSize, ...]]:
    """The job with a piece for each size, and the sizes; one size where the file has no table."""
    if not job.size:
        return job, (JobSize("", job.job, {p.name: p.name for p in job.piece}),)
    sizes = tuple(
        _size(s.name, s, {p.name: f"{p.name}-{s.name}" for p in job.piece}) for s in job.size
    )
    pieces = [_piece(p, size) for p in job.piece for size in sizes]
    seams = [_seam(seam, size) for seam in job.seam for size in sizes]
    registers = [_register(r, size) for r in job.registration for size in sizes]
    at_sizes = {"piece": tuple(pieces), "seam": tuple(seams), "registration": tuple(registers)}
    return job.model_copy(update=at_sizes), sizes


def _size(name: str, keys: SizeKeys, pieces: Mapping[str, str]) -> JobSize:
    drawn = JobSize(name, keys, pieces)
    fit = keys.fit
    if fit is None:
        return drawn
    at_size: dict[str, str] = {}
    if fit.piece is not None:
        at_size["piece"] = pieces[fit.piece]
    if fit.edge is not None:
        at_size["edge"] = drawn.edge(fit.edge)
    sized: Fit = fit.model_copy(update=at_size)
    return JobSize(name, keys.model_copy(update={"fit": sized}), pieces)


def _piece(spec: PieceSpec, size: JobSize) -> PieceSpec:
    carry = tuple(c.model_copy(update={"from_": size.edge(c.from_)}) for c in spec.carry)
    core = spec.core and spec.core.model_copy(update={"of": size.pieces[spec.core.of]})
    twin = spec.mirror_of and size.pieces[spec.mirror_of]
    own = {"name": size.pieces[spec.name], "carry": carry, "core": core, "mirror_of": twin}
    return spec.model_copy(update=own)


def _seam(seam: Seam, size: JobSize) -> Seam:
    joins = tuple(size.edge(j) for j in seam.joins)
    true = tuple(t.model_copy(update={"edge": size.edge(t.edge)}) for t in seam.true)
    name = f"{seam.name}-{size.name}"
    return seam.model_copy(update={"name": name, "joins": joins, "true": true})


def _register(register: Registration, size: JobSize) -> Registration:
    names = {
        "name": f"{register.name}-{size.name}",
        "from_": size.pieces[register.from_],
        "to": size.pieces[register.to],
        "seam": register.seam and f"{register.seam}-{size.name}",
    }
    return register.model_copy(update=names)


def sized_names(name: str, sizes: tuple[JobSize, ...]) -> tuple[str, ...]:
    """A piece or copy as the file calls it, at every size; what no size knows stays."""
    piece, slash, rest = name.partition("/")
    found = [f"{s.pieces[piece]}{slash}{rest}" for s in sizes if piece in s.pieces]
    return tuple(found) or (name,)
