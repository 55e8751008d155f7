"""Cut folders that faults are planted in, and what the proof says of each."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from foamwright import pipeline
from foamwright.stages.verify import verify

from .jobs import PAIRS, job
from .planted_kinds import BY_THE_RECORD, Planted
from .planting import Measured, Run, deviation, measured, read_runs, write_runs

#: A planted fault moves an edge by more than this, mm: the limit and the measure's own error.
ABOVE = 0.0125
#: What is told where the hashes or the record don't fit: no geometry has been looked at.
NOT_GEOMETRY = frozenset({"V001", "V002", "V003", "V004", "V005"})

#: What the proof tells of edges; V007 is of the record's contours.
OF_EDGES = frozenset({"V008", "V009", "V010", "V014", "V015", "V016", "V017", "V031", "V032"})


@dataclass(frozen=True)
class Folder:
    """An untouched cut folder, its runs in both formats, and its measure."""

    path: Path
    entries: tuple[dict[str, Any], ...]
    runs: dict[str, list[Run]]
    good: Measured

    @property
    def drawn(self) -> list[Run]:
        return self.runs["svg"]


def cut_plates(method: str, place: Path, copies: int) -> Folder:
    """The plate so many times, cut on the packaged pair of a method."""
    made = job(place, *PAIRS[method], more=f"count = {copies}")
    pipeline.cut(made.request, place / "good")
    record = json.loads((place / "good" / "record.json").read_text("utf-8"))
    assert record["verification"]["passed"]
    entries = tuple(record["files"])
    runs = {e["format"]: read_runs(place / "good", e) for e in entries}
    return Folder(place / "good", entries, runs, measured(record, runs["svg"]))


def above_the_limit(folder: Folder, kinds: Iterable[Planted]) -> Iterator[Planted]:
    """Those that move an edge, and those that only the record's contours can tell."""
    for case in kinds:
        if case.kind in BY_THE_RECORD or deviation(folder.good, case.change(folder.drawn)) > ABOVE:
            yield case


def codes_of(folder: Folder, case: Planted, formats: Iterable[str] = ("dxf", "svg")) -> set[str]:
    """The codes of the faults that the proof finds once the case is planted in these files.

    Every hash is made to fit, so that the geometry has to tell.
    """
    with tempfile.TemporaryDirectory(dir=folder.path.parent) as place:
        planted = Path(shutil.copytree(folder.path, Path(place) / "cut"))
        for entry in folder.entries:
            if entry["format"] in formats:
                write_runs(planted, entry, case.change(folder.runs[entry["format"]]))
        verification, findings = verify(planted)
    codes = {f.code for f in findings if f.is_fault}
    assert verification.passed == (not codes)
    return codes - NOT_GEOMETRY
