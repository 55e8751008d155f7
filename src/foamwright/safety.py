"""Judging a job by the hazard rules: on the plan, and again on the record as read back.

Terms.  *Use*: one material on one machine.  A blend is as bad as its worst word; coatings and
adhesives are words like any other.  A permit counts for its own material and machine only, from
its date to its expiry.

Does not say that anything is safe, does not read the clock (`today` is an argument), and does not
know whether the sheet in hand is what its profile claims: the checklist asks a person.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import ValidationError

from foamwright import exposure
from foamwright.findings import Finding, fault, note, warning
from foamwright.hazards import METHODS, Rules, Ruling, Verdict, load_rules
from foamwright.job import Permit
from foamwright.model import Method
from foamwright.record import ProfileEntry, Record
from foamwright.toml_lines import nearest

__all__ = [
    "Rules",
    "Use",
    "Verdict",
    "assess",
    "assess_record",
    "load_rules",
    "use_of",
    "uses_of",
    "verdicts",
]

#: How a composition may be known for a laser to cut it.
KNOWN = ("data-sheet", "label")
KINDS: tuple[Literal["material", "machine"], ...] = ("material", "machine")


@dataclass(frozen=True, slots=True)
class Use:
    """One material on one machine, as the profiles claim it; what rules and checklist ask about.

    composition: words; basis: data-sheet, label or guess.  lineage: ids that the profile is
    `based_on`.  thickness: mm that the tool must sever.  settings: basis of the cut's values.
    left: mm of the outlines that stay for the hand.  directed: it has a nap or a stretch.
    """

    material: str
    composition: tuple[str, ...]
    basis: str
    machine: str
    method: Method
    lineage: tuple[str, ...] = ()
    thickness: float = 0.0
    feed: str = "flat"
    hold: tuple[str, ...] = ()
    cut_from: str = "front"
    settings: str = "estimate"
    left: float = 0.0
    directed: bool = False

    @property
    def where(self) -> str:
        return f"{self.material} on {self.machine}"


def verdicts(use: Use, rules: Rules) -> tuple[Ruling, ...]:
    """Every ruling on a use, strictest first: one a word, and one on how the words are known."""
    found = [rules.ruling(word, use.method) for word in use.composition or ("unknown",)]
    if use.method == "laser" and use.basis not in KNOWN:
        why = "its composition is a guess, and what is guessed is never laser cut"
        source = "what has no rule is not laser cut"
        found.append(Ruling("composition", "laser", Verdict.FORBIDDEN, why, source))
    return tuple(sorted(found, key=lambda r: -r.verdict.rank))


def assess(
    uses: Iterable[Use], permits: Sequence[Permit], rules: Rules, today: datetime.date
) -> tuple[Finding, ...]:
    """Findings on all uses of a job: S001 to S006."""
    return tuple(f for use in uses for f in _assess_one(use, permits, rules, today))


def _assess_one(
    use: Use, permits: Sequence[Permit], rules: Rules, today: datetime.date
) -> list[Finding]:
    found = _loosened(use, rules)
    for ruling in verdicts(use, rules):
        said = f"{ruling.word} with {a_method(use.method)}: {ruling.why} ({ruling.source})"
        match ruling.verdict:
            case Verdict.FORBIDDEN:
                mend = _way_out(use, ruling, rules)
                what = f"forbidden: {said}{_given_off(use, ruling, rules)}"
                found.append(fault("S001", use.where, what, mend))
            case Verdict.PERMIT:
                found.append(_permitted(use, ruling, said, permits, today))
            case Verdict.CAUTION:
                found.append(warning("S004", use.where, f"caution: {said}"))
            case Verdict.OK:
                pass
    return found


def _given_off(use: Use, ruling: Ruling, rules: Rules) -> str:
    """What a metre of it could give off on a laser, where the facts tell."""
    gas = rules.gases.get(ruling.word)
    told = exposure.said(gas, use.thickness) if gas and use.method == "laser" else ""
    return f"; {told}" if told else ""


def a_method(method: Method) -> str:
    """The method with its article, for messages."""
    if method == "hand":
        return "a blade held in the hand"
    return f"{'an' if method.startswith('o') else 'a'} {method.replace('-', ' ')}"


def _way_out(use: Use, ruling: Ruling, rules: Rules) -> str:
    if ruling.word == "composition":
        return "find its label or data sheet and state it in the profile, or cut it with a knife"
    if ruling.word not in rules.words:
        near = nearest(ruling.word, rules.words)
        return f"did you mean {near}" if near else "use a word of hazards.toml, or a knife"
    return "no option lifts this: choose a knife machine or another material"


def _permitted(
    use: Use, ruling: Ruling, said: str, permits: Sequence[Permit], today: datetime.date
) -> Finding:
    """S005 where a permit counts, else S002 (none) or S003 (why those there don't count)."""
    ours = [p for p in permits if (p.material, p.machine) == (use.material, use.machine)]
    reasons = [why_void(p, ruling, today) for p in ours]
    for permit, reason in zip(ours, reasons, strict=True):
        if not reason:
            by = f"permit {permit.reference}, issued by {permit.issued_by} on {permit.date}"
            return note("S005", use.where, f"{said}; cut under {by}")
    if reasons:
        return fault(
            "S003", use.where, f"{said}; {'; '.join(reasons)}", "ask the site for a new one"
        )
    sheet = " and data_sheet" if "data-sheet" in ruling.needs else ""
    mend = (
        "cut it with a knife, or ask the site and add [[permit]] with material, machine, "
        f"issued_by, reference, date{sheet}"
    )
    return fault("S002", use.where, f"needs the site's permit: {said}", mend)


def why_void(permit: Permit, ruling: Ruling, today: datetime.date) -> str:
    """Why a permit for this material and machine doesn't count today; empty where it counts."""
    name = f"permit {permit.reference!r}"
    if not permit.reference.strip() or not permit.issued_by.strip():
        return f"{name} doesn't say who issued it under which reference"
    if permit.date > today:
        return f"{name} is dated {permit.date}, which is still to come"
    if permit.expires is not None and permit.expires < today:
        return f"{name} expired on {permit.expires}"
    if "data-sheet" in ruling.needs and not (permit.data_sheet or "").strip():
        return f"{name} names no data_sheet of the batch"
    return ""


def _loosened(use: Use, rules: Rules) -> list[Finding]:
    """S006: a packaged material that lost words, or a packaged machine with another method."""
    found = []
    for ancestor in dict.fromkeys((use.material, *use.lineage)):
        lost = rules.compositions.get(ancestor.casefold(), frozenset()) - set(use.composition)
        if lost:
            what = f"the composition lacks {', '.join(sorted(lost))}, which {ancestor} has"
            mend = "a profile may add to a packaged composition, never take away"
            found.append(fault("S006", use.where, what, mend))
    packaged = rules.machines.get(use.machine.casefold(), use.method)
    if packaged != use.method:
        what = f"{use.machine} is packaged as {packaged} and used as {use.method}"
        found.append(fault("S006", use.where, what, "give your own machine an id of its own"))
    return found


# ------------------------------------------------------------------------------------ the record


def assess_record(record: Record, rules: Rules, today: datetime.date) -> tuple[Finding, ...]:
    """The rules once more, on the program as read back: findings S001 to S007."""
    found: list[Finding] = []
    permits = []
    for entry in record.permits:
        try:
            permits.append(Permit.model_validate(entry.model_dump()))
        except ValidationError as e:
            where = f"record.json: permit {entry.reference!r}"
            found.append(fault("S007", where, e.errors()[0]["msg"], "cut anew"))
    for told in record.profiles:
        for key in ("thickness", "backing"):
            value = _values(told).get(key)
            if value is not None and not _size(value):
                where = f"record.json: {told.kind} {told.id}"
                found.append(fault("S007", where, f"its {key} is no length", "cut anew"))
    for (material, machine), methods in _pairs(record).items():
        if not methods or not methods <= set(METHODS) - {"hand"}:
            named = ", ".join(sorted(methods)) or "none"
            where = f"record.json: {material} on {machine}"
            found.append(fault("S007", where, f"no method that has rules ({named})", "cut anew"))
    return (*found, *assess(uses_of(record), permits, rules, today))


def uses_of(record: Record) -> tuple[Use, ...]:
    """Every material on its machine, as the record tells it, strictly read.

    A pair is a use of every method that a file's tool or the machine's profile names for it, so
    that changing one of them alone hides nothing; of several entries for a material all words
    count.  A composition that isn't told is unknown, and a guess.
    """
    return tuple(
        use_of(
            [p for p in record.profiles if (p.kind, p.id) == ("material", material)],
            [p for p in record.profiles if (p.kind, p.id) == ("machine", machine)],
            (material, machine),
            method,
            _left(record, material, machine),
        )
        for (material, machine), methods in _pairs(record).items()
        for method in METHODS
        if method in methods
    )


def use_of(
    materials: Sequence[ProfileEntry],
    machines: Sequence[ProfileEntry],
    pair: tuple[str, str],
    method: Method,
    left: float = 0.0,
) -> Use:
    """The use that resolved profile entries describe: of one material, and of one machine."""
    told: dict[str, Any] = {}
    words: list[str] = []
    lineage: list[str] = []
    bases = []
    for values in map(_values, sorted(materials, key=lambda e: _fits(e, pair[1], method))):
        told |= values
        words += _names(values.get("composition")) or ("unknown",)
        lineage += (*_names(values.get("lineage")), *_names(values.get("based_on")))
        bases.append(str(values.get("composition_basis", "guess")))
    machine = {k: v for entry in machines for k, v in _values(entry).items()}
    return Use(
        material=pair[0],
        composition=tuple(dict.fromkeys(words)) or ("unknown",),
        basis=next((b for b in bases if b not in KNOWN), bases[0] if bases else "guess"),
        machine=pair[1],
        method=method,
        lineage=tuple(dict.fromkeys(lineage)),
        thickness=_size(told.get("backing")) or _size(told.get("thickness")),
        feed=str(machine.get("feed", "flat")),
        hold=_names(told.get("hold")),
        cut_from=str(told.get("cut_from", "front")),
        settings=_weakest(told),
        left=left,
        directed=(told.get("nap", "none"), told.get("stretch", "none")) != ("none", "none"),
    )


def best_entries(
    record: Record, pair: tuple[str, str], method: Method
) -> tuple[ProfileEntry, ProfileEntry]:
    """The entries of a material and a machine that were meant for each other."""
    found = [
        max(
            (p for p in record.profiles if (p.kind, p.id) == (kind, name)),
            key=lambda e: _fits(e, pair[1], method),
            default=ProfileEntry(kind=kind, id=name, values=()),
        )
        for kind, name in zip(KINDS, pair, strict=True)
    ]
    return found[0], found[1]


def _fits(entry: ProfileEntry, machine: str, method: Method) -> int:
    """How well an entry's cut settings are meant for this machine; the best goes last."""
    values = _values(entry)
    meant_for = {machine: 2, None: 1}.get(values.get("cut.machine"), 0)
    return 3 * (values.get("cut.method") == method) + meant_for


def _pairs(record: Record) -> dict[tuple[str, str], set[str]]:
    """Each material and machine of the record with all methods named for it."""
    pairs: dict[tuple[str, str], set[str]] = {}
    for sheet in record.sheets:
        pairs.setdefault((sheet.material, sheet.machine), set())
    for file in record.files:
        methods = pairs.setdefault((file.material, file.machine), set())
        methods.add(str(file.tool.get("method", "unknown")))
    for (_, machine), methods in pairs.items():
        for entry in record.profiles:
            if (entry.kind, entry.id) == ("machine", machine) and "method" in _values(entry):
                methods.add(str(_values(entry)["method"]))
    return pairs


def _left(record: Record, material: str, machine: str) -> float:
    """mm that stay for the hand: both formats tell the same, so the larger sum."""
    sums: dict[str, float] = {}
    for file in record.files:
        if (file.material, file.machine) == (material, machine):
            left = sum(c.left for c in file.contours)
            sums[file.format] = sums.get(file.format, 0.0) + left
    return max(sums.values(), default=0.0)


def _values(entry: ProfileEntry) -> dict[str, Any]:
    return {v.key: v.value for v in entry.values}


def _weakest(told: dict[str, Any]) -> str:
    """The basis of the least known of a cut's values."""
    bases = told.get("cut.bases")
    named = {str(b) for b in bases.values()} if isinstance(bases, dict) else set()
    named.add(str(told.get("cut.basis", "estimate")))
    return next((b for b in ("estimate", "published") if b in named), min(named))


def _size(value: Any) -> float:
    """A length as a record has it; nought for what is none."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if number and 0 < value < math.inf else 0.0


def _names(value: Any) -> tuple[str, ...]:
    if isinstance(value, str):
        return (value,)
    return tuple(map(str, value)) if isinstance(value, list | tuple) else ()
