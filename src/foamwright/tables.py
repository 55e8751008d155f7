"""Tables for people at 80 columns: the terminal, harmless text, values in words.

Colour only on a terminal, and never where NO_COLOR is set.  Knows nothing of what is told.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import asdict, is_dataclass
from typing import Any, Literal

from pydantic import BaseModel
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from foamwright.names import readable

#: Columns where the output is no terminal.
COLUMNS = 80


def terminal(error: bool = False) -> Console:
    """Standard output, or standard error, whose lines are never broken."""
    stream = sys.stderr if error else sys.stdout
    width = None if stream.isatty() else COLUMNS
    return Console(file=stream, width=width, highlight=False, soft_wrap=error)


def safe(text: str) -> str:
    """Text from a file, made harmless for a terminal."""
    return escape(readable(text))


def new_table(*columns: str, right: Sequence[str] = (), whole: Sequence[str] = ()) -> Table:
    """right: columns set to the right; whole: columns whose words are never broken."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for column in columns:
        justify: Literal["left", "right"] = "right" if column in right else "left"
        table.add_column(column, justify=justify, overflow="fold", no_wrap=column in whole)
    return table


def plain(value: Any) -> Any:
    """Dataclasses and models as plain JSON values."""
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", by_alias=True)
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    return value


def said(value: Any) -> str:
    """A value in words, for a cell."""
    if isinstance(value, dict):
        return " ".join(f"{k} {said(v)}" for k, v in value.items())
    if isinstance(value, list):
        return ", ".join(said(v) for v in value)
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)
