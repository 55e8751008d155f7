"""The nouns that pass between stages. Small immutable values; a stage returns new ones.

Millimetres, y up, degrees counter-clockwise.  Outer boundaries run counter-clockwise, openings
clockwise.

Sheet coordinates: (0, 0) is the near left corner of the stock; x runs across the roll (or along the
sheet's width), y along the roll: the way of the grain, the nap and the feed.  A piece drawn without
a grain line is drawn upright: its grain and nap run along the drawing's +y.

Does not read, alter or check anything; profiles and job settings are not here.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType
from typing import Literal, TypeAlias

from foamwright.geometry.affine import Affine
from foamwright.geometry.oval import Oval
from foamwright.geometry.path import Path, joined
from foamwright.geometry.segments import Segment

#: What cuts. `hand` is no machine's: it has a paper pattern, and no cut file.
Method: TypeAlias = Literal["laser", "drag-knife", "oscillating-knife", "hand"]
MarkShape: TypeAlias = Literal["cross", "dot", "hole", "line", "notch", "fold", "label"]
MarkMaker: TypeAlias = Literal["score", "pen", "hole", "slit"]
#: Where the drafted size holds: where the tool goes in, halfway, or where it comes out.
TrueFace: TypeAlias = Literal["top", "middle", "bottom"]
Operation: TypeAlias = Literal["PEN", "SCORE", "HOLE", "CUT_SLIT", "CUT_INNER", "CUT_OUTER"]

#: Operations in the order in which groups stand in a file.
OPERATIONS: tuple[Operation, ...] = (
    "PEN",
    "SCORE",
    "HOLE",
    "CUT_SLIT",
    "CUT_INNER",
    "CUT_OUTER",
)


@dataclass(frozen=True, slots=True)
class Opening:
    """A hole through a piece: path clockwise. fixed: keeps its drafted size whatever the scale."""

    name: str
    path: Path
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class Slit:
    """An open cut inside a piece (or, as a slit notch, in from its edge)."""

    name: str
    path: Path


@dataclass(frozen=True, slots=True)
class Mark:
    """Something put on the face and not cut through, but a `hole`, which is drilled or burnt.

    at: its centre.  paths: what the tool draws (a hole: one circle; a cross: two lines).
    """

    name: str
    shape: MarkShape
    at: complex
    paths: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """One flat part of a pattern, in its drawing's coordinates.

    outline: closed, counter-clockwise.  stitch: the stitch line where an allowance lies outside it.
    points: named places drawn as `point`.  grain: direction of the grain line in degrees, or None
    (upright).  nap, stretch: which way the nap must run (None: as the grain) and the piece must
    give (None: as it comes), likewise.  source: where it was drawn, `heron.svg#sole`, for messages.
    half: the fold about which a piece that is drawn as a half is opened; empty: it is drawn whole.
    """

    name: str
    outline: Path
    openings: tuple[Opening, ...] = ()
    slits: tuple[Slit, ...] = ()
    marks: tuple[Mark, ...] = ()
    points: Mapping[str, complex] = field(default_factory=lambda: MappingProxyType({}))
    grain: float | None = None
    stitch: Path | None = None
    notes: tuple[str, ...] = ()
    source: str = ""
    half: str = ""
    nap: float | None = None
    stretch: float | None = None

    def transformed(self, m: Affine) -> Piece:
        """The mapped piece; after a mirror map the paths are turned so that orientation holds."""

        def turned(p: Path) -> Path:
            q = p.transformed(m)
            return q.reversed() if m.is_mirror and p.closed else q

        return replace(
            self,
            outline=turned(self.outline),
            openings=tuple(replace(o, path=turned(o.path)) for o in self.openings),
            slits=tuple(replace(s, path=s.path.transformed(m)) for s in self.slits),
            marks=tuple(
                replace(k, at=m(k.at), paths=tuple(p.transformed(m) for p in k.paths))
                for k in self.marks
            ),
            points=MappingProxyType({n: m(p) for n, p in self.points.items()}),
            grain=None if self.grain is None else _turned_angle(self.grain, m),
            nap=None if self.nap is None else _turned_angle(self.nap, m),
            stretch=None if self.stretch is None else _turned_angle(self.stretch, m),
            stitch=None if self.stitch is None else turned(self.stitch),
        )


def _turned_angle(degrees: float, m: Affine) -> float:
    return math.degrees(cmath.phase(m.vector(cmath.rect(1.0, math.radians(degrees)))))


@dataclass(frozen=True, slots=True)
class NamedEdge:
    """A run of a piece that a job names, between two corners or points; its length in mm."""

    name: str
    first: str
    last: str
    length: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """What `acquire` read from one file: the pieces found and what was noticed comes beside it.

    aliases: ids, titles and group or layer names that mean exactly one piece, with its name.
    edges: by piece, those that a job names, where its pieces are looked at.  strays: lines that
    were refused, for a picture.
    """

    file: str
    pieces: tuple[Piece, ...]
    unit: str
    aliases: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    edges: Mapping[str, tuple[NamedEdge, ...]] = field(default_factory=lambda: MappingProxyType({}))
    strays: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class Bridging:
    """Holding bridges asked of an outline: count, or spacing (the most along it between two), mm.

    width: of the stock that each leaves standing, mm.
    """

    count: int | None
    spacing: float | None
    width: float


@dataclass(frozen=True, slots=True)
class Bridge:
    """A gap in a cut that holds a piece in its sheet.

    at: the middle of the stretch of the target's outline that stays uncut; length: of that stretch,
    mm.  width: of the stock that stands where it is narrowest, mm.
    """

    at: complex
    length: float
    width: float


@dataclass(frozen=True, slots=True)
class Copy:
    """One piece to be cut, altered and, where mirrored, already a mirror image.

    name: `sole/drawn/1`, `sole/mirrored/1`.  rotations: the turns that layout may choose from,
    degrees, applied to `piece` about the origin (they bring the grain where the rules want it).
    bridging: how it is to be held in its sheet; None: not at all.
    free: any turn will do, `rotations` are those to begin with.  pin: where the near left corner of
    its box must lie on the stock.  group: copies of one name lie on one sheet.  turnable: it may be
    cut as its mirror image and turned over by hand; turned: it is.  sticker: what a printed label
    of it says, line by line; empty: none is asked for.
    """

    name: str
    of: str
    piece: Piece
    mirrored: bool
    material: str
    machine: str
    rotations: tuple[float, ...] = (0.0,)
    bridging: Bridging | None = None
    free: bool = False
    pin: complex | None = None
    group: str = ""
    turnable: bool = False
    turned: bool = False
    sticker: tuple[str, ...] = ()

    def turned_over(self) -> Copy:
        """The copy laid the other way up; its box keeps its place."""
        low_x, _, high_x, _ = self.piece.outline.bounds
        over = Affine.translation(complex(low_x + high_x, 0)) @ Affine.mirror_x()
        return replace(self, piece=self.piece.transformed(over), turned=not self.turned)


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of the stock that pieces are kept off: a flaw, a clamp. Sheet coordinates.

    pieces: the only ones that it is kept from, by name; empty: all.
    """

    outline: Path
    pieces: tuple[str, ...] = ()

    def keeps_off(self, copy: Copy) -> bool:
        return not self.pieces or copy.of in self.pieces


@dataclass(frozen=True, slots=True)
class Stock:
    """A sheet, roll or offcut on hand. count None: as many as needed. Lengths in mm, width across.

    name: which one it is, for offcuts.  outline: of stock that is no rectangle; its box is width by
    length from (0, 0).  zones: flaws and holes.  price: of one sheet, or of a roll's whole length.
    trim: whether it may be cut down to what the machine reaches.
    """

    material: str
    kind: Literal["roll", "sheet", "offcut"]
    width: float
    length: float
    count: int | None = None
    name: str = ""
    outline: Path | None = None
    zones: tuple[Zone, ...] = ()
    price: float | None = None
    trim: bool = True


@dataclass(frozen=True, slots=True)
class Limits:
    """What layout must know of a machine without seeing it.

    reach: across and along, mm.  margins: left, right, near, far.  clearance: least gap between
    two pieces' targets; edge: least gap from a target to the reach's or stock's usable edge.
    zones: where clamps hold the stock.  hand: how wide an opening must be everywhere that a piece
    may lie in it, mm; None: none may.
    """

    reach: tuple[float, float]
    feed: Literal["flat", "mat", "roll"]
    margins: tuple[float, float, float, float]
    clearance: float
    edge: float
    zones: tuple[Zone, ...] = ()
    hand: float | None = None


@dataclass(frozen=True)
class Placement:
    """A copy on a sheet: turned by rotation degrees about the origin, then moved by (x, y)."""

    copy: Copy
    rotation: float
    x: float
    y: float

    @property
    def map(self) -> Affine:
        return Affine.translation(complex(self.x, self.y)) @ Affine.rotation(self.rotation)

    @cached_property
    def piece(self) -> Piece:
        """The target: the piece in sheet coordinates."""
        return self.copy.piece.transformed(self.map)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Stock with copies on it. width, length: the material in the file, mm (a roll: what is used).

    back: laid face down, so every piece is the mirror image of what the face shows.
    zones: what pieces are kept off, the stock's and the clamps'; room: how far, mm.
    """

    number: int
    stock: Stock
    machine: str
    width: float
    length: float
    placements: tuple[Placement, ...]
    back: bool = False
    zones: tuple[Zone, ...] = ()
    room: float = 0.0

    @property
    def material(self) -> str:
        return self.stock.material

    @property
    def density(self) -> float:
        """Area of the pieces over the area of the material used, 0..1."""
        area = sum(
            p.piece.outline.area + sum(o.path.area for o in p.piece.openings)
            for p in self.placements
        )
        return area / self.area

    @property
    def area(self) -> float:
        """mm2 of the material used."""
        whole = self.width * self.length
        return whole if self.stock.outline is None else min(whole, self.stock.outline.area)

    @property
    def price(self) -> float | None:
        """Of the material used: a roll's in proportion to its length, over its whole width."""
        if self.stock.price is None or self.stock.kind != "roll":
            return self.stock.price
        return self.stock.price * self.length / self.stock.length


@dataclass(frozen=True, slots=True)
class Tool:
    """What compensation, order and proof know of a machine with its material. mm, mm/s, degrees.

    kerf: full width removed on the true face; kerf_y: along the sheet, where that differs from
    across it.  kerf_entry, kerf_exit: widths across where the tool goes in and where it comes out,
    if they differ; those along the sheet are in proportion.  true_face: where the drafted size
    holds.  blade_offset: pivot to tip.  overrun: how far the bottom of the stock is severed behind
    the top (thickness / tan of the blade edge's angle to the sheet).  edges: a single-edged blade
    overruns at a stroke's exit only, a double-edged one at both ends.  plunge: how far along its
    stroke the blade reaches ahead of its tip as it goes in.  far_face_max: how far off its target
    the edge may lie at the bottom face, and a blade's flat off its stroke.  pass_depths: how deep a
    knife goes in each pass; empty: every pass goes as deep.  lead_in, lead_out: ways in the scrap
    before and after a laser's contour, lead_angle: between them and it.  clearance: gap that is
    asked for between two cuts.  focus_depth: of a beam's focus below the face in the first pass,
    focus_step: how much deeper it is with each further one.  band:
    the stretch of a roll's feed that is worked before the next.  far_first: depth of the bands in
    which a sheet is worked from its far side on.  settings: for the sheet.
    """

    method: Method
    applies: frozenset[str] = frozenset()
    marks_by: MarkMaker = "score"
    curves: Literal["arcs", "lines"] = "arcs"
    kerf: float = 0.0
    kerf_y: float | None = None
    kerf_entry: float | None = None
    kerf_exit: float | None = None
    true_face: TrueFace = "top"
    blade_offset: float = 0.0
    swivel_angle: float = 10.0
    overlap: float = 1.0
    overrun: float = 0.0
    edges: Literal["single", "double"] = "single"
    plunge: float = 0.0
    blade_width: float = 0.0
    far_face_max: float = 1.0
    lead_in: float = 0.0
    lead_out: float = 0.0
    lead_angle: float = 45.0
    clearance: float = 0.0
    passes: int = 1
    focus_depth: float | None = None
    focus_step: float = 0.0
    pass_depths: tuple[float, ...] = ()
    cut_speed: float = 50.0
    travel_speed: float = 200.0
    acceleration: float = 1000.0
    band: float | None = None
    far_first: float | None = None

    @property
    def beam(self) -> Oval:
        """The section of what it removes, on the true face."""
        return Oval(self.kerf / 2, (self.kerf if self.kerf_y is None else self.kerf_y) / 2)

    @property
    def widest_kerf(self) -> float:
        """The greatest width that it removes on any face, either way, mm."""
        wider = max(self.kerf, self.kerf_entry or 0.0, self.kerf_exit or 0.0)
        return 2 * self.beam.radius * (wider / self.kerf if self.kerf else 1.0)

    @property
    def section(self) -> float:
        """How wide a turned blade is at the face when it is down, mm: both edges, if it has two."""
        return max(self.plunge, self.overrun) * (2 if self.edges == "double" else 1)

    def leaves_to_machine(self, compensation: str) -> bool:
        return compensation in self.applies


@dataclass(frozen=True, slots=True)
class Footprint:
    """What alterations must know of a blade, so that they ask for nothing it can't cut, mm.

    swing: radius on which a swivel blade turns about its tip.  section: width at the face of a
    blade that is turned.  overrun, ends: how far short the bottom stays at how many ends of a
    stroke.  flat_max: how far a flat blade may lie off a curve.  All nought: no blade.
    """

    swing: float = 0.0
    section: float = 0.0
    overrun: float = 0.0
    ends: int = 1
    flat_max: float = math.inf


@dataclass(frozen=True, slots=True)
class FileStyle:
    """How a machine's software wants its files. origin: where the file's zero lies on the sheet.

    margins: left, right, near, far, mm: where the machine can't get to.
    """

    dxf: Literal["r12", "r2000"] = "r2000"
    dxf_units: Literal["mm", "in"] = "mm"
    origin: Literal["bottom-left", "bottom-right", "top-left", "top-right", "centre"] = (
        "bottom-left"
    )
    writes: tuple[str, ...] = ()
    layers: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    colours: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    margins: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Entry:
    """One of the ways to run a cut, as a value from which its path can be made.

    way: the loop or the open line that is run.  A loop is entered at parameter t of a segment,
    after `before` (a lead-in, a run-in, a swing), and left `beyond` mm past that place by `after`;
    without the three it stays a closed path.  An open line is run as it is.
    """

    way: Path
    segment: int = 0
    t: float = 0.0
    before: tuple[Segment, ...] = ()
    after: tuple[Segment, ...] = ()
    beyond: float = 0.0

    @property
    def start(self) -> complex:
        """Where the tool goes down."""
        return self.before[0].start if self.before else self._place

    @property
    def end(self) -> complex:
        """Where it comes up."""
        if self.after:
            return self.after[-1].end
        if not self.way.closed:
            return self.way.end
        return self.path.end if self.beyond > 0 else self._place

    @property
    def _place(self) -> complex:
        return self.way.segments[self.segment].point(self.t)

    @property
    def path(self) -> Path:
        if not self.way.closed:
            return self.way
        loop = self.way.starting_in(self.segment, self.t)
        if not (self.before or self.after or self.beyond):
            return loop
        lead, tail = ((Path(s, False),) if s else () for s in (self.before, self.after))
        return joined([*lead, loop.opened(self.beyond), *tail], False)


@dataclass(frozen=True, slots=True)
class Cut:
    """One run of the tool with the tool down: a path of lines and arcs in sheet coordinates.

    copy: whose.  contour: `outline`, `opening:eye`, `slit:vein-1`, `mark:toe`; several strokes of
    one contour share the name and keep their order in turn, whichever is the first.  band: the
    stretch of the feed on a roll, or of a sheet from its far side, that is worked before the next.
    closed contours without a lead-in are closed paths, all else is open.
    entries: the ways in which it may be run, all clear of every piece, the path's own first; empty
    where there is no other, or where it is chosen.
    left: length in mm of this run's target that is left for the hand: at the bottom face, or by
    bridge, the holding bridge at this run's end.
    """

    copy: str
    contour: str
    operation: Operation
    path: Path
    band: int = 0
    left: float = 0.0
    bridge: Bridge | None = None
    entries: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True)
class Program:
    """A sheet's cuts in cutting order, grouped by band, then by operation (`OPERATIONS`).

    times: seconds of each operation that occurs, its travel with it; together `time_s`.
    """

    sheet: Sheet
    tool: Tool
    cuts: tuple[Cut, ...]
    time_s: float
    times: tuple[tuple[Operation, float], ...] = ()
