"""Small SVG drawings for the tests, and what the reader makes of them."""

from __future__ import annotations

from pathlib import Path

from foamwright.findings import Finding
from foamwright.model import Drawing
from foamwright.stages.acquire import read_drawing
from foamwright.stages.acquire.shapes import Shape
from foamwright.stages.acquire.svg import read_svg_bytes

MM_PAGE = 'width="200mm" height="100mm" viewBox="0 0 200 100"'


def svg(body: str, attributes: str = MM_PAGE) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink" {attributes}>{body}</svg>'
    )


def shapes(
    body: str, attributes: str = MM_PAGE, units: str | None = None
) -> tuple[tuple[Shape, ...], tuple[Finding, ...]]:
    found, told, _ = read_svg_bytes(svg(body, attributes).encode(), "x.svg", units)
    return found, told


def one(body: str, attributes: str = MM_PAGE, units: str | None = None) -> Shape:
    """The only shape of a drawing without a fault."""
    found, told = shapes(body, attributes, units)
    assert [f.line() for f in told if f.is_fault] == []
    assert len(found) == 1
    return found[0]


def codes(told: tuple[Finding, ...], faults_only: bool = True) -> list[str]:
    return [f.code for f in told if f.is_fault or not faults_only]


def drawing(folder: Path, text: str, units: str | None = None) -> tuple[Drawing, list[Finding]]:
    file = folder / "heron.svg"
    file.write_text(text, encoding="utf-8")
    found, told = read_drawing(file, units)
    return found, list(told)
