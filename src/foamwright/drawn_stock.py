"""Stock with an outline of its own and zones that pieces are kept off, read from drawings.

Stock drawn with openings has zones in their place.  The box of a drawn outline starts at the
stock's near left corner; a drawn zone of stock without one is measured from its drawing's corner.
"""

from __future__ import annotations

from collections.abc import Iterable

from foamwright.asked import AskedJob
from foamwright.findings import Finding, Refused, fault
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.job_checks import drawing_and_piece
from foamwright.job_sizes import sized_names
from foamwright.job_stock import StockSpec, ZoneSpec
from foamwright.laying import box_zone
from foamwright.model import Drawing, Piece, Zone
from foamwright.stages.acquire import read_drawing, select


class DrawnStock:
    """Reads what a job's stock names; call it with a `[[stock]]`. Raises Refused (J530 and R)."""

    def __init__(self, asked: AskedJob) -> None:
        self._asked = asked
        self._drawings: dict[str, Drawing] = {}

    def __call__(self, spec: StockSpec) -> tuple[Path | None, tuple[Zone, ...]]:
        """The outline, its box at the origin, and the zones, in the stock's coordinates."""
        where = f"stock {spec.name or spec.material}"
        shift = 0j
        outline = None
        zones: list[Zone] = []
        if spec.outline is not None:
            drawn = self._piece(where, spec.outline)
            shift = -complex(*drawn.outline.bounds[:2])
            outline = _moved(drawn.outline, shift)
            zones += [Zone(_moved(o.path.counter_clockwise(), shift)) for o in drawn.openings]
        zones += [self._zone(where, z, shift) for z in spec.zone]
        return outline, tuple(zones)

    def _zone(self, where: str, spec: ZoneSpec, shift: complex) -> Zone:
        pieces = tuple(self._at_sizes(spec.pieces))
        if spec.outline is not None:
            return Zone(_moved(self._piece(where, spec.outline).outline, shift), pieces)
        return box_zone((complex(*(spec.from_ or (0, 0))), complex(*(spec.to or (0, 0)))), pieces)

    def _at_sizes(self, names: Iterable[str]) -> Iterable[str]:
        for name in names:
            yield from sized_names(name, self._asked.sizes)

    def _piece(self, where: str, reference: str) -> Piece:
        file, name = drawing_and_piece(reference)
        drawing = self._drawing(file)
        piece = select(drawing, name)
        if piece is None:
            there = ", ".join(p.name for p in drawing.pieces[:12])
            mend = f"it has {there}" if there else "draw one closed outline"
            raise Refused([fault("J530", where, f"{file} has no outline {name!r}", mend)])
        return piece

    def _drawing(self, file: str) -> Drawing:
        if file not in self._drawings:
            asked = self._asked
            units = asked.request.units or asked.job.job.drawing_units
            drawing, found = read_drawing(asked.folder / file, units, asked.job.job.corner_angle)
            faults: list[Finding] = [f for f in found if f.is_fault]
            if faults:
                raise Refused(faults)
            self._drawings[file] = drawing
        return self._drawings[file]


def _moved(path: Path, shift: complex) -> Path:
    return path.transformed(Affine.translation(shift))
