"""The operator's checklist as data (`checklist.toml`): which items a job calls for, by stage.

Terms.  *Item*: one thing to see to, with a one-line reason and its source.  *Stage*: before,
set-up, during, after.  An item's conditions must all hold for one and the same use (a material on
a machine).  Items of all shelves are printed; a shop adds, never removes.

Does not judge (that is `safety.py`) and never says that a thing is safe: it asks a person to look.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from string import Template
from typing import Annotated, Literal, TypeAlias, get_args

from pydantic import BeforeValidator, Field

from foamwright.findings import Finding, refuse_on_fault
from foamwright.hazards import METHODS, Rules, Verdict
from foamwright.model import Method
from foamwright.safety import Use, verdicts
from foamwright.shelf_folder import Table, read_shelves
from foamwright.strict_toml import Source, shown
from foamwright.toml_lines import nearest
from foamwright.units import parse_length

Stage: TypeAlias = Literal["before", "set-up", "during", "after"]
STAGES: tuple[Stage, ...] = get_args(Stage)
CHECKLIST = "checklist.toml"
#: What an `each` item may name.
NAMES = ("material", "composition", "basis", "machine", "thickness", "left")


class When(Table):
    """Conditions of an item; a key that is left out holds for every use. thicker_than: mm."""

    methods: tuple[Method, ...] = METHODS
    words: tuple[str, ...] = ()
    hold: tuple[str, ...] = ()
    feed: tuple[str, ...] = ()
    cut_from: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    thicker_than: Annotated[float, BeforeValidator(parse_length)] | None = None
    left: bool | None = None
    directed: bool | None = None
    never_laser: bool | None = None

    def holds(self, use: Use, rules: Rules) -> bool:
        """Whether this use calls for the item."""
        rulings = {r.verdict for r in verdicts(use, rules)}
        barred = any(rules.ruling(w, "laser").verdict is Verdict.FORBIDDEN for w in use.composition)
        return (
            use.method in self.methods
            and _any(self.words, use.composition)
            and _any(self.hold, use.hold)
            and _any(self.feed, (use.feed,))
            and _any(self.cut_from, (use.cut_from,))
            and _any(self.settings, (use.settings,))
            and _any(self.verdicts, rulings)
            and (self.thicker_than is None or use.thickness > self.thicker_than)
            and self.left in (None, use.left > 0)
            and self.directed in (None, use.directed)
            and self.never_laser in (None, barred)
        )


def _any(wanted: Sequence[str], there: Iterable[str]) -> bool:
    return not wanted or bool(set(wanted) & set(there))


class Item(Table):
    """One thing to see to. each: printed once a use, its $names filled in."""

    stage: Stage
    text: str = Field(min_length=1)
    why: str = Field(min_length=1)
    source: str = Field(min_length=1)
    each: bool = False
    when: When = When()


class _Checklist(Table):
    schema_: Literal[1] = Field(alias="schema")
    item: tuple[Item, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A line to tick. applies: the uses that call for it, where it isn't all of the job's."""

    text: str
    why: str
    source: str
    applies: tuple[str, ...] = ()


def load_checklist(rules: Rules, folders: Sequence[Path] = ()) -> tuple[Item, ...]:
    """The packaged items, then those of the folders that hold a `checklist.toml`.

    Raises Refused with every fault: an unknown key, word or $name, with its line.
    """
    read = read_shelves(CHECKLIST, folders, _Checklist)
    refuse_on_fault(x for source, c in read for x in _strangers(source, c.item, rules))
    return tuple(item for _, c in read for item in c.item)


def _strangers(source: Source, items: Sequence[Item], rules: Rules) -> Iterator[Finding]:
    """Words that are on no list and $names that nothing fills."""
    for i, item in enumerate(items):
        for name in Template(item.text).get_identifiers():
            if not item.each or name not in NAMES:
                mend = f"an item with each = true has {', '.join(NAMES)}"
                yield source.fault("S008", ("item", i, "text"), f"nothing fills ${name} in", mend)
        for word in item.when.words:
            if word not in rules.words:
                near = nearest(word, rules.words)
                what = f"{shown(word)} is no composition word"
                mend = f"did you mean {near}" if near else ""
                yield source.fault("S008", ("item", i, "when", "words"), what, mend)


def checklist(
    items: Sequence[Item], uses: Sequence[Use], rules: Rules
) -> dict[Stage, tuple[CheckLine, ...]]:
    """The lines that a job's uses call for, by stage, in the order of the files."""
    lines: dict[Stage, list[CheckLine]] = {stage: [] for stage in STAGES}
    for item in items:
        calling = [use for use in uses if item.when.holds(use, rules)]
        if item.each:
            texts = [Template(item.text).substitute(_filling(use)) for use in calling]
            new = [CheckLine(text, item.why, item.source) for text in dict.fromkeys(texts)]
        elif calling:
            part = len(calling) < len(uses)
            applies = tuple(use.where for use in calling) if part else ()
            new = [CheckLine(item.text, item.why, item.source, applies)]
        else:
            new = []
        lines[item.stage].extend(new)
    return {stage: tuple(found) for stage, found in lines.items()}


def _filling(use: Use) -> dict[str, str]:
    return {
        "material": use.material,
        "composition": ", ".join(use.composition) or "unknown",
        "basis": use.basis.replace("-", " "),
        "machine": use.machine,
        "thickness": f"{use.thickness:g}",
        "left": f"{use.left:.1f}",
    }
