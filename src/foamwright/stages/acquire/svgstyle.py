"""Which style holds for an SVG element: presentation attributes, `style` elements and attributes.

Covers what decides where and whether something is drawn (display, visibility, geometry,
transform) by the cascade of CSS 2.1 section 6.4: importance, origin, specificity, order.
Selectors: type, `*`, class, id, attribute, `:first-child`, `:root` and the four combinators.
At-rules other than `@media screen|all` are left out; an unknown selector is told, never guessed.
Colours and all other properties are not read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from lxml import etree

Element: TypeAlias = etree._Element

#: The properties that are read.
PROPERTIES = frozenset(
    (
        *("display", "visibility", "transform", "transform-origin", "clip-path", "mask"),
        *("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "d"),
        *(
            "translate",
            "rotate",
            "scale",
            "transform-box",
            "zoom",
            "fill",
            "stroke",
            "stroke-width",
        ),
    )
)

_COMMENT = re.compile(r"/\*.*?\*/|<!--|-->", re.DOTALL)
_SIMPLE = re.compile(
    r"""(?P<type>\*|[A-Za-z_][\w-]*)
    |\.(?P<cls>-?[A-Za-z_][\w-]*)
    |\#(?P<id>[\w-]+)
    |\[\s*(?P<attr>[\w:-]+)\s*(?:(?P<op>[~|^$*]?=)\s*(?P<q>["']?)(?P<val>.*?)(?P=q)\s*)?\]
    |:(?P<pseudo>first-child|root)""",
    re.VERBOSE,
)
_COMBINATOR = re.compile(r"\s*([>+~])\s*|\s+")
_SCREEN = re.compile(r"(all|screen)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Test:
    """One simple selector: kind is type, cls, id, pseudo or an operator on an attribute."""

    kind: str
    name: str
    value: str = ""

    def holds(self, el: Element) -> bool:
        match self.kind:
            case "type":
                return self.name == "*" or local_name(el) == self.name
            case "cls":
                return self.name in (el.get("class") or "").split()
            case "id":
                return el.get("id") == self.name
            case "pseudo":
                return el.getparent() is None if self.name == "root" else _before(el) is None
        return self._attribute_holds(el.get(self.name))

    def _attribute_holds(self, has: str | None) -> bool:
        want = self.value
        if has is None:
            return False
        return {
            "has": True,
            "=": has == want,
            "~=": want in has.split(),
            "|=": has == want or has.startswith(f"{want}-"),
            "^=": want != "" and has.startswith(want),
            "$=": want != "" and has.endswith(want),
            "*=": want != "" and want in has,
        }[self.kind]


@dataclass(frozen=True, slots=True)
class Selector:
    """Compounds from left to right, with the combinator that stands before each but the first."""

    compounds: tuple[tuple[Test, ...], ...]
    combinators: tuple[str, ...]

    @property
    def specificity(self) -> tuple[int, int, int]:
        kinds = [t.kind if t.name != "*" else "any" for c in self.compounds for t in c]
        ids, types = kinds.count("id"), kinds.count("type")
        return ids, len(kinds) - ids - types - kinds.count("any"), types

    def matches(self, el: Element) -> bool:
        return self._from(len(self.compounds) - 1, el)

    def _from(self, i: int, el: Element) -> bool:
        if not all(t.holds(el) for t in self.compounds[i]):
            return False
        if i == 0:
            return True
        return any(self._from(i - 1, other) for other in _reached(el, self.combinators[i - 1]))


def _reached(el: Element, combinator: str) -> Iterable[Element]:
    if combinator == " ":
        return el.iterancestors()
    if combinator == "~":
        return el.itersiblings(preceding=True)
    other = el.getparent() if combinator == ">" else _before(el)
    return () if other is None else (other,)


def _before(el: Element) -> Element | None:
    return next((e for e in el.itersiblings(preceding=True) if isinstance(e.tag, str)), None)


def local_name(el: Element) -> str:
    """The tag without its namespace; empty for comments and the like."""
    tag = el.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def words_of(el: Element) -> str:
    """All the text inside, with single spaces."""
    return " ".join("".join(str(t) for t in el.itertext()).split())


@dataclass(frozen=True, slots=True)
class Rule:
    selector: Selector
    order: int
    plain: Mapping[str, str]
    important: Mapping[str, str]


@dataclass(slots=True)
class StyleSheet:
    """All rules of a document. problems: what could not be understood, for people."""

    rules: list[Rule] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def add(self, text: str) -> None:
        """Rules of one `style` element, after those already there."""
        self._block(_COMMENT.sub(" ", text))

    def _block(self, text: str) -> None:
        at = 0
        while (brace := text.find("{", at)) >= 0:
            head = text[at:brace].strip()
            while head.startswith(("@import", "@charset", "@namespace")) and ";" in head:
                dropped, _, head = head.partition(";")
                head = head.strip()
                if dropped.startswith("@import"):
                    self.problems.append("@import (nothing is fetched)")
            end = _closing(text, brace)
            body = text[brace + 1 : end]
            at = end + 1
            if not head.startswith("@"):
                self._rule(head, body)
            elif head.startswith("@media") and _SCREEN.fullmatch(head[6:].strip()):
                self._block(body)

    def _rule(self, heads: str, body: str) -> None:
        plain, important = declarations(body)
        if not plain and not important:
            return
        for head in heads.split(","):
            selector = parse_selector(head.strip())
            if selector is None:
                self.problems.append(f"selector {head.strip()!r}")
            else:
                self.rules.append(Rule(selector, len(self.rules), plain, important))

    def style(self, el: Element) -> dict[str, str]:
        """The declared values that hold for the element (attributes not among them)."""
        hits = [r for r in self.rules if r.selector.matches(el)]
        hits.sort(key=lambda r: (r.selector.specificity, r.order))
        plain, important = declarations(el.get("style") or "")
        found: dict[str, str] = {}
        for layer in (*(r.plain for r in hits), plain, *(r.important for r in hits), important):
            found.update(layer)
        return found


def _closing(text: str, brace: int) -> int:
    depth = 0
    for at in range(brace, len(text)):
        depth += (text[at] == "{") - (text[at] == "}")
        if depth == 0:
            return at
    return len(text)


def parse_selector(text: str) -> Selector | None:
    """None where it holds anything that isn't known."""
    compounds: list[tuple[Test, ...]] = []
    combinators: list[str] = []
    tests: list[Test] = []
    at = 0
    while at < len(text):
        if found := _SIMPLE.match(text, at):
            if found["type"] and tests:
                return None
            tests.append(_test(found))
        elif (found := _COMBINATOR.match(text, at)) and tests:
            compounds.append(tuple(tests))
            combinators.append(found[1] or " ")
            tests = []
        else:
            return None
        at = found.end()
    return Selector((*compounds, tuple(tests)), tuple(combinators)) if tests else None


def _test(found: re.Match[str]) -> Test:
    for kind in ("type", "cls", "id", "pseudo"):
        if found[kind]:
            return Test(kind, found[kind])
    return Test(found["op"] or "has", found["attr"], found["val"] or "")


def declarations(text: str) -> tuple[dict[str, str], dict[str, str]]:
    """The known properties of a declaration list: plain and `!important`."""
    plain: dict[str, str] = {}
    important: dict[str, str] = {}
    for part in _COMMENT.sub(" ", text).split(";"):
        name, colon, value = part.partition(":")
        name, value = name.strip().lower(), value.strip()
        if not colon or name not in PROPERTIES or not value:
            continue
        bare, bang, word = value.rpartition("!")
        if bang and word.strip().lower() == "important":
            important[name] = bare.strip()
        else:
            plain[name] = value
    return plain, important
