"""The table of real outlines: their fits, parallels and cuts, held against limits and libraries.

    python -m pytest tests/benchmarks/test_curves.py -o addopts= -s

prints it, and asserts that no outline is beyond a limit but those that `known_curves.toml` names,
with why.  Those that no longer are beyond it are printed.  FOAMWRIGHT_ALL_GLYPHS=1 takes every
glyph of every font; FOAMWRIGHT_PICTURES=FOLDER draws each outline that was refused or is beyond a
limit.  Nothing asserts a wall-clock time.
"""

from __future__ import annotations

import os
import pathlib
import tomllib
from collections import Counter
from collections.abc import Sequence

import numpy as np

from tests.benchmarks.curve_measures import KERF, PARALLELS, Measured, measured
from tests.benchmarks.outlines import OF_EACH, drawn_outlines, glyph_outlines
from tests.geometry.chain import TOLERANCE

OFFSETS = [f"{d:+g} {join}" for d, join in PARALLELS]
#: No figure may be more: the chain's limit and the fit's share of it, mm, with what the measure may
#: tell too much, and what is kept of corners and counts.
LIMITS = {
    "refused": 0,
    "refused for accuracy": 0,
    "corners read, against the reference": 0,
    "fit: deviation, mm": TOLERANCE + 1e-4,
    "fit: kink at smooth joints, deg": 1.0,
    "fit: corners not kept": 0,
    "fit: corners not drawn": 0,
    "fit: arcs over the allowed": 0,
    **{f"{of}: deviation, mm": TOLERANCE + 1e-4 for of in OFFSETS},
    **{f"{of}: kink at smooth joints, deg": 1.0 for of in OFFSETS},
    **{f"{of}: from {other}, mm": 0.01 for of in OFFSETS for other in ("Clipper2", "GEOS")},
    **{f"+6 mitre: tips from {other}, mm": 0.01 for other in ("Clipper2", "GEOS")},
    **{
        f"{of}: area from {other}, mm2 a mm": TOLERANCE
        for of in OFFSETS
        for other in ("Clipper2", "GEOS")
    },
    "chain: deviation, mm": 0.01,
}
#: No figure may be less.
LEAST = {f"{of}: shortest segment, mm": 0.05 for of in ("fit", *OFFSETS)}
#: Outlines that are beyond a limit, each with its figure and why; how much worse it may get.
WORSE = 1.1
KNOWN = pathlib.Path(__file__).with_name("known_curves.toml")


def test_the_table_of_real_outlines(shared: pathlib.Path) -> None:
    every = bool(os.environ.get("FOAMWRIGHT_ALL_GLYPHS"))
    outlines = [*drawn_outlines(shared), *glyph_outlines(None if every else OF_EACH)]
    found = [measured(o) for o in outlines]
    beyond = show(found)
    refused = {f"{m.outline.name}: {why}" for m in found for why in m.refused}
    for name, where in beyond.items():
        print(f"beyond {name}: {'; '.join(where)}")
    for told in sorted(refused):
        print(f"refused {told}")
    pictures = os.environ.get("FOAMWRIGHT_PICTURES")
    if pictures:
        draw(found, beyond, pathlib.Path(pictures))
    told = unknown(found, beyond)
    print(*told, sep="\n")
    assert not told


def unknown(found: Sequence[Measured], beyond: dict[str, list[str]]) -> list[str]:
    """What is beyond a limit and isn't known to be, or not by so much."""
    known = exceptions()
    told = []
    figures = {m.outline.name: m.figures for m in found}
    for figure, names in beyond.items():
        for name in names:
            value, was = figures[name][figure], known.get(figure, {}).get(name)
            if was is None:
                told.append(f'{figure}: "{name}" = {value:.4g}')
            elif value > was * WORSE if figure not in LEAST else value < was / WORSE:
                told.append(f'{figure}: "{name}" = {value:.4g}, was {was:g}')
    for figure, outlines in known.items():
        for name in sorted(outlines.keys() & figures.keys() - set(beyond.get(figure, ()))):
            print(f"no longer beyond {figure}: {name}")
    return told


def exceptions() -> dict[str, dict[str, float]]:
    """The figures of outlines known to be beyond a limit, by figure and outline."""
    found: dict[str, dict[str, float]] = {}
    for group in tomllib.loads(KNOWN.read_text(encoding="utf-8"))["known"]:
        found.setdefault(group["figure"], {}).update(group["outlines"])
    return found


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
