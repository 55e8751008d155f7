"""What the keys of a job file must agree on between each other.

Works on the file's plain data, so that one wrong value doesn't hide the faults of all others: what
has the wrong kind is passed over here, since the reader of the values tells it.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from typing import Any, TypeGuard

from foamwright.findings import Finding
from foamwright.job_cores import core_checks, follows_shell
from foamwright.job_drafts import draft_checks, unknown_draft
from foamwright.job_marks import label_checks, registration_checks, template_checks
from foamwright.job_pattern_checks import (
    names_edge,
    near,
    size_checks,
    sizes_checks,
    spread_checks,
    true_checks,
)
from foamwright.job_stock_checks import lay_checks, stock_checks
from foamwright.names import safe_name
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import KeyPath

#: A drawing's ending before the `#` of a piece: either name may bear another `#`.
_DRAWING = re.compile(r"(.*?\.(?:svg|dxf))#(.*)", re.IGNORECASE | re.DOTALL)


def drawing_and_piece(outline: str) -> tuple[str, str]:
    """The two parts of `heron.svg#sole`; a missing one is empty."""
    found = _DRAWING.fullmatch(outline)
    file, _, piece = outline.partition("#")
    return (found[1], found[2]) if found else (file, piece)


def cross_checks(source: Source) -> Iterator[Finding]:
    """Every disagreement in a job's data: J505 to J509."""
    yield from _names(source)
    yield from draft_checks(source)
    yield from size_checks(source, ("job",), source.data.get("job"), _pieces(source))
    yield from sizes_checks(source, tuple(tables(source.data, "size")), _pieces(source))
    for path, piece in tables(source.data, "piece"):
        yield from _piece(source, path, piece)
        yield from lay_checks(source, path, piece)
    yield from _seams(source)
    for path, register in tables(source.data, "registration"):
        seams = {str(s.get("name")): s.get("joins") for _, s in tables(source.data, "seam")}
        yield from registration_checks(source, path, register, _pieces(source), seams)
    yield from _permits(source)
    yield from _stock(source)


def tables(data: Any, key: str, path: KeyPath = ()) -> Iterator[tuple[KeyPath, Mapping[str, Any]]]:
    """The tables of an `[[array]]` with their paths; nothing where the key holds something else."""
    items = data.get(key) if isinstance(data, Mapping) else None
    for number, item in enumerate(items if isinstance(items, list | tuple) else ()):
        if isinstance(item, Mapping):
            yield (*path, key, number), item


def _pieces(source: Source) -> tuple[str, ...]:
    return tuple(str(p.get("name")) for _, p in tables(source.data, "piece"))


def _edges(source: Source, piece: Mapping[str, Any]) -> tuple[str, ...]:
    """The edges that a piece names, and for a core those of its shell."""
    core = piece.get("core")
    of = core.get("of") if isinstance(core, Mapping) else None
    shells = [p for _, p in tables(source.data, "piece") if of and p.get("name") == of]
    found = (p.get("edges") for p in (piece, *shells))
    return tuple(name for edges in found if isinstance(edges, Mapping) for name in edges)


def _names(source: Source) -> Iterator[Finding]:
    """Names must differ, also where case and special letters are lost, as in file names."""
    for key in ("piece", "seam", "size", "draft", "registration"):
        taken: dict[str, str] = {}
        for path, item in tables(source.data, key):
            name = item.get("name")
            if not isinstance(name, str):
                continue
            if key not in ("seam", "registration") and set(name) & set("/."):
                mend = "leave them out: copies are piece/drawn/1, and edges piece.edge"
                yield source.fault("J505", (*path, "name"), "holds a slash or a dot", mend)
            made = safe_name(name).lower()
            if made in taken:
                other = shown(taken[made])
                same = "is used twice" if name == taken[made] else f"is too like {other}"
                mend = f"give each {key} a name that differs by more than case or accents"
                yield source.fault("J507", (*path, "name"), same, mend)
            taken.setdefault(made, name)


def _piece(source: Source, path: KeyPath, piece: Mapping[str, Any]) -> Iterator[Finding]:
    head = source.data.get("job")
    has_machine = "machine" in piece or (isinstance(head, Mapping) and "machine" in head)
    if not has_machine:
        mend = "name it here or once in [job]"
        yield source.fault("J504", (*path, "machine"), "no machine is named", mend)
    if piece.get("count", 1) == 0 and piece.get("mirrored", 0) == 0:
        mend = "set count or mirrored to 1 or more, or leave the piece out"
        yield source.fault("J509", (*path, "count"), "no copy is asked for", mend)
    yield from core_checks(source, path, piece, tuple(tables(source.data, "piece")))
    outline = piece.get("outline")
    if isinstance(outline, str) and not all(drawing_and_piece(outline)):
        what = "must name a drawing and the piece in it"
        yield source.fault("J505", (*path, "outline"), what, "write it as heron.svg#sole")
    elif isinstance(outline, str):
        yield from unknown_draft(source, (*path, "outline"), outline)
    if "half" in piece and "even" in piece:
        what = "stands beside half, and an opened half is even already"
        yield source.fault("J509", (*path, "even"), what, "keep one of the two")
    yield from _twin(source, path, piece)
    for at, carry in tables(piece, "carry", path):
        yield from names_edge(source, (*at, "from"), carry.get("from"), _pieces(source))
        others = tuple(tables(source.data, "piece"))
        yield from follows_shell(
            source, (*at, "from"), carry.get("from"), others, "lengths are carried"
        )
    for at, spread in tables(piece, "spread", path):
        yield from spread_checks(source, at, spread)
    yield from _on_edges(source, path, piece, _edges(source, piece))
    for at, mark in tables(piece, "mark", path):
        yield from _mark(source, at, mark)
    yield from label_checks(source, path, piece)
    yield from template_checks(source, path, piece, _edges(source, piece))


def _on_edges(
    source: Source, path: KeyPath, piece: Mapping[str, Any], edges: tuple[str, ...]
) -> Iterator[Finding]:
    """What lies on an edge of the piece names one that it has."""
    for at, notch in tables(piece, "notch", path):
        yield from _notch(source, at, notch, edges)
    for at, relief in tables(piece, "relief", path):
        yield from _edge(source, at, relief, edges)
        yield from _edge(source, at, relief, edges, "opposite")
    for at, dart in tables(piece, "dart", path):
        yield from _edge(source, at, dart, edges)
        if ("depth" in dart) == ("point" in dart):
            what = "needs depth, or the point that it runs to"
            yield source.fault("J509", at, what, "give one of the two")
    for at, bevel in tables(piece, "bevel", path):
        yield from _edge(source, at, bevel, edges)
    label = piece.get("label")
    if isinstance(label, Mapping):
        yield from _edge(source, (*path, "label"), label, edges)


def _twin(source: Source, path: KeyPath, piece: Mapping[str, Any]) -> Iterator[Finding]:
    """`mirror_of` names another piece."""
    twin = piece.get("mirror_of")
    others = tuple(n for n in _pieces(source) if n != piece.get("name"))
    if isinstance(twin, str) and twin not in others:
        mend = near(twin, others, "name another piece of this job")
        what = f"no other piece is named {shown(twin)}"
        yield source.fault("J508", (*path, "mirror_of"), what, mend)


def _notch(
    source: Source, path: KeyPath, notch: Mapping[str, Any], edges: tuple[str, ...]
) -> Iterator[Finding]:
    if "at" in notch and "point" in notch:
        yield source.fault("J509", (*path, "point"), "stands beside at", "keep one of the two")
    elif "at" in notch and "edge" not in notch:
        yield source.fault("J509", path, "at without an edge", "name the edge")
    elif "at" not in notch and "point" not in notch:
        mend = "give edge and at, or point"
        yield source.fault("J509", path, "does not say where the notch is", mend)
    yield from _edge(source, path, notch, edges)


def _edge(
    source: Source,
    path: KeyPath,
    part: Mapping[str, Any],
    edges: tuple[str, ...],
    key: str = "edge",
) -> Iterator[Finding]:
    edge = part.get(key)
    if isinstance(edge, str) and edge not in edges:
        mend = near(edge, edges, "name it in [piece.edges] with the corners it runs between")
        yield source.fault("J508", (*path, key), f"no edge is named {shown(edge)}", mend)


def _mark(source: Source, path: KeyPath, mark: Mapping[str, Any]) -> Iterator[Finding]:
    if "at" in mark and "point" in mark:
        yield source.fault("J509", (*path, "point"), "stands beside at", "keep one of the two")
    elif "at" not in mark and "point" not in mark:
        mend = "give at or point"
        yield source.fault("J509", path, "does not say where the mark is", mend)
    if "to" in mark and mark.get("shape", "cross") != "line":
        mend = 'set shape = "line", or leave it out'
        yield source.fault("J509", (*path, "to"), "only a line has a far end", mend)


def _seams(source: Source) -> Iterator[Finding]:
    """Seams join edges of pieces that are there."""
    pieces = _pieces(source)
    for path, seam in tables(source.data, "seam"):
        joins = seam.get("joins")
        for number, side in enumerate(joins if isinstance(joins, list | tuple) else ()):
            yield from names_edge(source, (*path, "joins", number), side, pieces)
        for at, keys in tables(seam, "true", path):
            yield from true_checks(source, at, keys, joins, pieces)
            others = tuple(tables(source.data, "piece"))
            told = "seams are made true"
            yield from follows_shell(source, (*at, "edge"), keys.get("edge"), others, told)


def _is_day(value: Any) -> TypeGuard[datetime.date]:
    return isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)


def _permits(source: Source) -> Iterator[Finding]:
    for path, permit in tables(source.data, "permit"):
        start, end = permit.get("date"), permit.get("expires")
        if _is_day(start) and _is_day(end) and end < start:
            what = "the permit expires before its date"
            yield source.fault("J509", (*path, "expires"), what, "mend one of the dates")


def _stock(source: Source) -> Iterator[Finding]:
    """Whether pieces are cut from its material is `idle_stock.py`'s matter, which sees a shelf."""
    for path, stock in tables(source.data, "stock"):
        yield from stock_checks(source, path, stock, _pieces(source))
