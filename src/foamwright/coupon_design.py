"""What is on a test coupon, by the method: its parts as drawn, and where each is measured.

A *laser's* has combs: strips of one nominal width, cut apart and pushed together in a row; the row
lacks one kerf a strip.  Across (X) and along (Y) apart, and blocks whose bottom face tells the kerf
where the beam comes out.  A *drag knife's* has a square and a disc for each step of the blade's
offset, then for each step of force.  An *oscillating knife's* has a plate at whose corners the
overrun shows, and squares whose lean adds up in a stack.

A coupon is cut without kerf, so a part lacks just what the tool took.  Every part says on itself
what it is.  Pure: draws nothing on disk, knows no shelf.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from foamwright.geometry.pathdata import parse_path_data
from foamwright.model import Method
from foamwright.readings import Place
from foamwright.record import PieceEntry, Record
from foamwright.stages.alter.letters import word

#: How a coupon's job is called; its record is known by it.
TITLE = "Coupon of"
#: Least width of a strip, and how many times the stock's thickness it has, mm.
STRIP, STRIP_BY_THICKNESS = 10.0, 2.0
#: Strips in a comb: more of them make the kerf finer, thick stock has fewer.
STRIPS, STRIPS_OF_THICK = 10, 5
#: Stock from here on is thick, mm.
THICK = 8.0
#: Steps of a blade's offset, mm, about the machine's own, within those in use (0.175 to 1.0 mm,
#: a blade seller's and a user's figures).
OFFSET_STEP, OFFSETS_EACH_WAY, LEAST_OFFSET, MOST_OFFSET = 0.1, 2, 0.1, 1.2
#: The offset about which steps are taken where the machine keeps its own, mm.
USUAL_OFFSET = 0.5
FORCES = 4
#: Height of letters, the way from line to line and the room to the edges, mm.
LETTERS, LINE, ROOM = 3.0, 5.5, 4.0
SQUARES, BLOCKS = 6, 3


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the coupon: a rectangle, or a disc (width across), and the words on it.

    count: copies.  variant: which of several settings of the machine cuts it; empty: its own.
    """

    name: str
    width: float
    height: float
    words: tuple[str, ...] = ()
    count: int = 1
    disc: bool = False
    variant: str = ""


@dataclass(frozen=True, slots=True)
class Variant:
    """A setting of the machine under which parts are cut. offset: of the blade, mm, if it differs.

    told: what the operator sets before its file.
    """

    name: str
    told: str
    offset: float | None = None


@dataclass(frozen=True, slots=True)
class Design:
    """parts: in the order of the drawing. rows: for the sheet: place, what to do, what follows."""

    parts: tuple[Part, ...]
    rows: tuple[tuple[str, str, str], ...]
    variants: tuple[Variant, ...] = ()


def design(method: Method, thickness: float, severed: float, offset: float | None) -> Design:
    """The coupon for a method. thickness, severed: of the stock, mm; offset: the blade's own."""
    if method == "laser":
        return _laser(thickness)
    if method == "drag-knife":
        return _drag_knife(offset)
    return _oscillating(severed)


def _laser(thickness: float) -> Design:
    wide = max(STRIP, 5 * math.ceil(STRIP_BY_THICKNESS * thickness / 5))
    count = STRIPS if thickness < THICK else STRIPS_OF_THICK
    long = max(4 * STRIP, 2.5 * wide)
    block = max(30.0, 3 * thickness)
    row, blocks = f"{count * wide:g}", f"{BLOCKS * block:g}"
    plate = _plate(
        "plate",
        f"{count} X IN A ROW, READ ACROSS",
        f"({row} - ROW) / {count}",
        f"{count} Y IN A ROW, READ ALONG",
        f"({row} - ROW) / {count}",
        f"{BLOCKS} T UPSIDE DOWN IN A ROW",
        f"({blocks} - ROW) / {BLOCKS}",
    )
    parts = (
        plate,
        Part("comb-x", wide, long, ("X",), count),
        Part("comb-y", long, wide, ("Y",), count),
        Part("taper", block, block, ("T",), BLOCKS),
    )
    said = "Push them together in a row as they lay, letters up, and measure the row"
    rows = (
        ("comb-x", f"The {count} strips marked X. {said} across.", _kerf(row, count, "kerf_x")),
        ("comb-y", f"The {count} strips marked Y. {said} along.", _kerf(row, count, "kerf_y")),
        (
            "taper-bottom",
            f"The {BLOCKS} blocks marked T, upside down. {said} across, at the face that lay down.",
            _kerf(blocks, BLOCKS, "kerf_exit"),
        ),
    )
    return Design(parts, rows)


def _kerf(row: str, count: int, key: str) -> str:
    return f"{key} = ({row} mm - row) / {count}"


def offsets_about(own: float | None) -> tuple[float, ...]:
    """The steps of a blade's offset, mm, the machine's own among them."""
    middle = own or USUAL_OFFSET
    ways = range(-OFFSETS_EACH_WAY, OFFSETS_EACH_WAY + 1)
    steps = (round(middle + k * OFFSET_STEP, 3) for k in ways)
    return tuple(s for s in steps if LEAST_OFFSET <= s <= MOST_OFFSET)


def _drag_knife(own: float | None) -> Design:
    offsets = [
        Variant(f"offset-{round(1000 * s):04d}", f"blade offset {s:g} mm in the file", s)
        for s in offsets_about(own)
    ]
    forces = [
        Variant(f"force-{k}", f"force step {k} of {FORCES}, the lightest first")
        for k in range(1, FORCES + 1)
    ]
    parts: list[Part] = []
    for v in (*offsets, *forces):
        told = f"{v.offset:g}" if v.offset is not None else f"F{v.name[-1]}"
        parts.append(Part(f"square-{v.name}", 22.0, 22.0, (told,), 1, variant=v.name))
        parts.append(Part(f"disc-{v.name}", 22.0, 22.0, (told,), 1, disc=True, variant=v.name))
    parts.append(
        _plate(
            "plate",
            "OFFSET OF THE SHARPEST CORNER,",
            "NO HORN, DISC CLOSED",
            "FIRST F THAT IS CUT THROUGH",
        )
    )
    rows = (
        (
            "offset",
            "Squares and discs, each marked with its offset. Look at every corner: too small an "
            "offset rounds it, too large a one leaves a horn; a disc's start and end must meet. "
            "Read the best offset at each of several corners, by several people.",
            "blade_offset = the best, step 0.1 mm; it goes to the machine's profile",
        ),
        (
            "force",
            f"Squares and discs marked F1 to F{FORCES}: before each of these files set the "
            "machine's force one step higher. Take the first that is cut through all round.",
            "force, in the machine's words: profile record MATERIAL --key force --value WORDS",
        ),
    )
    return Design(tuple(parts), rows, (*offsets, *forces))


def _oscillating(severed: float) -> Design:
    side = max(40.0, 5 * math.ceil(3 * severed / 5))
    stack = f"{SQUARES * severed:g}"
    parts = (
        _plate(
            "corner",
            "AT A CORNER, IN THE SCRAP,",
            "TOP CUT PAST THE CORNER",
            "LESS BOTTOM CUT PAST IT.",
            f"PILE UP {SQUARES} S, EACH LOWER EDGE",
            "ON UPPER EDGE AT THE SIDE OF THE S",
            f"LEAN OVER {stack} MM",
        ),
        Part("stack", side, side, ("S",), SQUARES),
    )
    rows = (
        (
            "corner",
            "The scrap at the plate's corners. How far the cut runs past the corner in the top "
            "face, less how far in the bottom face (below nought where it stops short).",
            f"edge_angle = the angle whose tangent is {severed:g} mm / reading",
        ),
        (
            "lean",
            f"The {SQUARES} squares marked S, piled so that each one's lower edge stands on the "
            "upper edge of the one below, at the side of the letter. How far the uppermost edge "
            "lies off the lowermost.",
            f"lean = the angle whose tangent is reading / {stack} mm",
        ),
    )
    return Design(parts, rows)


def _plate(name: str, *lines: str) -> Part:
    """A plate large enough for its words."""
    wide = max(word(line, LETTERS)[1] for line in lines) + 2 * ROOM
    high = (len(lines) - 1) * LINE + LETTERS + 2 * ROOM
    return Part(name, 5 * math.ceil(wide / 5), 5 * math.ceil(high / 5), lines)


# ------------------------------------------------------------------------------- the drawing


def drawing(parts: Sequence[Part], letters: bool) -> str:
    """The parts one beside the other, each with its words (letters) and its grain line; SVG."""
    drawn = []
    x, top = 0.0, max(p.height for p in parts) + ROOM
    for part in parts:
        drawn.append(_drawn(part, x, letters))
        x += part.width + ROOM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{x:g}mm" height="{top:g}mm" '
        f'viewBox="0 0 {x:g} {top:g}">\n' + "\n".join(drawn) + "\n</svg>\n"
    )


def _drawn(part: Part, x: float, letters: bool) -> str:
    wide, high = part.width, part.height
    if part.disc:
        outline = f'<circle cx="{x + wide / 2:g}" cy="{high / 2:g}" r="{wide / 2:g}"/>'
    else:
        outline = f'<path d="M{x:g} 0H{x + wide:g}V{high:g}H{x:g}Z"/>'
    middle = x + wide / 2
    grain = f'<path data-role="grain" d="M{middle:g} {high / 2 + 2:g}V{high / 2 - 2:g}"/>'
    words = "".join(_lettered(part, x)) if letters else ""
    return f'<g id="{part.name}">{outline}{grain}{words}</g>'


def _lettered(part: Part, x: float) -> Iterable[str]:
    foot = (part.height - (len(part.words) - 1) * LINE) / 2
    for k, line in enumerate(part.words):
        glyphs, length = word(line, LETTERS)
        left = x + (part.width - length) / 2
        data = []
        for glyph in glyphs:
            middle = complex(left + glyph.at, -(foot + k * LINE))
            for stroke in glyph.strokes:
                points = [middle + stroke.segments[0].start]
                points += [middle + s.end for s in stroke.segments]
                data.append("M" + " ".join(f"{p.real:.4f} {-p.imag:.4f}" for p in points))
        yield from (f'<path data-role="mark" d="{d}"/>' for d in data)


# ------------------------------------------------------------------------------- measuring


def title_of(material: str, machine: str) -> str:
    """The name of a coupon's job, by which its record is known."""
    return f"{TITLE} {material} on {machine}"


def pair_of(record: Record) -> tuple[str, str]:
    """The material and the machine that a coupon is of; empty: it is none."""
    if not record.job.startswith(f"{TITLE} "):
        return "", ""
    material, _, machine = record.job.removeprefix(f"{TITLE} ").rpartition(" on ")
    return material, machine


def places_of(record: Record) -> Mapping[str, Place]:
    """Where a coupon is measured and what follows, from its own record; empty: it is none."""
    if not all(pair_of(record)):
        return {}
    by_name: dict[str, list[PieceEntry]] = {}
    for piece in record.pieces:
        by_name.setdefault(piece.name, []).append(piece)
    made: list[Place] = []
    rows = (("comb-x", "comb-x", "kerf_x", 0), ("comb-y", "comb-y", "kerf_y", 1))
    for place, part, key, axis in (*rows, ("taper-bottom", "taper", "kerf_exit", 0)):
        sizes = [_size(p)[axis] for p in by_name.get(part, ())]
        if sizes:
            made.append(Place(place, key, "", "shortfall", sum(sizes), len(sizes)))
    if any(name.startswith("square-offset") for name in by_name):
        made.append(Place("offset", "blade_offset", ""))
    if "stack" in by_name:
        severed = record.sheets[0].thickness
        made.append(Place("corner", "edge_angle", "", "slope", severed))
        made.append(Place("lean", "lean", "", "lean", severed * len(by_name["stack"])))
    return {p.name: p for p in made}


def _size(piece: PieceEntry) -> tuple[float, float]:
    """Across and along the sheet, mm, as it was cut: what the nominal row is made of."""
    low_x, low_y, high_x, high_y = parse_path_data(piece.target)[0].bounds
    return high_x - low_x, high_y - low_y
