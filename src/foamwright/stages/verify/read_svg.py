"""Reads a written SVG strictly: groups of plain paths in millimetres, nothing else.

No transform, style, script, use or entity is followed or mended: each is a reason to refuse.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from lxml import etree

from foamwright.errors import GeometryError
from foamwright.geometry.affine import Affine
from foamwright.geometry.path import Path
from foamwright.geometry.pathdata import parse_path_data
from foamwright.record import FileEntry, SheetEntry
from foamwright.stages.verify.reading import (
    FOR_PEOPLE,
    Group,
    Reading,
    Run,
    UnreadableError,
    check_plain,
    expected_groups,
    placed,
    to_sheet,
)
from foamwright.units import parse_length

_NS = "{http://www.w3.org/2000/svg}"
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")
_SIZE = re.compile(r"(\d+(?:\.\d+)?)mm")
_ROOT_KEYS = {"version", "width", "height", "viewBox"}
_GROUP_KEYS = {"id", "data-operation", "fill", "stroke", "stroke-width"}
_TEXT_KEYS = {"x", "y", "font-size"}
#: How far the page may differ from the sheet, mm: the writer's rounding and no more.
PAGE_EPS = 1e-5


#: The only width of a written line, mm.
HAIRLINE = "0.1"


def read_svg(data: bytes, entry: FileEntry, sheet: SheetEntry) -> Reading:
    """The file's runs in sheet coordinates. Raises UnreadableError where it is no SVG."""
    root = _parse(data)
    reasons = [
        *_beside(root),
        *_page_faults(root, entry, sheet),
        *_group_faults(root, entry),
    ]
    runs: list[Run] = []
    for group in root:
        _take_group(group, to_sheet(entry, _scale(root), flipped=True), runs, reasons)
    return Reading(tuple(runs), tuple(reasons))


def _scale(root: etree._Element) -> float:
    """Millimetres in one unit of the file by its own word; 1 where it says nothing of use."""
    try:
        unit = parse_length(root.get("width", "")) / float(root.get("viewBox", "").split()[2])
    except (ValueError, IndexError, ZeroDivisionError):
        return 1.0
    return unit if 0 < unit < math.inf else 1.0


def _parse(data: bytes) -> etree._Element:
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as err:
        raise UnreadableError(f"not well-formed XML ({err})") from None
    if getattr(root.getroottree().docinfo, "doctype", ""):
        raise UnreadableError("a document type, which no written file has")
    if root.tag != f"{_NS}svg":
        raise UnreadableError("the root is not an SVG's")
    return root


def _beside(root: etree._Element) -> Iterator[str]:
    """Style sheets and comments beside the root, other namespaces, loose text."""
    if root.getprevious() is not None or root.getnext() is not None:
        yield "an instruction or comment beside the drawing"
    if any(element.nsmap != {None: _NS[1:-1]} for element in root.iter()):
        yield "a namespace that no written file has"
    loose = [e.tail for e in root.iter()] + [e.text for e in root.iter() if e.tag != f"{_NS}text"]
    if any(text and text.strip() for text in loose):
        yield "loose text between its elements"


def _strangers(element: etree._Element, allowed: set[str], where: str) -> Iterator[str]:
    for key in element.attrib:
        if key not in allowed:
            yield f"{where} has {key!r}, which no written file has"


def _page_faults(root: etree._Element, entry: FileEntry, sheet: SheetEntry) -> Iterator[str]:
    yield from _strangers(root, _ROOT_KEYS, "the root")
    if entry.unit != "mm" or entry.scale != 1.0:
        yield "the record gives it another unit than mm"
    sizes = [_SIZE.fullmatch(root.get(k, "")) for k in ("width", "height")]
    view = root.get("viewBox", "").split()
    if not all(sizes):
        yield f"its size is {root.get('width')} x {root.get('height')}, not in mm"
        return
    plain = [s.group(1) for s in sizes if s]
    if view != ["0", "0", *plain]:
        yield f"its viewBox {root.get('viewBox')!r} is not its size in mm"
    wide, high = (float(s) for s in plain)
    if abs(wide - sheet.width) > PAGE_EPS or abs(high - sheet.length) > PAGE_EPS:
        yield (
            f"it measures {wide:g} x {high:g} mm and the sheet "
            f"{sheet.width:g} x {sheet.length:g} mm"
        )


def _group_faults(root: etree._Element, entry: FileEntry) -> Iterator[str]:
    found: list[Group] = []
    people: list[Group] = []
    for group in root:
        if group.tag != f"{_NS}g":
            yield f"an element {_name(group)} where only groups stand"
            continue
        yield from _strangers(group, _GROUP_KEYS, f"group {group.get('id')!r}")
        yield from _unseen(group)
        made = Group(group.get("id", ""), group.get("data-operation", ""))
        (people if made.operation in FOR_PEOPLE else found).append(made)
    wanted = expected_groups(entry)
    if tuple(found) != wanted:
        yield (
            f"its groups are {', '.join(g.label for g in found) or 'none'} and the record's "
            f"{', '.join(g.label for g in wanted)}"
        )
    for g in people:
        if entry.layers.get(g.operation) != g.label or people.count(g) > 1:
            yield f"a group {g.label!r} for people that the record does not name"


def _unseen(group: etree._Element) -> Iterator[str]:
    """A group that is filled, or that people can't see: software may engrave, skip or cut it."""
    name = f"group {group.get('id')!r}"
    if group.get("data-operation") == "TEXT":
        if not _COLOUR.fullmatch(group.get("fill", "")):
            yield f"{name} is not in a plain colour"
        return
    if group.get("fill") != "none" or group.get("stroke", "none") == "none":
        yield f"{name} is filled or has no line"
    elif not _COLOUR.fullmatch(group.get("stroke", "")):
        yield f"{name} is not in a plain colour"
    if group.get("stroke-width") != HAIRLINE:
        yield f"{name} has a line of {group.get('stroke-width')} mm, not {HAIRLINE}"


def _name(element: etree._Element) -> str:
    return element.tag if isinstance(element.tag, str) else "comment or instruction"


def _take_group(group: etree._Element, m: Affine, runs: list[Run], reasons: list[str]) -> None:
    """Adds a group's runs, and what is wrong with it."""
    operation = group.get("data-operation", "")
    people = operation in FOR_PEOPLE
    for number, element in enumerate(group, 1):
        where = f"group {group.get('id')!r}, path {number}"
        if element.tag == f"{_NS}text" and operation == "TEXT" and not len(element):
            reasons.extend(_strangers(element, _TEXT_KEYS, where))
            continue
        try:
            path = placed(_path(element), m)
        except (GeometryError, UnreadableError) as err:
            reasons.append(f"{where}: {err}")
            continue
        reasons.extend(_strangers(element, {"d"}, where))
        reasons.extend(check_plain(path, where))
        runs.append(Run(path, frozenset([operation]), people))


def _path(element: etree._Element) -> Path:
    if element.tag != f"{_NS}path" or len(element):
        raise UnreadableError(f"{_name(element)} where only a plain path stands")
    paths = parse_path_data(element.get("d", ""))
    if len(paths) != 1:
        raise UnreadableError(f"it holds {len(paths)} runs, not one")
    return paths[0]
