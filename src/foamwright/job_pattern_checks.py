"""What the keys for the pattern must agree on between each other, as in `job_checks.py`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from foamwright.findings import Finding
from foamwright.names import safe_name
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import KeyPath, nearest

SCALES = ("scale", "scale_across", "scale_along")


def near(word: str, known: tuple[str, ...], otherwise: str) -> str:
    """The mend for a name that refers to nothing."""
    found = nearest(word, known)
    return f"did you mean {found}" if found else otherwise


def names_edge(
    source: Source, at: KeyPath, text: Any, pieces: tuple[str, ...]
) -> Iterator[Finding]:
    """That `piece.edge` names a piece of the job; whether it has the edge, its drawing tells,
    since an opening is an edge too.
    """
    if not isinstance(text, str):
        return
    piece, _, edge = text.partition(".")
    if not (piece and edge):
        what = f"{shown(text)} names no edge of a piece"
        yield source.fault("J505", at, what, "write it as piece.edge")
    elif piece not in pieces:
        mend = near(piece, pieces, "name a piece of this job")
        yield source.fault("J508", at, f"no piece is named {shown(piece)}", mend)


def size_checks(
    source: Source, path: KeyPath, table: Any, pieces: tuple[str, ...]
) -> Iterator[Finding]:
    """A size is given by factors or by a fit; a fit is of a piece or of an edge."""
    fit = table.get("fit") if isinstance(table, Mapping) else None
    if not isinstance(fit, Mapping):
        return
    at = (*path, "fit")
    for key in SCALES:
        if key in table:
            yield source.fault("J509", (*path, key), "stands beside fit", "keep one of the two")
    if ("piece" in fit) == ("edge" in fit):
        yield source.fault("J509", at, "a fit is of a piece or of an edge", "give one of the two")
    if "edge" in fit and "width" in fit:
        yield source.fault("J509", (*at, "width"), "an edge has no width", "give its length")
    if "length" not in fit and "width" not in fit:
        yield source.fault("J509", at, "does not say how long", "give length, or width")
    yield from names_edge(source, (*at, "edge"), fit.get("edge"), pieces)
    piece = fit.get("piece")
    if isinstance(piece, str) and piece not in pieces:
        mend = near(piece, pieces, "name a piece of this job")
        yield source.fault("J508", (*at, "piece"), f"no piece is named {shown(piece)}", mend)


def sizes_checks(
    source: Source, sizes: Sequence[tuple[KeyPath, Mapping[str, Any]]], pieces: tuple[str, ...]
) -> Iterator[Finding]:
    """Sizes stand in place of the job's own, and a piece's name at a size is no other piece's."""
    head = source.data.get("job")
    for key in (*SCALES, "fit"):
        if sizes and isinstance(head, Mapping) and key in head:
            what = "stands beside [[size]] tables, each of which is a size"
            yield source.fault("J509", ("job", key), what, "leave it out")
    taken: dict[str, str] = {}
    for path, size in sizes:
        yield from size_checks(source, path, size, pieces)
        for piece in pieces:
            name = f"{piece}-{size.get('name')}"
            made = safe_name(name).lower()
            if taken.setdefault(made, piece) != piece:
                what = f"{shown(name)} would be two pieces of different sizes"
                yield source.fault("J507", (*path, "name"), what, "name the size otherwise")


#: What says how far a slit is opened; an edge by its length.
OPENED_BY = ("angle", "gap", "width", "edge")


def spread_checks(source: Source, path: KeyPath, spread: Mapping[str, Any]) -> Iterator[Finding]:
    """A slit is opened to one measure."""
    given = [k for k in OPENED_BY if k in spread]
    if len(given) != 1:
        what = "does not say how far" if not given else f"says {' and '.join(given)}"
        yield source.fault("J509", path, what, f"give one of {', '.join(OPENED_BY)}")
    if ("edge" in spread) != ("length" in spread):
        yield source.fault("J509", path, "an edge and its length go together", "give both")


def true_checks(
    source: Source, path: KeyPath, keys: Mapping[str, Any], joins: Any, pieces: tuple[str, ...]
) -> Iterator[Finding]:
    """The edge belongs to a piece of the seam; it keeps its ends or gets a length."""
    edge = keys.get("edge")
    yield from names_edge(source, (*path, "edge"), edge, pieces)
    if isinstance(joins, list | tuple) and isinstance(edge, str):
        sewn = {j.partition(".")[0] for j in joins if isinstance(j, str)}
        piece = edge.partition(".")[0]
        if piece in pieces and piece not in sewn:
            what = f"{shown(piece)} has no part in the seam"
            yield source.fault("J509", (*path, "edge"), what, "name an edge at the seam's end")
    if keys.get("keep") == "ends" and "length" in keys:
        what = 'stands beside keep = "ends", which leaves it what it comes to'
        yield source.fault("J509", (*path, "length"), what, "keep one of the two")
