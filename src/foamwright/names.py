"""One rule that makes file and layer names from people's names.

ASCII letters, digits, `-` and `_`; lower case for files; no name that an operating system reserves;
no two names alike but for case.  The same input gives the same names.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

#: Device names that Windows keeps for itself whatever the extension (Microsoft's naming rules).
RESERVED = frozenset(
    ["con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))]
)
#: Longest stem, in characters: far below every file system's 255 bytes with number and extension.
LONGEST = 80


def file_stem(text: str) -> str:
    """A harmless lower-case stem for a file; `part` where nothing of the text remains."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^A-Za-z0-9_]+", "-", plain).strip("-_").lower()[:LONGEST].rstrip("-_")
    if not stem:
        return "part"
    return f"{stem}-file" if stem in RESERVED else stem


def distinct(names: Iterable[str]) -> tuple[str, ...]:
    """The names with `-2`, `-3`, ... added to those that fall together with an earlier one."""
    taken: set[str] = set()
    made = []
    for name in names:
        tried, n = name, 1
        while tried.lower() in taken:
            n += 1
            tried = f"{name}-{n}"
        taken.add(tried.lower())
        made.append(tried)
    return tuple(made)


def readable(text: str) -> str:
    """Text for a terminal or a file's comment: control and direction characters made visible."""
    return "".join(
        c if c.isprintable() or c == " " else f"\\x{ord(c):02x}" for c in text.replace("\n", " ")
    )
