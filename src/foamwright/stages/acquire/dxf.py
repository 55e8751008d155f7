"""DXF files (R12 to R2018, ASCII and binary) as shapes: layers, blocks, units, what is left out.

Terms: an instance is one drawn appearance of an entity; a block drawn three times gives three.
Opening and mending is `dxf_open`, one entity's curves `dxf_entities`, loose ends `join`.
Only model space is read.  Text, dimensions and solids are left out and counted; nothing is
guessed: a file without a unit needs one from outside.
"""

from __future__ import annotations

import math
import pathlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from ezdxf.document import Drawing
from ezdxf.lldxf.const import DXFError

from foamwright.errors import GeometryError
from foamwright.findings import Finding, fault, note, warning
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.stages.acquire.dxf_entities import READERS, OutOfPlaneError, Run, plane_map, run_of
from foamwright.stages.acquire.dxf_exchange import (
    NOTCHES,
    Meaning,
    is_slit,
    meanings,
    stated_unit,
)
from foamwright.stages.acquire.dxf_hatch import FILLS, boundaries
from foamwright.stages.acquire.dxf_open import INSUNITS, Opened, open_dxf
from foamwright.stages.acquire.dxf_told import Tally, findings_of, plain
from foamwright.stages.acquire.join import join_loose
from foamwright.stages.acquire.shapes import FILL, MIRROR, Reading, Shape, role_of
from foamwright.units import unit_size

#: Most instances read from one file; a bomb of nested arrays is stopped here.
MOST_INSTANCES = 400_000
#: Deepest nesting of blocks.
DEEPEST = 64
#: Smallest scale of a block that leaves anything to draw.
LEAST_SCALE = 1e-9
#: Types that stand for a place, and the roles with which they are read as one.
DOTTED: Mapping[str, tuple[str | None, ...]] = MappingProxyType(
    {"POINT": ("point", "mark", "note"), "TEXT": ("note",), "MTEXT": ("note",)}
)
#: What the library and plain arithmetic raise on data that aren't there or are no numbers.
BROKEN = (ValueError, ArithmeticError, TypeError, IndexError, AttributeError, DXFError)
#: Types that say something to people and never are an outline.
ANNOTATION = frozenset(
    (
        *("TEXT", "MTEXT", "ATTRIB", "ATTDEF", "RTEXT", "ACAD_TABLE", "TOLERANCE"),
        *("DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION"),
        *("LEADER", "MULTILEADER", "MLEADER"),
        *("VIEWPORT", "IMAGE", "WIPEOUT", "GEODATA", "LIGHT", "CAMERA", "SUN"),
    )
)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where the walk stands: the map to mm, the blocks entered, the layer that 0 stands for."""

    to_mm: Affine
    blocks: tuple[str, ...] = ()
    layer: str | None = None


class _BudgetSpentError(Exception):
    """More instances than MOST_INSTANCES."""


def read_dxf(
    file: pathlib.Path, units: str | None, corner_angle: float, join_tolerance: float
) -> Reading:
    """The shapes of model space in mm, y up, loose ends joined; the findings; the file's unit.

    units: the unit asked for (`mm`, `cm`, `in`, ...), which beats what the file states.
    corner_angle: degrees.  join_tolerance: mm, the widest gap that is closed.  Raises nothing for a
    bad file: the findings then hold a fault.  The unit is empty where it isn't known.
    """
    opened, findings = open_dxf(file)
    if opened is None:
        return (), findings, ""
    exchange = meanings(opened.document)
    if exchange and not opened.insunits:
        units = units or stated_unit(opened.document)
    unit, size, told = _unit(file.name, opened, units)
    findings += told
    if size is None:
        return (), findings, ""
    tally = Tally()
    drawn = _Walk(file.name, opened.document, tally, corner_angle, exchange).shapes(size)
    shapes = tuple(sorted(drawn, key=lambda s: s.kind == FILL))  # an outline before its fill
    findings += tuple(findings_of(file.name, tally))
    found = bool(shapes) or any(f.is_fault for f in findings)
    findings += tuple(_about_layouts(file.name, opened.document, found))
    joined, more = join_loose(shapes, join_tolerance, corner_angle, file.name)
    return joined, findings + more, unit


def _unit(
    name: str, opened: Opened, given: str | None
) -> tuple[str, float | None, tuple[Finding, ...]]:
    code = opened.insunits or 0
    if code in INSUNITS:
        unit, size = INSUNITS[code]
        if given is not None and abs(unit_size(given) - size) > 1e-9 * size:
            what = f"states its unit as {unit}, but is read in {given}, as asked for"
            mend = f"leave the unit out if {unit} is right"
            return given, unit_size(given), (warning("R006", name, what, mend),)
        return unit, size, ()
    if given is not None:
        return given, unit_size(given), ()
    what = "states no unit" if code == 0 else f"states a unit that isn't known ($INSUNITS {code})"
    what += f" (its $MEASUREMENT says {opened.system})" if opened.system else ""
    return "", None, (fault("R302", name, what, "say it with --units mm|in|cm"),)


class _Walk:
    """Through model space and the blocks it draws."""

    def __init__(
        self,
        name: str,
        document: Drawing,
        tally: Tally,
        corner_angle: float,
        exchange: Mapping[str, Meaning],
    ) -> None:
        self.name = name
        self.exchange = exchange
        self.document = document
        self.tally = tally
        self.corner_angle = corner_angle
        self.left = MOST_INSTANCES
        self.unseen = _unseen_layers(document)

    def shapes(self, size: float) -> Iterator[Shape]:
        try:
            yield from self._all(self.document.modelspace(), _Frame(Affine.scaling(size)))
        except _BudgetSpentError:
            what = f"draws more than {MOST_INSTANCES} entities through its blocks"
            self.tally.blocks.append((self.name, what, "explode or thin out the arrays"))

    def _all(self, entities: Iterable[Any], frame: _Frame) -> Iterator[Shape]:
        for entity in entities:
            self.left -= 1
            if self.left < 0:
                raise _BudgetSpentError
            layer = _layer(entity, frame)
            if entity.dxftype() == "INSERT":
                yield from self._insert(entity, frame, layer)
            elif self._is_seen(entity, layer):
                yield from self._entity(entity, frame, layer)

    def _is_seen(self, entity: Any, layer: str) -> bool:
        if _value(entity, "invisible", 0):
            self.tally.hidden["invisible"] += 1
            return False
        state = self.unseen.get(layer.lower())
        if state:
            self.tally.hidden[f"on layer {plain(layer)}, {state}"] += 1
        return state is None

    def _entity(self, entity: Any, frame: _Frame, layer: str) -> Iterator[Shape]:
        kind = entity.dxftype()
        groups = tuple(plain(g) for g in (layer, *frame.blocks))
        meant = self.exchange.get(layer)
        role = meant.role if meant else _role(groups)
        if meant and role is None:
            self.tally.left_out[meant.name] += 1
            return
        if (kind not in READERS and kind not in FILLS) or role not in DOTTED.get(kind, (role,)):
            known = kind in ANNOTATION or kind in DOTTED
            (self.tally.left_out if known else self.tally.unread)[plain(kind)] += 1
            return
        where = self._where(entity, frame, layer)
        for run, path in self._runs(entity, frame, where):
            if path is None:
                self.tally.no_length.append(run.start)
                continue
            if run.fitted:
                self.tally.fitted.append((where, path.start))
            if run.level != 0 and not (meant and layer in NOTCHES):
                self.tally.raised.append(path.start)
            self.tally.merged += run.merged
            if getattr(entity, "has_width", False):
                self.tally.wide.append(path.start)
            words, called = plain(run.words), meant.name if meant and role == "point" else ""
            special = FILL if kind in FILLS else MIRROR if meant and role == "fold" else ""
            if meant and is_slit(layer, kind, path.closed):
                role = "slit"
            yield Shape(path, called, words, groups, role, where, special)

    def _runs(self, entity: Any, frame: _Frame, where: str) -> list[tuple[Run, Path | None]]:
        """What an entity draws; nothing, and the reason in the tally, where it can't be read."""
        try:
            if entity.dxftype() in FILLS:
                runs = tuple(boundaries(entity, frame.to_mm))
            else:
                runs = (run_of(entity, frame.to_mm),)
            return [(run, run.path(self.corner_angle)) for run in runs]
        except OutOfPlaneError:
            self.tally.outside.append(where)
        except GeometryError as error:
            self.tally.broken.append((where, plain(str(error))))
        except BROKEN:
            self.tally.broken.append((where, "data that define no curve"))
        return []

    def _where(self, entity: Any, frame: _Frame, layer: str) -> str:
        handle = _value(entity, "handle", None)
        text = f"{self.name} {entity.dxftype()}" + (f" #{plain(handle)}" if handle else "")
        text += f" on layer {plain(layer)}"
        return text + (f" in block {plain(frame.blocks[-1])}" if frame.blocks else "")

    def _insert(self, insert: Any, frame: _Frame, layer: str) -> Iterator[Shape]:
        if _value(insert, "invisible", 0):
            self.tally.hidden["invisible"] += 1
            return
        if self.unseen.get(layer.lower()) == "frozen":
            self.tally.hidden[f"on layer {plain(layer)}, frozen"] += 1
            return
        if insert.attribs:
            self.tally.left_out["ATTRIB"] += len(insert.attribs)
        where = self._where(insert, frame, layer)
        try:
            block, maps = self._block(insert, frame)
        except OutOfPlaneError:
            self.tally.outside.append(where)
            return
        except (GeometryError, *BROKEN) as error:
            what = str(error) if isinstance(error, GeometryError) else "is broken"
            self.tally.blocks.append((where, plain(what), "mend it in the drawing program"))
            return
        for m in maps:
            inner = _Frame(frame.to_mm @ m, (*frame.blocks, insert.dxf.name), layer)
            yield from self._all(block, inner)

    def _block(self, insert: Any, frame: _Frame) -> tuple[Any, Iterator[Affine]]:
        """The block and the map of each of its instances. Raises GeometryError, OutOfPlaneError."""
        name = insert.dxf.get("name", "")
        block = self.document.blocks.get(name)
        if block is None:
            raise GeometryError(f"draws block {name!r}, which isn't in the file")
        if block.block is not None and block.block.dxf.get("flags", 0) & _OTHER_FILE:
            raise GeometryError(f"draws block {name!r}, which lies in another file")
        if name in frame.blocks:
            raise GeometryError(f"block {name!r} draws itself")
        if len(frame.blocks) >= DEEPEST:
            raise GeometryError(f"blocks nested deeper than {DEEPEST}")
        columns, rows = insert_counts(insert)
        if columns * rows * max(1, len(block)) > self.left:
            raise _BudgetSpentError
        base = complex(*block.base_point.vec2)
        return block, _instance_maps(insert, base, columns, rows)


#: BLOCK flags that say that the content is another drawing (published DXF reference).
_OTHER_FILE = 4 | 8


def insert_counts(insert: Any) -> tuple[int, int]:
    """Columns and rows of an array; nought counts as one."""
    return max(1, int(insert.dxf.column_count)), max(1, int(insert.dxf.row_count))


def _instance_maps(insert: Any, base: complex, columns: int, rows: int) -> Iterator[Affine]:
    """Maps from the block to the drawing that holds it: the array's steps turn but don't scale."""
    own = plane_map(insert.dxf.extrusion)
    place = complex(insert.dxf.insert.x, insert.dxf.insert.y)
    sx, sy = float(insert.dxf.xscale), float(insert.dxf.yscale)
    if not (math.isfinite(sx * sy) and min(abs(sx), abs(sy)) > LEAST_SCALE):
        raise GeometryError(f"draws its block scaled by {sx:g} and {sy:g}")
    turned = own @ Affine.translation(place) @ Affine.rotation(float(insert.dxf.rotation))
    inner = Affine.scaling(sx, sy) @ Affine.translation(-base)
    dx, dy = float(insert.dxf.column_spacing), float(insert.dxf.row_spacing)
    return (
        turned @ Affine.translation(complex(c * dx, r * dy)) @ inner
        for r in range(rows)
        for c in range(columns)
    )


def _value(entity: Any, name: str, default: Any) -> Any:
    """An attribute, or the default where the type doesn't know it or the file doesn't have it."""
    return entity.dxf.get(name, default) if entity.dxf.is_supported(name) else default


def _layer(entity: Any, frame: _Frame) -> str:
    """The entity's layer; layer 0 inside a block is the layer of the INSERT."""
    own = str(_value(entity, "layer", "0"))
    return frame.layer if own == "0" and frame.layer is not None else own


def _unseen_layers(document: Drawing) -> Mapping[str, str]:
    unseen = {"defpoints": "not plotted"}
    for layer in document.layers:
        name = str(layer.dxf.name).lower()
        if layer.is_frozen():
            unseen[name] = "frozen"
        elif layer.is_off():
            unseen[name] = "off"
        elif not layer.dxf.get("plot", 1):
            unseen[name] = "not plotted"
    return unseen


def _role(groups: tuple[str, ...]) -> str | None:
    """The role that the layer, else the innermost block, states by its name."""
    stated = (role_of(name) for name in (groups[0], *reversed(groups[1:])))
    return next((role for role in stated if role is not None), None)


def _about_layouts(name: str, document: Drawing, found: bool) -> Iterator[Finding]:
    sheets = []
    for layout in document.layouts:
        if not layout.is_any_paperspace:
            continue
        count = sum(e.dxftype() != "VIEWPORT" for e in layout)
        if count:
            sheets.append(f"{plain(layout.name)} ({count})")
    if found and sheets:
        yield note("R313", name, f"paper sheets are left out: {', '.join(sheets)}")
    elif sheets and not len(document.modelspace()):
        what = f"model space is empty, all is drawn on paper sheets: {', '.join(sheets)}"
        yield fault("R304", name, what, "move the drawing to model space")
    elif not found:
        yield fault("R304", name, "holds nothing to cut or mark", "check layers and export")
