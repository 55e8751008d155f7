"""Small drawings and jobs on disk for tests of the whole chain."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from foamwright.asked import Request

#: Packaged pairs that stand for the three methods: material, machine.
PAIRS = {
    "laser": ("card-1mm", "desk-laser-600"),
    "drag-knife": ("stabilised-cotton", "roll-drag-knife-600"),
    "oscillating-knife": ("fleece-2mm", "flatbed-knife-1200"),
}
#: A plate with a convex arc, a hollow one, sharp corners, an inside corner and a round opening, mm.
PLATE = """\
<g id="plate">
<path d="M10 10 H70 V40 A12 12 0 0 1 58 52 H44 A9 9 0 0 0 26 52 H18 V46 H10 Z"/>
<circle id="eye" cx="50" cy="28" r="10"/>
</g>"""


def svg(body: str, width: float = 100, height: float = 80, unit: str = "mm") -> str:
    """A drawing of this size with user units as long as `unit`."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}{unit}" height="{height}{unit}" '
        f'viewBox="0 0 {width} {height}">{body}</svg>\n'
    )


def drawing(folder: Path, body: str = PLATE, name: str = "plate.svg") -> Path:
    """A drawing on disk."""
    file = folder / name
    file.write_text(svg(body), encoding="utf-8")
    return file


def bare(file: Path, method: str = "laser", **options: object) -> Request:
    """The request that cuts a drawing on the packaged pair of a method."""
    material, machine = PAIRS[method]
    return Request.of(file, material=material, machine=machine, layout_time=0, **options)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Written:
    """A job in a folder of its own."""

    folder: Path

    @property
    def file(self) -> Path:
        return self.folder / "job.toml"

    @property
    def request(self) -> Request:
        return Request.of(self.file, layout_time=0)


def job(
    folder: Path,
    material: str = "card-1mm",
    machine: str = "desk-laser-600",
    *,
    more: str = "",
    head: str = "",
    body: str = PLATE,
) -> Written:
    """A job of one piece, `plate`, and its drawing. head, more: lines for [job] and the end."""
    folder.mkdir(parents=True, exist_ok=True)
    drawing(folder, body)
    (folder / "job.toml").write_text(
        f"""\
schema = 1
[job]
name = "plates"
machine = "{machine}"
{head}
[[piece]]
name = "plate"
outline = "plate.svg#plate"
drawn = "cut-line"
material = "{material}"
{more}
""",
        encoding="utf-8",
    )
    return Written(folder)
