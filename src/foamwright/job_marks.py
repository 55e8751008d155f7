"""The job's keys for what is drawn on a piece: labels, and marks carried across pieces.

Also what they must agree on between each other, as in `job_checks.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import Field, PlainValidator, model_validator

from foamwright.fields import Name, Size, Table, Text, Width
from foamwright.findings import Finding
from foamwright.job_pattern_checks import near
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import KeyPath


def _direction(value: Any) -> float | tuple[str, str]:
    """Raises ValueError with the reason."""
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    pair = value if isinstance(value, list | tuple) and len(value) == 2 else ()
    if pair and all(isinstance(v, str | int) and not isinstance(v, bool) and v != "" for v in pair):
        return str(pair[0]), str(pair[1])
    raise ValueError("is an angle in degrees from the drawing's +x, or two places in brackets")


#: An arrow: its angle in degrees, or the corners or points that it runs from and to.
Direction = Annotated[float | tuple[str, str], PlainValidator(_direction)]
#: Which hand a piece is for.
Hand: TypeAlias = Literal["left", "right"]


class LabelKeys(Table):
    """What is lettered on each copy, and where. height: of the letters; keep: from every edge.

    on: in the allowance, on the face that lies up where that is hidden (cut from the back), on that
    face wherever it is seen, or nowhere.  joints: each sewn edge bears its seam's number.
    stickers: the operator's sheet has a page of labels to be cut out as well.
    """

    on: Literal["allowance", "hidden", "face", "none"] = "allowance"
    height: Annotated[Size, Field(ge=2, le=100)] = 3.0
    keep: Width = 1.0
    joints: bool = True
    stickers: bool = False


class PieceLabel(LabelKeys):
    """A piece's own label in place of the job's. text: in place of its name; edge: beside which."""

    text: Name | None = None
    edge: Name | None = None


class SewThenCut(Table):
    """A piece that is sewn on its drawn stitch line first and trimmed after.

    margin: of the block beyond the stitch line; trim: what is left outside it; clip: how near to it
    the allowance is clipped in crotches.  open: edges that aren't sewn.
    """

    margin: Size = 12.0
    trim: Size = 3.0
    clip: Size = 1.0
    open: tuple[Name, ...] = ()

    @model_validator(mode="after")
    def _in_turn(self) -> Self:
        if not self.clip < self.trim < self.margin:
            raise ValueError("clip must be less than trim, and trim less than margin")
        return self


class Registration(Table):
    """Marks of one piece shown on another that is sewn or glued to it. marks: empty: all of them.

    at: two pairs of places that come to lie on each other, or seam: along which the pieces are sewn
    (one of the two).  face_to_face: their faces meet, so that marks are mirrored; a seam's always.
    """

    name: Name
    from_: Name = Field(alias="from")
    to: Name
    marks: tuple[Name, ...] = ()
    at: tuple[tuple[Text, Text], tuple[Text, Text]] | None = None
    seam: Name | None = None
    face_to_face: bool = False


def label_checks(source: Source, path: KeyPath, piece: Mapping[str, Any]) -> Iterator[Finding]:
    """A labelled piece that is cut mirrored too must say which hand the drawn one is."""
    own, whole = piece.get("label"), source.data.get("label")
    label = own if isinstance(own, Mapping) else whole
    told = isinstance(label, Mapping) and (
        label.get("on") != "none" or label.get("stickers") is True
    )
    if told and piece.get("mirrored", 0) and "hand" not in piece:
        what = "its label must tell the mirror image from the drawn one"
        yield source.fault("J504", (*path, "hand"), what, 'give hand = "left" or "right"')
    if isinstance(own, Mapping) and "edge" in own and own.get("on", "allowance") != "allowance":
        what = "only a label in the allowance runs along an edge"
        yield source.fault("J509", (*path, "label", "edge"), what, "leave it out")


def registration_checks(
    source: Source,
    path: KeyPath,
    register: Mapping[str, Any],
    pieces: tuple[str, ...],
    seams: Mapping[str, Any],
) -> Iterator[Finding]:
    """Two pieces of the job, and how they lie on each other. seams: what each joins, by name."""
    for key in ("from", "to"):
        piece = register.get(key)
        if isinstance(piece, str) and piece not in pieces:
            mend = near(piece, pieces, "name a piece of this job")
            yield source.fault("J508", (*path, key), f"no piece is named {shown(piece)}", mend)
    if register.get("from") == register.get("to"):
        yield source.fault("J509", (*path, "to"), "is the piece itself", "name another piece")
    if ("at" in register) == ("seam" in register):
        what = "needs at, two pairs of places, or seam, to say how the pieces lie"
        yield source.fault("J509", path, what, "give one of the two")
    seam = register.get("seam")
    if isinstance(seam, str) and seam not in seams:
        mend = near(seam, tuple(seams), "name a [[seam]] of this job")
        yield source.fault("J508", (*path, "seam"), f"no seam is named {shown(seam)}", mend)
    elif isinstance(seam, str) and isinstance(joins := seams[seam], list | tuple):
        sewn = {j.partition(".")[0] for j in joins if isinstance(j, str)}
        if sewn != {register.get("from"), register.get("to")}:
            what = f"{shown(seam)} doesn't join the two pieces"
            yield source.fault("J509", (*path, "seam"), what, "name the seam between them")
    if "seam" in register and "face_to_face" in register:
        what = "stands beside seam, where pieces always lie face to face"
        yield source.fault("J509", (*path, "face_to_face"), what, "leave it out")


#: What makes no sense beside a block that is trimmed by hand.
_NOT_BESIDE = ("allowance", "corners", "mark_stitch_line", "relief", "bevel", "dart")


def template_checks(
    source: Source, path: KeyPath, piece: Mapping[str, Any], edges: tuple[str, ...]
) -> Iterator[Finding]:
    """A piece that is sewn first is drawn on its stitch line and has no allowance to cut."""
    keys = piece.get("sew_then_cut")
    if not isinstance(keys, Mapping):
        return
    for key in _NOT_BESIDE:
        if key in piece:
            what = "stands beside sew_then_cut, which cuts a block and draws the stitch line"
            yield source.fault("J509", (*path, key), what, "leave it out")
    if piece.get("drawn") == "cut-line":
        what = "has no stitch line to sew on, as sew_then_cut wants"
        yield source.fault("J509", (*path, "drawn"), what, "draw the stitch line")
    loose = keys.get("open")
    for number, edge in enumerate(loose if isinstance(loose, list | tuple) else ()):
        if isinstance(edge, str) and edge not in edges:
            mend = near(edge, edges, "name it in [piece.edges] with the corners it runs between")
            at = (*path, "sew_then_cut", "open", number)
            yield source.fault("J508", at, f"no edge is named {shown(edge)}", mend)
