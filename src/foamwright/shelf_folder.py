"""Where the packaged shelf of profiles lies, and how a shelf's own files are read: strictly.

The wheel carries it as `foamwright/profiles`; a source tree has it as `profiles/` at the top.
A fault names its file and line.  Does not know what the files mean, nor which shelves there are.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from foamwright.findings import Refused, fault


class Table(BaseModel):
    """A table of a shelf's file: no unknown keys, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")


T = TypeVar("T", bound=BaseModel)


def packaged_profiles() -> Path:
    """The folder of the packaged profiles, hazards and checklist.

    Raises FileNotFoundError where the installation is broken and has none.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "profiles", package.parent.parent / "profiles"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError("the packaged profiles are missing: install foamwright again")


def read_strictly(file: Path, shape: type[T], code: str) -> T:
    """A TOML file as `shape`. Raises Refused with every fault, each with its file and line."""
    text = read_text(file, code)
    try:
        return shape.model_validate(as_tables(file, text, code))
    except ValidationError as e:
        raise Refused(
            fault(code, f"{file}:{line_of(text, x['loc'])}", said(x["loc"], x["msg"]), "mend it")
            for x in e.errors()
        ) from None


def read_text(file: Path, code: str) -> str:
    """The file's text. Raises Refused where it can't be read."""
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as e:
        raise Refused([fault(code, str(file), f"can't be read: {e}", "mend it")]) from None


def as_tables(file: Path, text: str, code: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        raise Refused([fault(code, str(file), f"is no TOML: {e}", "mend it")]) from None


def said(loc: tuple[int | str, ...], message: str) -> str:
    keys = [str(k) for k in loc if isinstance(k, str)]
    return f"{'.'.join(keys)}: {message[0].lower()}{message[1:]}"


def line_of(text: str, loc: Sequence[int | str]) -> int:
    """The line where a table of an array, or its key, stands: loc is such as (rule, 3, verdict)."""
    lines = text.splitlines()
    if len(loc) < 2 or not isinstance(loc[1], int):
        return next((i for i, s in enumerate(lines, 1) if s.startswith(str(loc[0]))), 1)
    head = re.compile(rf"\s*\[\[\s*{re.escape(str(loc[0]))}\s*\]\]")
    heads = [i for i, s in enumerate(lines, 1) if head.match(s)]
    if loc[1] >= len(heads):
        return 1
    start = heads[loc[1]]
    for i, s in enumerate(lines[start:], start + 1):
        if s.lstrip().startswith("["):
            break
        if len(loc) > 2 and re.match(rf"\s*{re.escape(str(loc[2]))}\s*=", s):
            return i
    return start


def tables(folder: Path) -> list[tuple[str, dict[str, Any]]]:
    """The packaged profiles of a folder by id, as plain tables. Raises Refused on a broken one."""
    files = sorted(folder.glob("*.toml"))
    return [(f.stem, as_tables(f, read_text(f, "S008"), "S008")) for f in files]


def nearest(word: str, words: Iterable[str]) -> str:
    """`did you mean x?`, or nothing where no known word is near."""
    near = get_close_matches(word, sorted(words), n=1)
    return f"did you mean {near[0]}?" if near else ""
