"""One rule that makes file and layer names from the job's own names.

ASCII letters, digits, `-` and `_`; no name that an operating system keeps for itself; never empty.
Does not open files.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable

#: Names that Windows keeps for devices, whatever their ending (from memory).
RESERVED = frozenset(
    {"con", "prn", "aux", "nul"} | {f"{port}{n}" for port in ("com", "lpt") for n in range(10)}
)
#: Longest name made, characters: three of them and an ending stay below 255.
LONGEST = 60


def safe_name(text: str) -> str:
    """The name as ASCII without separators; the same text always gives the same name.

    A text without any usable character gives a name made from its hash.
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    name = re.sub(r"[^A-Za-z0-9_]+", "-", plain).strip("-")[:LONGEST].strip("-")
    if not name:
        return "x" + hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{name}-1" if name.lower() in RESERVED else name


def distinct_names(texts: Iterable[str]) -> tuple[str, ...]:
    """A safe name for each text, in order; those that differ only by case get `-2`, `-3`..."""
    taken: set[str] = set()
    names = []
    for text in texts:
        base = name = safe_name(text)
        number = 1
        while name.lower() in taken:
            number += 1
            name = f"{base}-{number}"
        taken.add(name.lower())
        names.append(name)
    return tuple(names)


def readable(text: str) -> str:
    """Text on one line for a terminal or a file: control and direction characters made visible."""
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text.replace("\n", " "))
