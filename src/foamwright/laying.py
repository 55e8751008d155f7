"""Plain values for layout, derived from a job and its profiles: stock, zones, turns.

Does not see machines; `derive.py` has what follows from those.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import PurePath
from typing import Literal

from foamwright.arrow_rules import TURN_DECIMALS, Arrows, rotations_for, rules_of
from foamwright.geometry.path import Path
from foamwright.job_stock import LayKeys, StockSpec
from foamwright.model import Stock, Zone
from foamwright.profile_models import MaterialProfile

#: Decimals of drawn stock's size, mm.
SIZE_DECIMALS = 6
#: The turns that the plain placer tries of a piece that may have any, degrees apart.
FREE_STEP = 30.0
FREE_STEPS = 12


def stock_for(
    material: MaterialProfile,
    specs: Iterable[StockSpec] = (),
    drawn: Callable[[StockSpec], tuple[Path | None, tuple[Zone, ...]]] = lambda _: (None, ()),
) -> tuple[Stock, ...]:
    """The stock to lay out on: the job's own for this material, else the material's.

    drawn: a spec's outline, its box at the origin, and its zones.
    """
    ours = material.id.casefold()
    own = [
        s for s in specs if ours in (s.material.casefold(), PurePath(s.material).stem.casefold())
    ]
    if own:
        kind = material.stock[0].kind
        return tuple(_own_stock(material.id, kind, s, *drawn(s)) for s in own)
    return tuple(
        Stock(material.id, s.kind, s.width, s.length, s.count, price=s.price, trim=s.trim)
        for s in material.stock
    )


def _own_stock(
    material: str,
    kind: Literal["roll", "sheet"],
    spec: StockSpec,
    outline: Path | None,
    zones: tuple[Zone, ...],
) -> Stock:
    """An offcut is there once, if no count is given; stock with an outline is no roll."""
    box = (0.0, 0.0, spec.width or 0.0, spec.length or 0.0) if outline is None else outline.bounds
    odd = "sheet" if outline is not None else kind
    return Stock(
        material,
        spec.kind or odd,
        round(box[2] - box[0], SIZE_DECIMALS),
        round(box[3] - box[1], SIZE_DECIMALS),
        spec.count or (1 if spec.kind == "offcut" else None),
        spec.name or "",
        outline,
        zones,
        spec.price,
        spec.trim,
    )


def box_zone(corners: tuple[complex, complex], pieces: tuple[str, ...] = ()) -> Zone:
    """An upright box between two opposite corners, mm."""
    a, b = corners
    x0, x1 = sorted((a.real, b.real))
    y0, y1 = sorted((a.imag, b.imag))
    ring = [complex(x0, y0), complex(x1, y0), complex(x1, y1), complex(x0, y1)]
    return Zone(Path.polygon(ring), pieces)


@dataclass(frozen=True, slots=True)
class Turning:
    """The turns that a copy may have on the sheet, degrees; free: those are only the first."""

    rotations: tuple[float, ...]
    free: bool = False


def turning_for(material: MaterialProfile, arrows: Arrows, lay: LayKeys) -> Turning:
    """The turns that both the material's rules and the piece's own allow; there may be none.

    The piece's own are from where its grain runs up the sheet.
    """
    upright = _upright(arrows.grain)
    asked = (lay.angle,) if lay.angle is not None else lay.turns
    allowed = rotations_for(material, arrows)
    if not allowed or rules_of(material, arrows):
        return Turning(_both(allowed, asked, upright))
    stated = asked if material.turns is None else material.turns
    if stated is None:
        return Turning(allowed)
    if isinstance(stated, str):
        if asked is None or isinstance(asked, str):
            return Turning(tuple(k * FREE_STEP for k in range(FREE_STEPS)), free=True)
        return Turning(_turned(asked, upright))
    return Turning(_both(_turned(stated, upright), asked, upright))


def _both(
    allowed: tuple[float, ...], asked: tuple[float, ...] | str | None, upright: float
) -> tuple[float, ...]:
    if asked is None or isinstance(asked, str):
        return allowed
    wanted = _turned(asked, upright)
    return tuple(a for a in allowed if any(_same_turn(a, w) for w in wanted))


def _turned(turns: Iterable[float], upright: float) -> tuple[float, ...]:
    made = (round(upright + t, TURN_DECIMALS) % 360 for t in turns)
    return tuple(dict.fromkeys(made))


def _same_turn(a: float, b: float) -> bool:
    return bool(abs((a - b + 180) % 360 - 180) < 10.0**-TURN_DECIMALS)


def _upright(grain: float | None) -> float:
    return round(90.0 - (90.0 if grain is None else grain), TURN_DECIMALS) % 360
