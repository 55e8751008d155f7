"""The job's `[piece.core]`: a piece that goes inside another, its shell.

A core without an outline is derived from its shell; one that is drawn is only compared with it.
`core_checks` tells what its keys must agree on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field

from foamwright.fields import Name, Size, Table, Width
from foamwright.findings import Finding
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import KeyPath, nearest

#: How a core is made narrower than its shell.
Way: TypeAlias = Literal["inset", "thickness"]
#: Keys of a core that is derived, which say nothing of a drawn one.
DERIVING = ("by", "inset", "oversize")
#: Keys of a piece that belong to its drawing, which a derived core has not.
OF_A_DRAWING = ("drawn", "half", "even", "scale", "scale_across", "scale_along")
#: Keys of a piece that change its stitch line, which a derived core takes from its shell.
OF_A_SHAPE = ("fixed", "at_least", "carry", "spread", "dart")
_PER_CENT = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*%\s*")


def _per_cent(value: Any) -> float:
    """Per cent from `12 %`. Raises ValueError with the reason."""
    found = _PER_CENT.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise ValueError("must be a share in quotes such as 12 %")
    return float(found[1])


PerCent = Annotated[float, BeforeValidator(_per_cent), Field(ge=-90, le=900)]


class CoreKeys(Table):
    """of: the shell.  sides: its two edges that are joined when it is closed round the core.

    by: whether the sides are `inset`, or as much narrower as the foam's thickness makes the rolled
    core wider.  inset: mm, by edge of the shell, and `default`.  thickness: of the foam, mm; the
    material's where it isn't given.  neutral: where in the foam its length stays as it is bent, as
    a share of the thickness from the inside (0.5: the middle surface).  oversize: per cent that a
    core by thickness is to be wider outside than its shell is inside.  band: per cent, least and
    most, that the rolled core's outside may exceed the shell's inside by.
    """

    of: Name
    sides: tuple[Name, Name] | None = None
    by: Way = "inset"
    inset: dict[str, Width] = Field(default_factory=dict)
    thickness: Size | None = None
    neutral: Annotated[float, Field(strict=True, ge=0, le=1)] = 0.5
    oversize: PerCent = 0.0
    band: tuple[PerCent, PerCent] | None = None


Tables = Sequence[tuple[KeyPath, Mapping[str, Any]]]


def core_checks(
    source: Source, path: KeyPath, piece: Mapping[str, Any], pieces: Tables
) -> Iterator[Finding]:
    """J504 where a piece is neither drawn nor a core; J508 and J509 for what a core contradicts."""
    if "core" not in piece:
        if "outline" not in piece:
            mend = "add it, or [piece.core] for a piece that goes inside another"
            yield source.fault("J504", (*path, "outline"), "is required and missing", mend)
        return
    core, at = piece["core"], (*path, "core")
    if not isinstance(core, Mapping):
        return
    yield from _shell(source, at, piece, core, pieces)
    yield from _drawn(source, at, core) if "outline" in piece else _derived(source, path, piece)
    if "sides" not in core and (core.get("by") == "thickness" or "band" in core):
        what = "names no sides, between which its width is measured"
        yield source.fault("J509", at, what, "give the two edges of the shell that are joined")
    band = core.get("band")
    if isinstance(band, list) and len(band) == 2:
        low, high = (_PER_CENT.fullmatch(b) if isinstance(b, str) else None for b in band)
        if low and high and float(low[1]) > float(high[1]):
            yield source.fault("J509", (*at, "band"), "ends before it begins", "turn it round")


def _shell(
    source: Source, at: KeyPath, piece: Mapping[str, Any], core: Mapping[str, Any], pieces: Tables
) -> Iterator[Finding]:
    of = core.get("of")
    if not isinstance(of, str):
        return
    others = {str(p.get("name")): p for _, p in pieces if p is not piece}
    if of not in others:
        near = nearest(of, tuple(others))
        mend = f"did you mean {near}" if near else "name another piece of this job"
        yield source.fault("J508", (*at, "of"), f"no other piece is named {shown(of)}", mend)
    elif "core" in others[of]:
        what = f"{shown(of)} is itself a core"
        yield source.fault("J509", (*at, "of"), what, "name the shell that both go into")
    else:
        yield from _edges(source, at, core, (others[of], piece))


def _edges(
    source: Source, at: KeyPath, core: Mapping[str, Any], pieces: Sequence[Mapping[str, Any]]
) -> Iterator[Finding]:
    """J508 for sides and insets of edges that neither piece names."""
    tables = [edges for p in pieces if isinstance(edges := p.get("edges"), Mapping)]
    known = tuple(dict.fromkeys(name for edges in tables for name in edges))
    sides, inset = core.get("sides"), core.get("inset")
    asked = [((*at, "sides", k), n) for k, n in enumerate(sides if isinstance(sides, list) else ())]
    if isinstance(inset, Mapping):
        asked += [((*at, "inset", n), n) for n in inset if n != "default"]
    for path, name in asked:
        if isinstance(name, str) and name.rstrip("'") not in known:
            near = nearest(name, known)
            mend = f"did you mean {near}" if near else "name it in the shell's [piece.edges]"
            yield source.fault("J508", path, f"the shell has no edge {shown(name)}", mend)


def follows_shell(
    source: Source, at: KeyPath, edge: Any, pieces: Tables, what: str
) -> Iterator[Finding]:
    """J509 where a derived core's edge, `piece.edge`, is used by a step that comes before it."""
    name = edge.partition(".")[0] if isinstance(edge, str) else ""
    if any(p.get("name") == name and "core" in p and "outline" not in p for _, p in pieces):
        said = f"{shown(name)} is derived from its shell, after {what}"
        yield source.fault("J509", at, said, "name an edge of the shell")


def _drawn(source: Source, at: KeyPath, core: Mapping[str, Any]) -> Iterator[Finding]:
    for key in (k for k in DERIVING if k in core):
        what = "stands beside an outline: a drawn core is only compared with its shell"
        yield source.fault("J509", (*at, key), what, "leave one of the two out")
    if "sides" not in core:
        what = "compares a drawn core with its shell, and names no sides"
        yield source.fault("J509", at, what, "give the two edges that are joined, named on both")


def _derived(source: Source, path: KeyPath, piece: Mapping[str, Any]) -> Iterator[Finding]:
    for key in (k for k in (*OF_A_DRAWING, *OF_A_SHAPE) if k in piece):
        what = "says nothing of a core that is derived: it follows its shell"
        yield source.fault("J509", (*path, key), what, "ask it of the shell, or draw the core")
