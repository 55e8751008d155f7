"""Every drawing of the outside folders, and of any others: read, refused by which code, how long.

    FOAMWRIGHT_SHARED=... FOAMWRIGHT_DRAWINGS=folder:folder \\
        python -m pytest tests/benchmarks/test_corpora.py -o addopts= -s

prints a line a folder.  Drawings that are plain `path` elements are measured by a browser too:
`getTotalLength` and `getBBox` of all of a file's path data, against what was read, in per mille of
the length or of the longer side.  How DXF files and the rest agree with second readers is in
tests/stages/acquire.  Nothing asserts a time.
"""

from __future__ import annotations

import os
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from lxml import etree

from foamwright.findings import Finding
from foamwright.geometry.path import Path as Curve
from foamwright.stages.acquire import read_drawing
from foamwright.stages.acquire.svg import read_svg
from tests.browser import measure_paths

PX = 96 / 25.4
#: Largest disagreement with the browser, a share.
AGREES = 1e-3
SVG = "{http://www.w3.org/2000/svg}"


@dataclass
class Row:
    """What became of a folder's files."""

    files: int = 0
    read: int = 0
    pieces: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    slowest: tuple[float, str] = (0.0, "")
    measured: int = 0
    worst: tuple[float, str] = (0.0, "")

    def line(self, name: str) -> str:
        refused = " ".join(f"{n} {c}" for c, n in self.refused.most_common()) or "-"
        return (
            f"{name[-22:]:22} {self.files:5} {self.read:5} {self.pieces:6} {self.seconds:7.1f} "
            f"{self.slowest[0]:6.2f} {self.measured:5} {1000 * self.worst[0]:8.3f}  {refused}"
        )


def folders() -> dict[str, list[Path]]:
    """Drawings by the folder that they lie in."""
    roots = [Path(p) for p in os.environ.get("FOAMWRIGHT_DRAWINGS", "").split(os.pathsep) if p]
    if named := os.environ.get("FOAMWRIGHT_SHARED"):
        roots.append(Path(named) / "corpora")
    if not roots:
        pytest.skip("neither FOAMWRIGHT_SHARED nor FOAMWRIGHT_DRAWINGS is set")
    found: dict[str, list[Path]] = {}
    for root in roots:
        for file in sorted(p for p in root.rglob("*") if p.suffix.lower() in (".svg", ".dxf")):
            found.setdefault("/".join(file.parent.parts[-2:]), []).append(file)
    return found


def plain_paths(file: Path) -> list[str] | None:
    """The path data of a drawing that is nothing but paths drawn as they stand, else None."""
    root = etree.fromstring(file.read_bytes(), etree.XMLParser(recover=True))
    if root is None or root.get("viewBox") is None:
        return None
    groups = ("svg", "path", "title", "g")
    marks = ("transform", "style", "display", "visibility", "clip-path")
    for e in root.iter("{*}*"):
        if e.tag.removeprefix(SVG) not in groups or any(e.get(m) for m in marks):
            return None
    box = root.get("viewBox").split()
    if [root.get("width") or box[2], root.get("height") or box[3]] != box[2:] or box[:2] != [
        "0",
        "0",
    ]:
        return None
    return [d for e in root.iter(f"{SVG}path") if (d := e.get("d"))] or None


def compared(row: Row, drawn: list[tuple[str, list[str], float, list[float]]]) -> None:
    """Ours against the browser's lengths and boxes of the same files."""
    answers = iter(measure_paths([d for _, data, *_ in drawn for d in data]))
    for name, data, length, box in drawn:
        theirs = [next(answers) for _ in data]
        total = sum(t[0] for t in theirs)
        low_x, low_y = min(t[1] for t in theirs), min(t[2] for t in theirs)
        wide = max(t[1] + t[3] for t in theirs) - low_x
        high = max(t[2] + t[4] for t in theirs) - low_y
        size = max(wide, high, 1e-9)
        off = [abs(length - total) / max(total, 1e-9)]
        off += [abs(a - b) / size for a, b in zip(box, (wide, high), strict=True)]
        row.measured += 1
        row.worst = max(row.worst, (max(off), name))


def measured(file: Path) -> tuple[float, list[float]] | None:
    shapes, told, _ = read_svg(file, "mm")
    if any(f.is_fault for f in told) or not shapes:
        return None
    paths: list[Curve] = [s.path for s in shapes]
    boxes = [p.bounds for p in paths]
    wide = max(b[2] for b in boxes) - min(b[0] for b in boxes)
    high = max(b[3] for b in boxes) - min(b[1] for b in boxes)
    return sum(p.length for p in paths), [wide, high]


def read_all(files: list[Path]) -> Row:
    row, drawn = Row(), []
    for file in files:
        start = time.perf_counter()
        drawing, told = read_drawing(file, "mm" if file.suffix.lower() == ".dxf" else None)
        taken = time.perf_counter() - start
        faults: list[Finding] = [f for f in told if f.is_fault]
        row.files += 1
        row.read += not faults
        row.pieces += len(drawing.pieces)
        row.refused.update({f.code for f in faults})
        row.seconds += taken
        row.slowest = max(row.slowest, (taken, file.name))
        data = plain_paths(file) if file.suffix.lower() == ".svg" else None
        ours = measured(file) if data else None
        if data and ours:
            drawn.append((file.name, data, *ours))
    if drawn:
        compared(row, drawn)
    return row


def test_the_table_of_drawings() -> None:
    print(
        f"\n{'folder':22} {'files':>5} {'read':>5} {'pieces':>6} {'seconds':>7} {'worst':>6} "
        f"{'meas.':>5} {'off o/oo':>8}  refused, files by code"
    )
    disagreeing = []
    for name, files in folders().items():
        row = read_all(files)
        print(row.line(name))
        print(f"{'':22} slowest {row.slowest[1]}; farthest off {row.worst[1] or '-'}")
        disagreeing += [row.worst[1]] if row.worst[0] > AGREES else []
    assert disagreeing == []
