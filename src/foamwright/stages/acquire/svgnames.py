"""What an SVG element is called and what role it states."""

from __future__ import annotations

from dataclasses import dataclass

from foamwright.stages.acquire.shapes import ROLES, role_of
from foamwright.stages.acquire.svgstyle import Element, local_name, words_of


@dataclass(frozen=True, slots=True)
class Names:
    """id; title: the label that a person gave, else the `title` child; role: stated or inherited.

    unknown: a `data-role` that isn't one of `ROLES`.
    """

    id: str
    title: str
    role: str | None
    unknown: str = ""

    @property
    def all(self) -> tuple[str, ...]:
        """The names by which a group is known; the last, its id, comes first in naming a piece."""
        return tuple(n for n in (self.title, self.id) if n)


def names_of(el: Element, inherited: str | None) -> Names:
    """The element's names; its role is `data-role`, else what id or title say, else inherited."""
    label = next((str(v) for k, v in el.attrib.items() if _is_label(str(k)) and v), "")
    title = label or _title(el)
    own = el.get("id") or ""
    stated = el.get("data-role")
    unknown = stated if stated is not None and stated not in ROLES else ""
    role = (stated if not unknown else None) or role_of(own) or role_of(title) or inherited
    return Names(own, title, role, unknown)


def _title(el: Element) -> str:
    return next((words_of(child) for child in el if local_name(child) == "title"), "")


def _is_label(attribute: str) -> bool:
    """`data-name`, `aria-label`, and `label` of any namespace but none: layer and object names."""
    return attribute in ("data-name", "aria-label") or attribute.endswith("}label")
