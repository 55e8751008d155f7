"""Small DXF files for the tests: built by the library, or written tag by tag."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import ezdxf

from foamwright.findings import Finding
from foamwright.stages.acquire.dxf import read_dxf
from foamwright.stages.acquire.dxf_open import INSUNITS, stated_insunits
from foamwright.stages.acquire.shapes import Shape

MM = 4


def built(
    file: Path, draw: Callable[[Any], object], version: str = "R2010", insunits: int = MM
) -> Path:
    """A file whose model space (with `doc` for the rest) is filled by `draw`."""
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = insunits
    draw(document.modelspace())
    document.saveas(file)
    return file


def tagged(file: Path, *entities: Iterable[object], header: Iterable[object] = ()) -> Path:
    """A file of bare tags: each entity a flat row of code, value, code, value."""
    rows: list[object] = []
    if header:
        rows += [0, "SECTION", 2, "HEADER", *header, 0, "ENDSEC"]
    rows += [0, "SECTION", 2, "ENTITIES"]
    for entity in entities:
        rows += entity
    rows += [0, "ENDSEC", 0, "EOF"]
    file.write_text("\n".join(str(r) for r in rows) + "\n", encoding="latin-1")
    return file


def read(
    file: Path, units: str | None = None, tolerance: float = 0.05
) -> tuple[tuple[Shape, ...], list[Finding], str]:
    shapes, findings, unit = read_dxf(file, units, 3.0, tolerance)
    return shapes, list(findings), unit


def in_mm(file: Path, tolerance: float = 0.05) -> tuple[tuple[Shape, ...], list[Finding], str]:
    """A file of others: in mm where it states no unit that is known."""
    stated = stated_insunits(file.read_bytes()) in INSUNITS
    return read(file, None if stated else "mm", tolerance)


def codes(findings: Iterable[Finding]) -> list[str]:
    return [f.code for f in findings]


def faults(findings: Iterable[Finding]) -> list[str]:
    return [f.code for f in findings if f.is_fault]
