"""Large drawings: seconds and memory over size, and what is refused unread.

    python -m pytest tests/benchmarks/test_large_drawings.py -o addopts= -s

A drawing of 100,000 paths, one of 18,000 rings that fills 50 MB, one outline of 400,000 points,
20,000 DXF polylines, and files above the stated limits (100 MB; 10 MB in one attribute, which is
the XML library's).  Each is read in a process of its own; its memory is told as no less than this
process held when it was started.
Nothing asserts a time.
"""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

READ = """
import json, pathlib, resource, sys, time
from foamwright.stages.acquire import read_drawing
start = time.perf_counter()
drawing, told = read_drawing(pathlib.Path(sys.argv[1]), sys.argv[2] or None)
held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
faults = sorted({f.code for f in told if f.is_fault})
print(len(drawing.pieces), round(time.perf_counter() - start, 1), round(held), *faults)
"""


def many_paths(file: Path, count: int) -> None:
    side = math.isqrt(count - 1) + 1
    rows = (f'<path d="M{10 * (k % side)} {10 * (k // side)}h7v7h-7z"/>' for k in range(count))
    size = f'width="{10 * side}mm" height="{10 * side}mm" viewBox="0 0 {10 * side} {10 * side}"'
    text = "\n".join(rows)
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{text}</svg>', "utf-8")


def one_path(file: Path, count: int) -> None:
    def spot(k: int) -> str:
        turn = math.tau * k / count
        radius = 400 + 50 * math.sin(40 * turn)
        return f"{500 + radius * math.cos(turn):.6f} {500 + radius * math.sin(turn):.6f}"

    data = "L".join(map(spot, range(count)))
    size = 'width="1000mm" height="1000mm" viewBox="0 0 1000 1000"'
    text = f'<svg xmlns="http://www.w3.org/2000/svg" {size}><path d="M{data}z"/></svg>'
    file.write_text(text, "utf-8")


def polylines(file: Path, count: int) -> None:
    side = math.isqrt(count - 1) + 1
    rows = ["0\nSECTION\n2\nENTITIES"]
    for k in range(count):
        x, y = 10 * (k % side), 10 * (k // side)
        rows.append("0\nPOLYLINE\n8\n0\n66\n1\n70\n1")
        corners = ((x, y), (x + 7, y), (x + 7, y + 7), (x, y + 7))
        rows += [f"0\nVERTEX\n8\n0\n10\n{a}\n20\n{b}" for a, b in corners]
        rows.append("0\nSEQEND\n8\n0")
    file.write_text("\n".join([*rows, "0\nENDSEC\n0\nEOF\n"]), "utf-8")


def padded(file: Path, count: int) -> None:
    many_paths(file, 100)
    with file.open("a", encoding="utf-8") as out:
        out.write("<!--" + "x" * count + "-->")


def fine_paths(file: Path, count: int) -> None:
    """Wavy rings of a hundred points each, as long-winded as programs write them."""
    side = math.isqrt(count - 1) + 1

    def ring(k: int) -> str:
        x, y = 10 * (k % side) + 5, 10 * (k // side) + 5
        rows = []
        for n in range(100):
            turn = math.tau * n / 100
            radius = 4 + 0.2 * math.sin(7 * turn)
            rows.append(f"{x + radius * math.cos(turn):.9f},{y + radius * math.sin(turn):.9f}")
        return f'<path d="M {" L ".join(rows)} Z"/>'

    size = f'width="{10 * side}mm" height="{10 * side}mm" viewBox="0 0 {10 * side} {10 * side}"'
    text = "\n".join(map(ring, range(count)))
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{text}</svg>', "utf-8")


CASES: list[tuple[str, Callable[[Path, int], None], int, str]] = [
    ("paths.svg", many_paths, 10_000, ""),
    ("paths.svg", many_paths, 100_000, ""),
    ("rings.svg", fine_paths, 18_000, ""),
    ("path.svg", one_path, 100_000, ""),
    ("path.svg", one_path, 400_000, ""),
    ("path.svg", one_path, 2_000_000, "R201"),
    ("polylines.dxf", polylines, 2_000, ""),
    ("polylines.dxf", polylines, 20_000, ""),
    ("padded.svg", padded, 50_000_000, "R201"),
    ("padded.svg", padded, 100_000_000, "R001"),
]


@pytest.mark.parametrize(("name", "write", "count", "code"), CASES)
def test_a_large_drawing_is_read_or_refused(
    tmp_path: Path, name: str, write: Callable[[Path, int], None], count: int, code: str
) -> None:
    file = tmp_path / name
    write(file, count)
    command = [sys.executable, "-c", READ, str(file), "mm" if name.endswith("dxf") else ""]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    pieces, taken, held, *codes = done.stdout.split()
    size = file.stat().st_size / 1e6
    print(f"{name} {count}: {size:.1f} MB, {pieces} pieces, {taken} s, {held} MB {' '.join(codes)}")
    assert codes == ([code] if code else [])
    assert bool(int(pieces)) == (not code)
