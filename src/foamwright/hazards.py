"""Hazard rules as data (`hazards.toml`): composition word x method -> verdict, all shelves merged.

Terms.  *Word*: one entry of the closed list of what a material is made of.  *Verdict*: `forbidden`
(nothing lifts it), `permit` (only with the site's permit), `caution`, `ok` (no source speaks
against it, which is no statement of safety).  The packaged shelf is always read, the strictest
wins, and what the package has no rule for counts as its strict default: a shop adds, never loosens.

Does not judge a job: `safety.py` does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import product
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, get_args

from pydantic import Field

from foamwright.findings import Finding, refuse_on_fault
from foamwright.model import Method
from foamwright.shelf_folder import Table, packaged_profiles, read_shelves
from foamwright.strict_toml import Source, read_toml, shown
from foamwright.toml_lines import nearest

METHODS: tuple[Method, ...] = get_args(Method)
HAZARDS = "hazards.toml"


class Verdict(StrEnum):
    """In the order of strictness, mildest first."""

    OK = "ok"
    CAUTION = "caution"
    PERMIT = "permit"
    FORBIDDEN = "forbidden"

    @property
    def rank(self) -> int:
        return list(Verdict).index(self)


@dataclass(frozen=True, slots=True)
class Ruling:
    """What one word brings on one method. needs: what a permit must name besides itself."""

    word: str
    method: Method
    verdict: Verdict
    why: str
    source: str
    needs: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Gas:
    """What burning a word's stuff can give off at most. share: of its mass; density: of the stuff,
    g/cm3; molar: of the gas, g/mol; limit: ppm, as `limit_source` has it.
    """

    agent: str
    share: float
    density: float
    molar: float
    limit: float
    limit_source: str
    source: str


@dataclass(frozen=True, slots=True)
class Rules:
    """All shelves' rules merged. gases: of words that a laser is forbidden, as the package has it.

    words: each word of the closed list and what it means.  compositions, machines: what the
    packaged shelf says of its own materials' words and its machines' methods, ids without case.
    """

    words: Mapping[str, str]
    rulings: Mapping[tuple[str, Method], Ruling]
    compositions: Mapping[str, frozenset[str]]
    machines: Mapping[str, str]
    gases: Mapping[str, Gas] = field(default_factory=lambda: MappingProxyType({}))

    def ruling(self, word: str, method: Method) -> Ruling:
        """The verdict on a word; one that is on no list gets the strict default."""
        return self.rulings.get((word, method)) or default_ruling(word, method)


def default_ruling(word: str, method: Method) -> Ruling:
    verdict = Verdict.FORBIDDEN if method == "laser" else Verdict.CAUTION
    return Ruling(word, method, verdict, "no rule is known for it", "no published rule found")


class _Word(Table):
    word: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    means: str = Field(min_length=1)


class _Rule(Table):
    words: tuple[str, ...] = Field(min_length=1)
    methods: tuple[Method, ...] = Field(min_length=1)
    verdict: Verdict
    why: str = Field(min_length=1)
    source: str = Field(min_length=1)
    sure: Literal["high", "medium", "low"] = "medium"
    needs: tuple[Literal["data-sheet"], ...] = ()


class _Gas(Table):
    words: tuple[str, ...] = Field(min_length=1)
    agent: str = Field(min_length=1)
    share: float = Field(gt=0, le=1)
    density: float = Field(gt=0)
    molar: float = Field(gt=0)
    limit: float = Field(gt=0)
    limit_source: str = Field(min_length=1)
    source: str = Field(min_length=1)


class _Hazards(Table):
    schema_: Literal[1] = Field(alias="schema")
    word: tuple[_Word, ...] = ()
    rule: tuple[_Rule, ...] = ()
    gas: tuple[_Gas, ...] = ()


def load_rules(folders: Sequence[Path] = ()) -> Rules:
    """The packaged rules and those of the folders that hold a `hazards.toml`, strictest wins.

    Raises Refused with every fault of every broken file.
    """
    read = read_shelves(HAZARDS, folders, _Hazards)
    words = {w.word: w.means for _, h in reversed(read) for w in h.word}
    refuse_on_fault(x for source, h in read for x in _strangers(source, h, words))
    package = packaged_profiles()
    return Rules(
        MappingProxyType(words),
        MappingProxyType(_merge([h for _, h in read], words)),
        MappingProxyType(_packaged_compositions(package)),
        MappingProxyType(
            {i: str(t.get("method")) for i, t in _tables(package / "machines").items()}
        ),
        MappingProxyType(
            {w: Gas(**g.model_dump(exclude={"words"})) for g in read[0][1].gas for w in g.words}
        ),
    )


def _strangers(source: Source, hazards: _Hazards, words: Mapping[str, str]) -> Iterator[Finding]:
    """Rules about words that are on no list."""
    for i, rule in enumerate(hazards.rule):
        for word in rule.words:
            if word not in words:
                near = nearest(word, words)
                mend = f"did you mean {near}" if near else "add a [[word]] for it"
                where = ("rule", i, "words")
                yield source.fault("S008", where, f"{shown(word)} is no composition word", mend)


def _merge(files: Sequence[_Hazards], words: Iterable[str]) -> dict[tuple[str, Method], Ruling]:
    """Each word and method with its strictest ruling; files[0] is the package's."""
    merged: dict[tuple[str, Method], Ruling] = {}
    for number, hazards in enumerate(files):
        if number == 1:
            merged = {
                (w, m): merged.get((w, m)) or default_ruling(w, m) for w in words for m in METHODS
            }
        for new in _rulings(hazards):
            pair = (new.word, new.method)
            merged[pair] = _stricter(merged[pair], new) if pair in merged else new
    return merged


def _rulings(hazards: _Hazards) -> Iterator[Ruling]:
    for r in hazards.rule:
        for word, method in product(r.words, r.methods):
            yield Ruling(word, method, r.verdict, r.why, r.source, frozenset(r.needs))


def _stricter(old: Ruling, new: Ruling) -> Ruling:
    if new.verdict.rank != old.verdict.rank:
        return max(old, new, key=lambda r: r.verdict.rank)
    needs = old.needs | new.needs
    return Ruling(old.word, old.method, old.verdict, old.why, old.source, needs)


def _tables(folder: Path) -> dict[str, Mapping[str, Any]]:
    """The packaged profiles of a folder as plain tables, by id without case."""
    return {f.stem.casefold(): read_toml(f).data for f in sorted(folder.glob("*.toml"))}


def _packaged_compositions(package: Path) -> dict[str, frozenset[str]]:
    """The words of each packaged material with those of what it is based on."""
    shelf = _tables(package / "materials")

    def words(material: str, seen: frozenset[str]) -> frozenset[str]:
        table = shelf.get(material, {})
        own = frozenset(table.get("composition", ()))
        base = str(table.get("based_on", material)).casefold()
        return own if base in seen else own | words(base, seen | {base})

    return {material: words(material, frozenset({material})) for material in shelf}
