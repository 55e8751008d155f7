"""The example's files as bytes, and a table with them."""

from __future__ import annotations

from pathlib import Path

from foamwright.desk.work import Table

HERON = Path(__file__).parent.parent.parent / "examples" / "heron"
DRAWING = (HERON / "heron.svg").read_bytes()
JOB = (HERON / "job.toml").read_bytes()
LAYOUT = (HERON / "heron-legs.layout.json").read_bytes()

#: Two squares in mm, for what needs no more.
SQUARES = b"""<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm"
viewBox="0 0 200 100"><rect id="one" x="10" y="10" width="80" height="80"/>
<rect id="two" x="110" y="10" width="80" height="60"/></svg>"""


def heron_table(folder: Path) -> Table:
    """The whole example, with the layout that is shipped in it."""
    table = Table(folder)
    table.bring("heron.svg", DRAWING)
    table.bring("heron-legs.layout.json", LAYOUT)
    table.bring("job.toml", JOB)
    return table


def squares_table(
    folder: Path, material: str = "card-1mm", machine: str = "desk-laser-600"
) -> Table:
    """Two squares with material and machine chosen."""
    table = Table(folder)
    table.bring("squares.svg", SQUARES)
    cards = table.cards()
    pieces = tuple(p.model_copy(update={"material": material}) for p in cards.pieces)
    head = cards.head.model_copy(update={"machine": machine})
    table.set_cards(cards.model_copy(update={"pieces": pieces, "head": head}))
    return table
