"""The table of real outlines, and speed against the bare polygon library.

    python -m pytest tests/benchmarks/test_curves.py -o addopts= -s

prints both.  Deviations, corners and counts are asserted; kinks, short segments and refusals beyond
their limits are only printed with their names, for some remain.  FOAMWRIGHT_ALL_GLYPHS=1 takes
every glyph of every font; FOAMWRIGHT_PICTURES=FOLDER draws each outline that was refused or is
beyond a limit.  Nothing asserts a wall-clock time.
"""

from __future__ import annotations

import os
import pathlib
from collections import Counter
from collections.abc import Sequence

import numpy as np

from tests.benchmarks.curve_measures import KERF, Measured, measured
from tests.benchmarks.outlines import OF_EACH, drawn_outlines, glyph_outlines
from tests.geometry.chain import TOLERANCE

#: The chain's limit and the fit's share of it, mm, with what the measure may tell too much.
LIMITS = {
    "fit: deviation, mm": TOLERANCE + 1e-4,
    "fit: kink at smooth joints, deg": 1.0,
    "fit: corners not kept": 0,
    "fit: arcs over the allowed": 0,
    "+0.1 round: deviation, mm": TOLERANCE + 1e-4,
    "-0.1 round: deviation, mm": TOLERANCE + 1e-4,
    "+6 mitre: deviation, mm": TOLERANCE + 1e-4,
    "+0.1 round: kink at smooth joints, deg": 1.0,
    "-0.1 round: kink at smooth joints, deg": 1.0,
    "+6 mitre: kink at smooth joints, deg": 1.0,
    "chain: deviation, mm": 0.01,
}
LEAST = {
    f"{of}: shortest segment, mm": 0.05 for of in ("fit", "+0.1 round", "-0.1 round", "+6 mitre")
}

#: No outline may be beyond these, and at most a share of outlines beyond that.
KEPT = (
    "fit: deviation, mm",
    "fit: corners not kept",
    "+0.1 round: deviation, mm",
    "-0.1 round: deviation, mm",
    "+6 mitre: deviation, mm",
    "chain: deviation, mm",
)
OVER, OVER_SHARE = "fit: arcs over the allowed", 0.01


def test_the_table_of_real_outlines(shared: pathlib.Path) -> None:
    every = bool(os.environ.get("FOAMWRIGHT_ALL_GLYPHS"))
    outlines = [*drawn_outlines(shared), *glyph_outlines(None if every else OF_EACH)]
    found = [measured(o) for o in outlines]
    beyond = show(found)
    pictures = os.environ.get("FOAMWRIGHT_PICTURES")
    if pictures:
        draw(found, beyond, pathlib.Path(pictures))
    for name, where in beyond.items():
        print(f"beyond {name}: {'; '.join(where)}")
    for m in found:
        for why in dict.fromkeys(m.refused):
            print(f"refused {m.outline.name}: {why}")
    assert not {name: beyond[name] for name in KEPT if name in beyond}
    assert len(beyond.get(OVER, [])) <= OVER_SHARE * len(found)


def show(found: Sequence[Measured]) -> dict[str, list[str]]:
    """Prints the table; gives the names of outlines beyond each limit."""
    whole = sum(len(m.outline.path.segments) for m in found)
    print(f"\n{len(found)} outlines, {whole} segments; fit at {TOLERANCE} mm, kerf {KERF} mm")
    print(f"{'':48} {'outlines':>8} {'median':>9} {'worst':>9}  beyond, worst at")
    beyond: dict[str, list[str]] = {}
    for name in dict.fromkeys(n for m in found for n in m.figures):
        rows = [(m.figures[name], m.outline.name) for m in found if name in m.figures]
        low = name in LEAST
        worst, at = (min if low else max)(rows)
        out = [
            n for v, n in rows if (v < LEAST[name] - 1e-9 if low else v > LIMITS.get(name, np.inf))
        ]
        if out:
            beyond[name] = out
        limited = str(len(out)) if low or name in LIMITS else "-"
        median = float(np.median([v for v, _ in rows]))
        print(f"{name:48} {len(rows):8} {median:9.4f} {worst:9.4f}  {limited:>4}  {at}")
    refused = Counter(
        " ".join(r.split()[:2]) for m in found for r in dict.fromkeys(r for r in m.refused)
    )
    outlines = sum(bool(m.refused) for m in found)
    print(f"refused: {outlines} of {len(found)}")
    for reason, count in refused.most_common():
        where = [m.outline.name for m in found if any(r.startswith(reason) for r in m.refused)]
        print(f"  {count:5} {reason}  ({'; '.join(where[:3])})")
    return beyond


def draw(found: Sequence[Measured], beyond: dict[str, list[str]], folder: pathlib.Path) -> None:
    """A picture of each outline in question, with where it is said to be wrong in its title."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    folder.mkdir(parents=True, exist_ok=True)
    asked = {n for names in beyond.values() for n in names}
    for number, m in enumerate(found):
        if not m.refused and m.outline.name not in asked:
            continue
        why = [*m.refused, *(k for k, names in beyond.items() if m.outline.name in names)]
        figure = Figure(figsize=(7, 7))
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        points = m.outline.path.flatten(0.01)
        axes.plot(points.real, points.imag, lw=0.7)
        joints = np.array([s.start for s in m.outline.path.segments])
        axes.plot(joints.real, joints.imag, "k.", ms=2)
        axes.set_aspect("equal")
        axes.set_title(m.outline.name + "\n" + "\n".join(w[:110] for w in why[:4]), fontsize=7)
        figure.savefig(folder / f"{number}.png", dpi=90)
