"""Numbered findings: what was noticed, how grave, where, and what to do.

A finding is a value; stages return them or raise `Refused` with all of them at once.
A code is a letter for the room and three digits: R reading, J job and profiles, A alterations,
L layout, C compensation, O order, W writing, V proof, S safety.  `CODES` is the register:
each code has one line that says what it stands for, and a test.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from foamwright.errors import FoamwrightError


class Severity(StrEnum):
    """How grave a finding is: a note informs, a warning is printed on the sheet too, if it
    is of what is cut and not of the run alone (`OF_THE_RUN`), a fault stops.
    """

    NOTE = "note"
    WARNING = "warning"
    FAULT = "fault"


CODES: Mapping[str, str] = MappingProxyType(
    {
        # R: reading a drawing (stages/acquire)
        "R001": "a drawing that can't be read or is empty",
        "R002": "a file that is neither SVG nor DXF",
        "R003": "a drawing without a piece in it",
        "R004": "a unit that isn't known",
        "R005": "a size that no such pattern has: the unit is in doubt",
        "R006": "a unit asked for although the drawing states its own",
        "R101": "an outline that is open",
        "R102": "an outline that crosses itself",
        "R103": "something drawn without size",
        "R104": "two outlines that cross each other",
        "R105": "an outline drawn twice",
        "R106": "something to be cut that lies in no piece",
        "R107": "a mark, point or note that lies in no piece",
        "R108": "two things of one name",
        "R109": "a gap that was closed",
        "R110": "a slit or mark that reaches beyond its piece",
        "R111": "more than one grain line in a piece",
        "R112": "a role that isn't known",
        "R113": "coordinates too large to be meant",
        "R114": "parts without length, or specks, that were left out",
        "R115": "an outline that touches itself or an opening that touches another line",
        "R116": "fills without an outline of their own, cut along their boundaries",
        "R117": "an outline that crossed itself, taken apart by even-odd, or one that can't be",
        "R118": "a filled line without an end, closed as a viewer closes a fill",
        "R119": "openings that ran the same way round as their outline, turned",
        "R120": "slivers that were left out",
        "R201": "an SVG whose XML is broken",
        "R202": "an error in path data or points",
        "R203": "an attribute that can't be understood",
        "R204": "a transform that can't be understood",
        "R205": "a viewBox or size of the drawing that can't be understood",
        "R206": "a use that refers to nothing that can be drawn",
        "R207": "uses that never end or are too many",
        "R208": "content that is not cut",
        "R209": "clipped or masked content, taken whole",
        "R210": "style rules that could not be understood",
        "R211": "an SVG without its namespace",
        "R212": "strokes wider than a line",
        "R213": "an SVG without a physical size",
        "R214": "SVG shapes with neither fill nor stroke, left out",
        "R301": "a broken DXF that was mended while it was read",
        "R302": "a DXF that states no unit",
        "R304": "a DXF with nothing to cut or mark in model space",
        "R305": "DXF entities for people only, left out",
        "R306": "hidden DXF entities, left out",
        "R307": "a DXF entity whose data define no curve",
        "R308": "a DXF block that can't be drawn",
        "R309": "DXF entities outside the drawing plane, left out",
        "R310": "DXF entities that are no lines, left out",
        "R311": "a DXF spline that states only points to pass through",
        "R312": "a height over the drawing plane, left out",
        "R313": "paper sheets beside model space, left out",
        "R314": "DXF polylines with a width, read as their middle line",
        "R315": "points drawn on top of their neighbours, left out",
        "R401": "a line drawn twice, kept once",
        "R402": "lines too short to be meant, left out",
        "R403": "a place where more than two loose ends meet",
        "R404": "a line drawn twice that closes no outline: an edge that two pieces share",
        "R501": "measures of a draft that make no body",
        "R502": "what a draft's pieces come to, told",
        # J: job files and profiles (job.py, profiles.py)
        "J501": "a job file or profile that can't be read",
        "J502": "a job file or profile that is not TOML",
        "J503": "an unknown key in a job file or profile",
        "J504": "a required key that is missing",
        "J505": "a value of the wrong kind or out of range",
        "J507": "two names that would collide",
        "J508": "a name that refers to nothing in the job",
        "J509": "keys that need or exclude each other",
        "J511": "a profile that is on no shelf",
        "J512": "profiles that are based on each other in a circle",
        "J513": "a profile whose values contradict each other or its base",
        "J514": "a material without settings for the machine's method",
        "J521": "a material thicker than the machine takes",
        "J522": "a material that isn't held as the machine needs it",
        "J523": "a value that the machine's method needs and no profile gives",
        "J524": "a kerf that this version doesn't compensate, or that can't be meant",
        "J525": "a blade that doesn't reach through the material",
        "J526": "a thickness outside those that a cut's series was measured in",
        "J527": "holding bridges asked of a tool that makes none",
        "J530": "an outline that the drawing doesn't have",
        "J541": "readings or results that can't be taken",
        "J542": "readings that lie far from the others",
        "J543": "a shelf that can't be written, or a profile that is there already",
        "J544": "an estimate where the same was measured elsewhere",
        "J545": "two profiles that are alike, or a number that can hardly be meant",
        "J546": "a profile of an older schema, read as one of the present",
        "J547": "a profile made by a newer version",
        "J548": "a blade that is due",
        "J551": "a coupon that can't be made",
        "J552": "pieces that are cut by hand, which have no cut file",
        "J553": "stock of a material that no piece is cut from, left aside",
        # A: alterations (stages/alter)
        "A301": "a mark at a point that isn't drawn",
        "A302": "a mark too near an edge, or outside the piece",
        "A303": "a notch or relief on an edge, corner or point that isn't there",
        "A304": "a notch as deep as the allowance is wide",
        "A305": "a notch that became a mark on the face",
        "A306": "a notch or relief over a corner",
        "A307": "a fixed edge or opening that isn't there",
        "A308": "two notches or reliefs overlap",
        "A309": "an allowance that the outline can't bear",
        "A310": "the altered outline crosses itself",
        "A311": "a seam of an edge that isn't there",
        "A312": "a seam whose edges differ in length",
        "A313": "a seam that won't close flat",
        "A314": "an opening that meets the altered outline or another opening",
        "A315": "a drawn slit or mark that the alterations leave outside its piece",
        "A317": "a size fitted to a measure, or one that can't be",
        "A318": "an edge or opening that can't keep its drawn size",
        "A319": "a half that can't be opened",
        "A320": "a drawing evened out about its centre line, or one that can't be",
        "A321": "an allowance or corner of an edge that isn't there",
        "A322": "an allowance that, taken off and put back, is not what was drawn",
        "A323": "a length that can't be carried",
        "A324": "a mitred corner that is cut off, being too sharp",
        "A331": "a notch that the blade can't cut, made a slit or a mark",
        "A332": "a bevel that is left for the hand",
        "A333": "a bevel on an edge that isn't there or doesn't bear it",
        "A341": "a label or joint number that finds no room, left out",
        "A342": "a label with letters that have no strokes",
        "A343": "a label that the machine or the face that lies up doesn't bear",
        "A344": "marks that can't be carried to another piece",
        "A345": "a carried mark that the other piece doesn't bear, left out",
        "A346": "an arrow between places that aren't there, or in place of a drawn one",
        "A347": "arrows of a piece that its material can't meet",
        "A348": "a stitching template that can't be made",
        "A349": "a clip mark that finds no room, left out",
        "A351": "a core whose edges aren't there, or that its shell has no room for",
        "A352": "a core against its shell, told",
        "A353": "a core that is looser or tighter in its shell than the job allows",
        "A354": "how far a slit was spread, or why it can't be",
        "A355": "a seam's end made true, or one that can't be",
        "A356": "a dart that can't be had",
        "A361": "notches of a seam that don't meet",
        "A362": "a left and a right that are no mirror images",
        "A363": "a neck narrower than the material bears",
        "A381": "a piece that no stock bears, cut in parts that match",
        "A382": "a line that can't part its piece",
        # L: layout (stages/arrange)
        "L401": "a piece fits no stock of its material",
        "L402": "the layout search failed or broke a rule, so boxes were laid in rows",
        "L403": "there are more pieces than the counted stock bears",
        "L404": "the stock is larger than the machine reaches",
        "L405": "a piece whose turns its material's rules forbid",
        "L406": "a piece that can't lie where it is pinned",
        "L407": "pieces kept together that no stock bears together",
        "L408": "a layout search that was stopped by hand",
        "L409": "a layout search without time",
        "L410": "copies that are cut as their mirror images, to be turned over by hand",
        "L411": "a shelf of offcuts, or an offcut, that can't be read",
        "L412": "an offcut that another job has booked meanwhile",
        "L413": "an offcut or a booking that isn't there",
        "L414": "offcuts that the broken-off cut of another job holds",
        "L415": "an order of work that the machine's feed has no use for",
        "L416": "a layout that broke a rule, so the next best was taken",
        "L417": "a layout of many pieces that took longer than it was given",
        # C: compensation (stages/compensate)
        "C501": "an opening that the kerf swallows whole",
        "C502": "a gap or neck that the kerf swallows",
        "C503": "inside corners that the beam can't reach",
        "C504": "an inside corner that the beam leaves beyond what the job allows",
        "C505": "no clear place for a lead-in",
        "C506": "two pieces nearer to each other than the kerf",
        "C507": "slits that part their piece",
        "C508": "cuts nearer to each other than the clearance",
        "C509": "leads that were shortened or turned to lie clear",
        "C510": "a holding bridge without a straight place",
        "C511": "a curve tighter than the drag knife's blade offset",
        "C512": "no room for a drag knife's run-in",
        "C513": "no scrap for the stroke that aligns a drag knife's blade",
        "C521": "the bottom face is left uncut at ends of strokes",
        "C522": "a curve that a flat blade can't follow closely",
        "C523": "a stroke too short for the blade to go in without cutting into a piece",
        "C531": "a knife's kerf that is not compensated",
        # O: order (stages/order)
        # W: writing (stages/save)
        "W701": "a stranger's file stands where an output should go",
        "W702": "a place can't be written",
        "W703": "a job stands where a new one should go",
        "W704": "the output folder holds the cut of another job",
        "W705": "a paper pattern of more pages than anyone joins",
        # V: proof (stages/verify)
        "V001": "a record that is missing or can't be read",
        "V002": "a record that was edited",
        "V003": "a record that does not agree with itself",
        "V004": "a cut file that is missing",
        "V005": "a cut file that was changed",
        "V006": "a cut file that holds what no written file holds",
        "V007": "a path that is missing, too many or not where the record has it",
        "V008": "a cut that enters a piece",
        "V009": "a piece that is not cut free",
        "V010": "a freed edge farther off its target than the limit",
        "V011": "a place that the tool's size leaves over, deeper than the job allows",
        "V012": "two pieces that touch",
        "V013": "a piece off the usable stock",
        "V014": "a path off the sheet",
        "V025": "a piece off the outline of its stock, or on a zone that it is kept off",
        "V026": "a piece that lies otherwise than its material's nap or stretch wants",
        "V015": "a slit or mark without its path",
        "V016": "a path inside a piece that is no slit or mark of it",
        "V017": "an edge that the bottom face holds by",
        "V018": "contours in a wrong order",
        "V019": "a check line that does not measure",
        "V020": "a recorded piece without a proof",
        "V021": "places that the tool's size leaves over, told",
        "V022": "how far the edge lies off on the other faces where the kerf tapers, told",
        "V023": "a piece that its own slits part",
        "V031": "a blade whose body swings into a piece on a curve",
        "V032": "an edge too far off at the bottom face on a curve",
        "V033": "how far off the edge is at the bottom face on curves, told",
        "V024": "a recorded holding bridge that is not there as told",
        "V041": "what a record tells and nothing in its folder can prove, told",
        "V042": "a recorded time that the files' paths don't take",
        "V043": "an operator's sheet or pattern exchange file that is missing or was changed",
        "V051": "a pattern exchange file that holds other pieces than recorded",
        # S: safety (safety.py)
        "S001": "forbidden: a material that no option lets this kind of tool cut",
        "S002": "a material that wants the site's permit, and none is given",
        "S003": "a permit that does not count: expired, dated ahead, or lacking what it must name",
        "S004": "a caution about a material on this kind of tool",
        "S005": "cut under the site's permit",
        "S006": "a packaged profile that was loosened: words taken away, or another method",
        "S007": "a record that does not tell what the hazard rules must know",
        "S008": "a broken file of hazard rules or checklist items",
    }
)


#: What tells of one run's search for a layout, not of what is cut: a run by the kept layout has
#: none of it, so it stands in no file.
OF_THE_RUN = frozenset({"L402", "L408", "L416", "L417"})


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing noticed.

    code: a key of `CODES`.  where: file, line or piece, with coordinates in mm where they help.
    what: what is wrong or was done.  mend: what to do about it (may be empty for a note).
    piece: the piece's or copy's name where there is one.  spots: where it is on the drawing, mm.
    """

    code: str
    severity: Severity
    where: str
    what: str
    mend: str = ""
    piece: str = ""
    spots: tuple[complex, ...] = ()

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise KeyError(f"finding code {self.code!r} is not in the register")

    @property
    def is_fault(self) -> bool:
        return self.severity is Severity.FAULT

    @property
    def is_of_the_run(self) -> bool:
        return self.code in OF_THE_RUN

    def line(self) -> str:
        """The finding as one line: where, what, what to do."""
        text = f"{self.where}: {self.what}"
        if self.mend:
            text += f"; {self.mend}"
        return f"{self.severity.value} {self.code} {text}"


def note(
    code: str, where: str, what: str, mend: str = "", piece: str = "", spots: Iterable[complex] = ()
) -> Finding:
    return Finding(code, Severity.NOTE, where, what, mend, piece, tuple(spots))


def warning(
    code: str, where: str, what: str, mend: str = "", piece: str = "", spots: Iterable[complex] = ()
) -> Finding:
    return Finding(code, Severity.WARNING, where, what, mend, piece, tuple(spots))


def fault(
    code: str, where: str, what: str, mend: str = "", piece: str = "", spots: Iterable[complex] = ()
) -> Finding:
    return Finding(code, Severity.FAULT, where, what, mend, piece, tuple(spots))


class Refused(FoamwrightError):
    """The job is refused: carries every finding, faults among them. Exit status 1."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(f.line() for f in self.findings))


def refuse_on_fault(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings as a tuple; raises `Refused` with all of them when one is a fault."""
    kept = tuple(findings)
    if any(f.is_fault for f in kept):
        raise Refused(kept)
    return kept
