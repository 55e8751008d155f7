"""Every drawing of the outside folders, and of any others: read right, refused by which code.

    FOAMWRIGHT_SHARED=... FOAMWRIGHT_DRAWINGS=folder:folder \\
        python -m pytest tests/benchmarks/test_corpora.py -o addopts= -s

prints a line a folder.  Whether a file is read right is judged by others (tests/second_readers.py):
of an SVG the total length and the box in a browser, of a DXF in GDAL, within a thousandth of the
length and of the box's larger side.  A file that others can't measure (sheared shapes, a page of no
known size, text alone) is read, and not judged.  What is left over is explained, file by file, in
EXPLAINED, or by a finding that says what was changed.  Nothing asserts a time.
"""

from __future__ import annotations

import os
import time
import warnings
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from lxml import etree

from foamwright.findings import Finding
from foamwright.stages.acquire import read_drawing
from foamwright.stages.acquire.dxf import read_dxf
from foamwright.stages.acquire.dxf_open import INSUNITS, stated_insunits
from foamwright.stages.acquire.shapes import Shape
from foamwright.stages.acquire.svg import read_svg, read_svg_bytes
from tests.browser import page_size
from tests.second_readers import Box, by_browser, by_gdal

PX = 96 / 25.4
#: A style that leaves of each shape the line alone.
LINES_ONLY = "*{fill:none!important;stroke:#000!important}"
SVG = "{http://www.w3.org/2000/svg}"
#: Largest disagreement, a share.
AGREES = 1e-3
#: Findings that say that something was left out, closed or changed in length on purpose.
CHANGED = frozenset(("R109", "R401", "R402"))
#: Files that the second reader and this one take differently, and why.
EXPLAINED: dict[str, str] = {
    "LM2.dxf": "GDAL draws the dimensions' lines",
    "dimensions.dxf": "GDAL draws the dimensions' lines",
    "issue27a.dxf": "GDAL gives a spline 40 points; see test_splines_have_their_true_length",
    "issue27b.dxf": "GDAL gives a spline 40 points; see test_splines_have_their_true_length",
    "issue27c.dxf": "GDAL gives a spline 40 points; see test_splines_have_their_true_length",
    "issue42.dxf": "GDAL draws the dimensions' lines",
    "supported_entities.dxf": "GDAL gives the splines in its blocks 40 points each",
    "non-presentational-attribute.svg": "a height stated in CSS: in the picture, not in the DOM",
    "p_num_trail.svg": "a number may end in a point in SVG 1.1, not to this browser",
    "par_defer_xMinYMin.svg": "`defer` is left out in SVG 1.1 where it doesn't apply",
    "t_rect_rx_auto.svg": "rx=auto is known to SVG 2, not to this browser's DOM",
}


@dataclass
class Row:
    """What became of a folder's files."""

    files: int = 0
    read: int = 0
    pieces: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    slowest: tuple[float, str] = (0.0, "")
    judged: int = 0
    right: int = 0
    changed: int = 0
    worst: tuple[float, str] = (0.0, "")
    wrong: list[tuple[str, float]] = field(default_factory=list)

    def line(self, name: str) -> str:
        refused = " ".join(f"{n} {c}" for c, n in self.refused.most_common()) or "-"
        return (
            f"{name[:24]:24} {self.files:5} {self.read:5} {self.judged:6} {self.right:5} "
            f"{self.changed:4} {len(self.wrong):4} {1000 * self.worst[0]:7.4f} {self.pieces:6} "
            f"{self.seconds:7.1f} {self.slowest[0]:6.2f}  {refused}"
        )

    def judge(self, name: str, off: float | None, told: Iterable[Finding]) -> None:
        """off: the disagreement, a share; None: nobody measured it."""
        if off is None:
            return
        self.judged += 1
        if off <= AGREES:
            self.right += 1
            self.worst = max(self.worst, (off, name))
        elif name in EXPLAINED or CHANGED & {f.code for f in told}:
            self.changed += 1
        else:
            self.wrong.append((name, off))


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
            found.setdefault(str(file.parent.relative_to(root)), []).append(file)
    return found


def disagreement(length: float, box: Box, theirs: tuple[float, Box | None]) -> float:
    """The largest share by which two readers differ in length or in a side of the box."""
    size = max(box[2] - box[0], box[3] - box[1], 1e-9)
    off = abs(length - theirs[0]) / max(theirs[0], 1e-9)
    sides = zip(box, theirs[1] or box, strict=True)
    return max(off, *(abs(a - b) / size for a, b in sides))


def measured(shapes: Iterable[Shape]) -> tuple[float, Box] | None:
    """Length and box of what was read, mm; None where nothing of any length was."""
    paths = [s.path for s in shapes if s.path.length > 0]
    if not paths:
        return None
    boxes = [p.bounds for p in paths]
    box = (*(min(b[k] for b in boxes) for k in (0, 1)), *(max(b[k] for b in boxes) for k in (2, 3)))
    return sum(p.length for p in paths), box


def svg_row(files: list[Path], row: Row) -> None:
    """Judges the files that are read without a fault by what a browser draws."""
    kept, drawn = [], []
    for file in files:
        shapes, told, _ = read_svg(file, join_tolerance=0.0)
        ours = measured(shapes)
        if ours is None or any(f.is_fault for f in told):
            continue
        root = etree.fromstring(file.read_bytes(), etree.XMLParser(resolve_entities=True))
        if "R118" in {f.code for f in told}:  # lines closed for their fill: judged as drawn
            etree.SubElement(root, f"{SVG}style").text = LINES_ONLY
            shapes, told, _ = read_svg_bytes(etree.tostring(root), file.name, join_tolerance=0.0)
            ours = measured(shapes) or ours
        if (size := page_size(root)) is not None:
            kept.append((file.name, *ours, told, size[1]))
            drawn.append((etree.tostring(root, encoding="unicode"), *size))
    for (name, length, box, told, high), theirs in zip(kept, by_browser(drawn), strict=True):
        if theirs is None or theirs[0] == 0:
            continue
        page = (PX * box[0], high - PX * box[3], PX * box[2], high - PX * box[1])
        row.judge(name, disagreement(PX * length, page, theirs), told)


def dxf_row(files: list[Path], row: Row) -> None:
    """Judges the files that are read without a fault by what GDAL draws."""
    for file in files:
        shapes, told, _ = read_dxf(file, unit_for(file), 3.0, 0.0)
        ours = measured(shapes)
        if ours is None or any(f.is_fault for f in told):
            continue
        try:
            with warnings.catch_warnings(action="ignore"):
                theirs = by_gdal(file)
        except Exception as why:  # of many kinds: the second reader gives up on the file
            print(f"    GDAL on {file.name}: {str(why)[:80]}")
            continue
        row.judge(file.name, disagreement(*ours, theirs), told)


def unit_for(file: Path) -> str | None:
    """Millimetres, where a DXF states no unit that is known."""
    if file.suffix.lower() != ".dxf" or stated_insunits(file.read_bytes()) in INSUNITS:
        return None
    return "mm"


def read_all(files: list[Path]) -> Row:
    row = Row()
    for file in files:
        row.files += 1
        start = time.perf_counter()
        try:
            drawing, told = read_drawing(file, unit_for(file))
        except Exception as why:  # the very thing that is looked for
            print(f"    {file.name}: {why!r}")
            row.refused["a traceback"] += 1
            row.wrong.append((file.name, 1.0))
            continue
        taken = time.perf_counter() - start
        faults = [f for f in told if f.is_fault]
        row.read += not faults
        row.pieces += len(drawing.pieces)
        row.refused.update({f.code for f in faults})
        row.seconds += taken
        row.slowest = max(row.slowest, (taken, file.name))
    svg_row([f for f in files if f.suffix.lower() == ".svg"], row)
    dxf_row([f for f in files if f.suffix.lower() == ".dxf"], row)
    return row


def test_the_table_of_drawings() -> None:
    print(
        f"\n{'folder':24} {'files':>5} {'read':>5} {'judged':>6} {'right':>5} {'expl':>4} "
        f"{'off':>4} {'o/oo':>7} {'pieces':>6} {'seconds':>7} {'worst':>6}  refused, files by code"
    )
    wrong = []
    for name, files in folders().items():
        row = read_all(files)
        print(row.line(name), flush=True)
        print(f"{'':24} slowest {row.slowest[1]}; farthest off, though right: {row.worst[1]}")
        for file, off in row.wrong:
            print(f"{'':24} off by {1000 * off:.3f} o/oo: {file}")
        wrong += row.wrong
    assert wrong == []
