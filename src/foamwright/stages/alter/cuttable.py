"""Notches that a blade can't cut as they are drawn: made a slit where it can, else a mark.

Judged by the blade's real footprint, not by a rule of thumb.

*Swivel blade* (`swing` e): it turns on radius e about its tip.  In a V its turn at the mouth must
stay between the flanks, which are width x cos(half the angle) apart there; a flank must be as long
as the blade reaches ahead of its tip; and its turn at the point reaches e beyond it, which must not
touch the stitch line.

*Turned flat blade* (`section` w): each flank is a stroke from the point out of the mouth.  It must
hold the blade as it goes in, with the run-on that the layout keeps clear; and where the blade is
double-edged, what the bottom face leaves uncut must be less than the flank.

Does not see the layout: a neighbour too near is told when the sheet is compensated.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from foamwright.findings import Finding, warning
from foamwright.job import Notch, PieceSpec, Seam
from foamwright.model import Footprint
from foamwright.stages.alter.notches import T_WIDTH, V_WIDTH


def suited(
    spec: PieceSpec, blade: Footprint, seams: Sequence[Seam] = ()
) -> tuple[PieceSpec, tuple[Finding, ...]]:
    """The piece with its notches as the blade can cut them, and what was changed (A331).

    seams: the job's, so that the notch on a seam's other edge is named.
    """
    made, findings = [], []
    for number, notch in enumerate(spec.notch, 1):
        allowance = spec.allowance.get(notch.edge or "", spec.allowance.get("default", 0.0))
        fitting, why = fitted_notch(notch, blade, allowance)
        made.append(fitting)
        if why:
            findings.append(_changed(spec, number, notch, fitting, why, seams))
    return spec.model_copy(update={"notch": tuple(made)}), tuple(findings)


def fitted_notch(notch: Notch, blade: Footprint, allowance: float) -> tuple[Notch, str]:
    """The notch as the blade can cut it in an allowance (mm), and why it is not as asked."""
    if allowance <= notch.depth or notch.shape == "mark":
        return notch, ""
    why = next(_against(notch, blade, allowance - notch.depth), "")
    if not why:
        return notch, ""
    slit = notch.model_copy(update={"shape": "slit", "width": None})
    if notch.shape != "slit" and not any(_against(slit, blade, allowance - notch.depth)):
        return slit, why
    return notch.model_copy(update={"shape": "mark", "width": None}), why


def _against(notch: Notch, blade: Footprint, beyond: float) -> Iterator[str]:
    """Reasons why the blade can't cut a notch. beyond: mm from its end to the stitch line."""
    wide = T_WIDTH if notch.shape == "t" else V_WIDTH
    width = notch.depth * wide if notch.width is None else notch.width
    flank = math.hypot(notch.depth, width / 2) if notch.shape == "v" else notch.depth
    if blade.swing > 0:
        yield from _swivelled(notch, width, flank, beyond, blade.swing)
    if blade.section > 0:
        yield from _stroked(notch, width, flank, blade)


def _swivelled(
    notch: Notch, width: float, flank: float, beyond: float, swing: float
) -> Iterator[str]:
    mouth = width * notch.depth / flank if notch.shape == "v" else width
    if notch.shape not in ("slit", "t") and mouth < swing:
        yield f"turning at its mouth, {width:g} mm wide, the blade would cut beyond its flanks"
    if flank < swing:
        yield f"its cut of {flank:.1f} mm is shorter than the blade reaches ahead of its tip"
    if notch.shape == "t" and width < swing:
        yield f"its bar of {width:.1f} mm is shorter than the blade reaches ahead of its tip"
    if notch.shape == "u" and width / 2 < swing:
        yield f"its round end of {width / 2:g} mm is tighter than the blade's offset"
    if beyond < swing:
        yield f"turning at its end the blade would reach the stitch line, {beyond:g} mm away"


def _stroked(notch: Notch, width: float, flank: float, blade: Footprint) -> Iterator[str]:
    inner = blade.ends - 1
    if flank + blade.overrun < blade.section:
        yield f"its cut of {flank:.1f} mm is too short for a blade {blade.section:.1f} mm wide"
    elif inner and flank <= blade.overrun:
        yield f"of its cut of {flank:.1f} mm the bottom face would keep {blade.overrun:.1f} mm"
    if notch.shape in ("castle", "t") and width < max(blade.section, blade.ends * blade.overrun):
        across = "bar" if notch.shape == "t" else "end"
        yield f"its {across} of {width:g} mm is too short for a blade {blade.section:.1f} mm wide"
    if notch.shape == "u":
        radius = width / 2
        off = math.hypot(radius, blade.section) - radius
        if off > blade.flat_max:
            wide = f"a blade {blade.section:.1f} mm wide"
            yield f"its round end of {radius:g} mm is too tight for {wide}"


def _changed(
    spec: PieceSpec, number: int, asked: Notch, made: Notch, why: str, seams: Sequence[Seam]
) -> Finding:
    kind = "a slit" if made.shape == "slit" else "a mark on the face"
    mates = [
        f"{other} (seam {s.name})"
        for s in seams
        for mine, other in (s.joins, s.joins[::-1])
        if asked.edge and mine == f"{spec.name}.{asked.edge}"
    ]
    mend = "make it wider or deeper, or take a smaller blade"
    if mates:
        mend += f"; its match on {' and '.join(mates)} stays as asked: change it alike"
    what = f"the {asked.shape} notch became {kind}: {why}"
    return warning("A331", f"{spec.name} notch-{number}", what, mend, spec.name)
