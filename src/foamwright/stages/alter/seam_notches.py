"""Notches set once for a seam: they land on both its edges, where the two meet when sewn.

The edges lie face to face, so one is walked the other way: its end meets the other's start.  Where
one is longer, the ease is spread evenly: a notch has the same share of either edge's length.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from foamwright.job import Notch, Seam, SeamNotch, Station
from foamwright.stages.alter.draft import Draft
from foamwright.stages.alter.edges import NoSuchEdgeError
from foamwright.stages.alter.pattern import Pattern, edge_of


def with_seam_notches(drafts: Mapping[str, Draft], seams: Iterable[Seam]) -> dict[str, Draft]:
    """The drafts, each asked for its notches of every seam that it has a part in.

    `at` of a notch is measured along the first edge.  Seams of edges that aren't there are left to
    the seam table, which tells them.
    """
    made = dict(drafts)
    patterns = {name: d.pattern for name, d in drafts.items()}
    for seam in seams:
        try:
            sides = _sides(seam, patterns)
        except NoSuchEdgeError:
            continue
        for (piece, edge), shares in sides.items():
            notches = [_on(edge, n, s) for n, s in zip(seam.notch, shares, strict=True)]
            spec = made[piece].spec
            spec = spec.model_copy(update={"notch": (*spec.notch, *notches)})
            made[piece] = replace(made[piece], spec=spec)
    return made


def _sides(seam: Seam, patterns: Mapping[str, Pattern]) -> dict[tuple[str, str], list[float]]:
    """Each side's piece and edge, with the share of its length at which each notch lies."""
    first, second = seam.joins
    one, other = edge_of(first, patterns), edge_of(second, patterns)
    shares = [n.at.along(one.sewn) / one.sewn for n in seam.notch]
    found = {_parts(second): [other.along((1 - s) * other.sewn) / other.length for s in shares]}
    mine = [one.along(s * one.sewn) / one.length for s in shares]
    return {**found, _parts(first): mine}  # an edge sewn to its own mirror image: once


def _parts(join: str) -> tuple[str, str]:
    piece, _, edge = join.partition(".")
    return piece, edge


def _on(edge: str, notch: SeamNotch, share: float) -> Notch:
    return Notch(
        edge=edge,
        at=Station(fraction=share),
        shape=notch.shape,
        depth=notch.depth,
        width=notch.width,
        double=notch.double,
        apart=notch.apart,
    )
