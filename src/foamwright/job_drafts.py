"""The job's `[[draft]]` tables: pieces that are made from measures, with no drawing.

A draft's pieces are named by `draft#NAME` where a drawing's are by `heron.svg#sole`.  Which keys
each kind needs is in KINDS; `draft_checks` tells what is missing or not its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field

from foamwright.fields import Length, Name, Size, Table, Width
from foamwright.findings import Finding
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import KeyPath

Kind: TypeAlias = Literal["frustum", "cylinder", "box", "gores", "limb", "stations"]
#: What stands before the `#` of a piece that a draft makes.
DRAFT = "draft"


class Station(Table):
    """One ruled line across a draft. at: along the centre line; width: the whole of it, or left
    and right: on each side of the centre line. corner: the outline has corners here.
    """

    at: Length
    width: Width | None = None
    left: Width | None = None
    right: Width | None = None
    corner: bool = False

    @property
    def halves(self) -> tuple[float, float]:
        """Left and right of the centre line, mm."""
        half = (self.width or 0.0) / 2
        return (
            half if self.left is None else self.left,
            half if self.right is None else self.right,
        )


class DraftSpec(Table):
    """One `[[draft]]`. bottom, top: of frustum, cylinder and limb; across: of gores.

    measure: whether these are girths round the body or diameters.  surface: where in the sheet's
    thickness they were taken.  ends: the discs of a cylinder, none, inside the wall or over it.
    opening: of gores, round the lower pole.  knee: above a limb's bottom; above it the limb keeps
    its top's girth.  inset: by how much a limb's core is narrower on each side.
    """

    name: Name
    kind: Kind
    bottom: Width | None = None
    top: Width | None = None
    across: Size | None = None
    height: Size | None = None
    slant: Size | None = None
    width: Size | None = None
    depth: Size | None = None
    length: Size | None = None
    knee: Size | None = None
    inset: Width | None = None
    opening: Width = 0.0
    gores: Annotated[int, Field(strict=True, ge=3, le=64)] | None = None
    thickness: Width = 0.0
    measure: Literal["girth", "diameter"] = "diameter"
    surface: Literal["outside", "middle", "inside"] = "outside"
    ends: Literal["none", "inside", "over"] = "none"
    station: tuple[Station, ...] = ()


@dataclass(frozen=True, slots=True)
class Keys:
    """Which keys a kind needs, and which it may have."""

    needs: tuple[str, ...]
    may: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()


KINDS: Mapping[str, Keys] = MappingProxyType(
    {
        "frustum": Keys(
            ("bottom", "top"), ("thickness", "measure", "surface"), ("height", "slant")
        ),
        "cylinder": Keys(("across", "height"), ("thickness", "measure", "surface", "ends")),
        "box": Keys(("width", "depth", "height"), ("thickness",)),
        "gores": Keys(("across", "gores"), ("opening", "thickness", "measure", "surface")),
        "limb": Keys(("top", "length"), ("bottom", "knee", "inset", "thickness")),
        "stations": Keys(("station",)),
    }
)


def pieces_of_kind(kind: str, name: str, ends: object = "none") -> tuple[str, ...]:
    """The names of the pieces that a draft makes."""
    parts: Mapping[str, Sequence[str]] = {
        "box": ("front", "side", "top"),
        "limb": ("", "core", "rolled-core"),
        "cylinder": ("", "end") if ends in ("inside", "over") else ("",),
    }
    return tuple(f"{name}-{p}" if p else name for p in parts.get(kind, ("",)))


def draft_checks(source: Source) -> Iterator[Finding]:
    """J504 for a key that a kind needs, J509 for one that isn't its own."""
    drafts = source.data.get("draft")
    for number, draft in enumerate(drafts if isinstance(drafts, list | tuple) else ()):
        kind = draft.get("kind") if isinstance(draft, Mapping) else None
        if isinstance(kind, str) and kind in KINDS:
            yield from _keys(source, ("draft", number), draft, kind)


def _keys(source: Source, path: KeyPath, draft: Mapping[str, Any], kind: str) -> Iterator[Finding]:
    keys = KINDS[kind]
    for key in keys.needs:
        if key not in draft:
            yield source.fault("J504", (*path, key), f"a draft of kind {kind} needs it", "give it")
    given = [k for k in keys.one_of if k in draft]
    if keys.one_of and len(given) != 1:
        either = " or ".join(keys.one_of)
        yield source.fault("J509", path, f"a {kind} needs either {either}", "give one of the two")
    known = {"name", "kind", *keys.needs, *keys.may, *keys.one_of}
    for key in draft:
        if key not in known and key in DraftSpec.model_fields:
            mend = f"its keys are {', '.join(sorted(known - {'name', 'kind'}))}"
            yield source.fault("J509", (*path, key), f"says nothing of a {kind}", mend)
    for number, row in enumerate(draft.get("station") or ()):
        if isinstance(row, Mapping) and ("width" in row) == ("left" in row or "right" in row):
            what = "needs width, or left and right"
            yield source.fault("J509", (*path, "station", number), what, "give one of the two")


def drafted_names(data: Mapping[str, Any]) -> tuple[str, ...]:
    """The pieces that a job's drafts make, by its plain data."""
    drafts = data.get("draft")
    rows = drafts if isinstance(drafts, list | tuple) else ()
    return tuple(
        name
        for d in rows
        if isinstance(d, Mapping) and isinstance(d.get("name"), str)
        for name in pieces_of_kind(str(d.get("kind")), d["name"], d.get("ends"))
    )


def unknown_draft(source: Source, path: KeyPath, outline: str) -> Iterator[Finding]:
    """J508 where an outline names a draft's piece that no draft makes."""
    file, _, piece = outline.partition("#")
    names = drafted_names(source.data)
    if file == DRAFT and piece not in names:
        there = f"drafts make {', '.join(names)}" if names else "write a [[draft]] table"
        yield source.fault("J508", path, f"no draft makes {shown(piece)}", there)
