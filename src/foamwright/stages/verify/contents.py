"""What a file holds against what the record says: runs in order, marks and slits in their place.

Which copy and contour a run belongs to is judged by where it lies, not by what the record hopes.
Does not measure edges (`compare`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from foamwright.geometry.region import (
    Near,
    Region,
    boundary_points,
    common,
    contains_points,
    curve,
    directed_deviation,
    inside_point,
    is_empty,
    near,
    parted,
    union,
)
from foamwright.geometry.segments import Points
from foamwright.model import OPERATIONS
from foamwright.record import ContourEntry
from foamwright.stages.verify.compare import STEP, Fault
from foamwright.stages.verify.simulate import Trace
from foamwright.stages.verify.targets import Target

#: A run lies along a contour where this share of it runs beside it: run-ins and run-ons may be
#: longer than a small contour.
ALONG_SHARE = 0.2
#: How far from a contour a run that belongs to it may lie beside the tool's half width, mm.
ALONG = 0.3
#: How far from the recorded place a run may start, mm: the writers' rounding and no more.
START = 1e-4
#: How far beyond the tool's edge it is looked for which side of a run the piece lies on, mm.
ASIDE = 0.05
#: Places along a run, evenly by length, at which that is looked for: a swivel's many short steps
#: weigh no more than it is long.
LOOKS = 64
#: A stroke in the scrap that sets the blade, of no copy.
ALIGNMENT = "align"


@dataclass(frozen=True, slots=True)
class Feature:
    """Something of a copy that runs lie along. kind: outline, opening, slit or mark.

    area: the copy's own, on the left of travel along its outline and openings.
    """

    copy: str
    kind: str
    line: Region
    area: Region

    @property
    def name(self) -> str:
        return f"{self.kind} of {self.copy}"


@dataclass(frozen=True)
class Features:
    """All that is to be cut or drawn on a sheet, with an index."""

    all: tuple[Feature, ...]

    @cached_property
    def index(self) -> Near:
        return near([f.line for f in self.all])

    def of(self, copy: str, kind: str) -> Feature | None:
        return next((f for f in self.all if (f.copy, f.kind) == (copy, kind)), None)


def features(targets: Sequence[Target]) -> Features:
    made = []
    for t in targets:
        groups = {"outline": (t.outline,), "opening": t.openings, "slit": t.slits, "mark": t.marks}
        for kind, paths in groups.items():
            if paths:
                line = union([curve(p, t.fine) for p in paths])
                made.append(Feature(t.name, kind, line, t.area))
    return Features(tuple(made))


def kind_of(contour: str) -> str:
    return contour.partition(":")[0]


def _share_along(points: Points, feature: Feature, reach: float) -> float:
    return float(np.mean(directed_deviation(points, feature.line) <= reach))


def _samples(trace: Trace) -> Points:
    points = boundary_points(trace.line(0), STEP)
    return points[:: max(1, len(points) // 64)]


def feature_of(trace: Trace, known: Features) -> Feature | None:
    """The feature that most of the run lies along."""
    reach = trace.beam.radius + ALONG
    points = _samples(trace)
    nearby = [known.all[i] for i in known.index.within(trace.line(0), reach)]
    shares = [_share_along(points, f, reach) for f in nearby]
    if not shares or max(shares) < ALONG_SHARE:
        return None
    return nearby[int(np.argmax(shares))]


def wrong_runs(
    traces: Sequence[Trace], contours: Sequence[ContourEntry], known: Features
) -> Iterator[tuple[str, Fault]]:
    """Copies with a fault each: runs that are missing, too many, or not in the record's order."""
    if len(traces) != len(contours):
        yield from _counted(traces, contours, known)
        return
    lost: set[str] = set()
    whole = Counter((c.copy_name, c.contour) for c in contours)
    for trace, entry in zip(traces, contours, strict=True):
        if entry.contour == ALIGNMENT and not entry.copy_name:
            continue
        wanted = known.of(entry.copy_name, kind_of(entry.contour))
        if wanted is None:
            what = f"the record has no target for its contour {entry.contour}"
            yield entry.copy_name, Fault("V007", None, what, _ANEW)
            continue
        if _lies_along(trace, wanted):
            alone = whole[entry.copy_name, entry.contour] == 1
            wrong = "runs backwards" if alone and runs_backwards(trace, wanted) else ""
            if not wrong and begins_elsewhere(trace, entry):
                wrong = "begins elsewhere than the record tells"
            if wrong:
                what = f"path {trace.number + 1} of the file, its {entry.contour}, {wrong}"
                yield entry.copy_name, Fault("V007", trace.path.start, what, _ANEW)
            continue
        found = feature_of(trace, known)
        if found is None:
            if entry.copy_name in lost:
                continue
            lost.add(entry.copy_name)
        instead = f"the {found.name}" if found else "nothing that the record knows"
        what = (
            f"path {trace.number + 1} of the file should be its {entry.contour} and lies along "
            f"{instead}"
        )
        yield entry.copy_name, Fault("V007", trace.path.start, what, _ANEW)


_ANEW = "cut the job anew"


def _lies_along(trace: Trace, feature: Feature) -> bool:
    return _share_along(_samples(trace), feature, trace.beam.radius + ALONG) >= ALONG_SHARE


def begins_elsewhere(trace: Trace, entry: ContourEntry) -> bool:
    """Whether a run starts where the record doesn't have it; strokes may run either way."""
    return entry.start is not None and abs(trace.path.start - complex(*entry.start)) > START


def runs_backwards(trace: Trace, feature: Feature) -> bool:
    """Whether the piece lies to the right of travel along its outline or opening, not to the left.

    Looked for along the feature, on both sides, a little farther off than the tool's edge.
    """
    if feature.kind not in ("outline", "opening"):
        return False
    points = boundary_points(trace.line(0), STEP)
    steps = np.diff(points)
    along = np.cumsum(np.abs(steps))
    if not len(along) or along[-1] == 0:
        return False
    evenly = (np.arange(LOOKS) + 0.5) / LOOKS * along[-1]
    going, weight = np.unique(np.searchsorted(along, evenly), return_counts=True)
    middles, ahead = points[going] + steps[going] / 2, steps[going] / np.abs(steps[going])
    reach = trace.beam.radius + ASIDE
    beside = directed_deviation(middles, feature.line) <= reach
    middles, aside, weight = middles[beside], 1j * ahead[beside] * reach, weight[beside]
    left = contains_points(feature.area, middles + aside)
    right = contains_points(feature.area, middles - aside)
    return bool(weight[right & ~left].sum() > weight[left & ~right].sum())


def _counted(
    traces: Sequence[Trace], contours: Sequence[ContourEntry], known: Features
) -> Iterator[tuple[str, Fault]]:
    """The runs of each feature counted in the file and in the record."""
    wanted = Counter((c.copy_name, kind_of(c.contour)) for c in contours if c.copy_name)
    placed = [feature_of(t, known) for t in traces]
    held = Counter((f.copy, f.kind) for f in placed if f)
    for key in sorted(wanted.keys() | held.keys()):
        if wanted[key] != held[key]:
            copy, kind = key
            what = f"the file has {held[key]} paths for its {kind}, the record {wanted[key]}"
            yield copy, Fault("V007", None, what, _ANEW)
    if wanted == held:
        what = f"the file has {len(traces)} paths and the record {len(contours)} contours"
        yield "", Fault("V007", None, what, _ANEW)


def wrong_order(contours: Sequence[ContourEntry]) -> Iterator[tuple[str, Fault]]:
    """Bands in turn; in each marks, slits, openings, outlines; a copy's outline its last."""
    last = (-1, -1)
    for c in contours:
        rank = OPERATIONS.index(c.operation) if c.operation in OPERATIONS else len(OPERATIONS)
        here = (c.band, rank)
        if here < last:
            what = f"its {c.contour} ({c.operation}) comes after what must follow it"
            yield c.copy_name, Fault("V018", None, what, _ANEW)
        last = max(last, here)
    freed: set[str] = set()
    for c in contours:
        if c.contour == "outline":
            freed.add(c.copy_name)
        elif c.copy_name in freed:
            what = f"its {c.contour} comes after its outline, when it no longer lies fast"
            yield c.copy_name, Fault("V018", None, what, _ANEW)


def wrong_marks(target: Target, runs: Sequence[Trace], limit: float) -> Iterator[Fault]:
    """Slits and marks of a copy without their path, and paths inside it that are neither.

    runs: the sheet's traces of marks and slits near the copy.
    """
    wanted = [curve(p, target.fine) for p in (*target.slits, *target.marks)]
    if wanted:
        points = boundary_points(union(wanted), STEP)
        held = union([r.line(0) for r in runs]) if runs else None
        off = directed_deviation(points, held) if held else np.full(len(points), np.inf)
        k = int(np.argmax(off))
        if off[k] > limit:
            what = "a slit or mark has no path in the file"
            if off[k] < ALONG:
                what = f"a slit or mark is {off[k]:.3f} mm off, the limit is {limit:g} mm"
            yield Fault("V015", complex(points[k]), what, _ANEW)
    parts = parted(target.area, [curve(p, target.fine) for p in target.slits], limit)
    if target.slits and len(parts) > 1:
        what = f"its slits part it in {len(parts)}"
        yield Fault("V023", inside_point(parts[-1]), what, _ANEW)
    for run in runs:
        yield from _stray(target, run, wanted, limit)


def _stray(target: Target, run: Trace, wanted: Sequence[Region], limit: float) -> Iterator[Fault]:
    for variant in range(len(run.edges)):
        inside = common(run.line(variant), target.guard(-limit, run.beam))
        if is_empty(inside):
            continue
        points = boundary_points(inside, STEP)
        off = directed_deviation(points, union(wanted)) if wanted else np.full(len(points), np.inf)
        k = int(np.argmax(off))
        if off[k] > limit:
            how = f"{off[k]:.3f} mm off any of them" if wanted else "on a piece that has none"
            what = f"path {run.number + 1} of the file is no slit or mark of it, {how}"
            yield Fault("V016", complex(points[k]), what, _ANEW)
            return
