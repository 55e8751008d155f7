"""Strict reading of the TOML files that people write: every fault at once, each with its line.

A *source* is a file's tables as plain data with the line of every key.  `faults_of` says a pydantic
error in plain words.  Does not know what any key means; job files and profiles do.
"""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError

from foamwright.findings import Finding, Refused, fault
from foamwright.toml_lines import Key, KeyPath, index_lines, nearest

#: Largest job or profile that is read, bytes: thousands of pieces, and no memory bomb.
LARGEST = 8_000_000
#: What is opened to be read: a pipe or a device might never end (a folder gives its own error).
_READABLE = (stat.S_IFREG, stat.S_IFDIR)
#: Kinds of values in the file's terms, by pydantic's name of the error.
_KINDS = {
    "model_type": "must be a table",
    "dict_type": "must be a table",
    "tuple_type": "must be a list in brackets",
    "string_type": "must be text in quotes",
    "bool_type": "must be true or false",
}
#: Longest piece of the user's own text that a message repeats, characters.
SHOWN = 60


@dataclass(frozen=True)
class Source:
    """A TOML file's data. name: the file's name as messages show it. lines: of each key path."""

    name: str
    data: Mapping[str, Any]
    lines: Mapping[KeyPath, int] = field(default_factory=lambda: MappingProxyType({}))

    def line(self, path: KeyPath) -> int | None:
        """The line of the key, or of the nearest table or list that would hold it."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return None

    def where(self, path: KeyPath) -> str:
        """`job.toml line 14 [[piece]] sole.allowanc`."""
        line = self.line(path)
        place = _place(self.data, path)
        return " ".join(x for x in (self.name, f"line {line}" if line else "", place) if x)

    def fault(self, code: str, path: KeyPath, what: str, mend: str = "") -> Finding:
        return fault(code, self.where(path), what, mend)


def shown(text: object) -> str:
    """The user's own text, fit for one line of a message."""
    line = "".join(c if c.isprintable() else "?" for c in str(text))
    return line if len(line) <= SHOWN else line[: SHOWN - 3] + "..."


def _place(data: Mapping[str, Any], path: KeyPath) -> str:
    """The path in the file's own terms: its table, the name of the item, and the keys below."""
    head, rest = "", path
    if len(path) > 1 and isinstance(path[1], int):
        item = at(data, path[:2])
        name = item.get("name") if isinstance(item, Mapping) else None
        head = f"[[{path[0]}]] {shown(name) if isinstance(name, str) else path[1] + 1}"
        rest = path[2:]
    elif len(path) > 1:
        head, rest = f"[{path[0]}]", path[1:]
    keys = ""
    for key in rest:
        keys += f" {key + 1}" if isinstance(key, int) else f".{shown(key)}"
    if head.startswith("[["):
        return head + keys
    return f"{head} {keys.lstrip('.')}".strip()


def at(data: Any, path: KeyPath) -> Any:
    """What the data holds at a path, or None."""
    for key in path:
        try:
            data = data[key]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def read_toml(file: Path) -> Source:
    """A file's data and lines. Raises Refused (J501, J502) where it can't be read as TOML."""
    text = _read(file)
    try:
        data = tomllib.loads(text)
        return Source(file.name, data, index_lines(text))
    except RecursionError:
        raise Refused([fault("J502", file.name, "is nested too deep", "flatten it")]) from None
    except ValueError as e:
        found = re.fullmatch(r"(.*?)\s*\(at (?:line (\d+), column (\d+)|end of document)\)", str(e))
        said, line = (found[1], found[2]) if found else (str(e), None)
        where = f"{file.name} line {line or text.count(chr(10)) + 1}"
        what = f"not TOML: {shown(said[:1].lower() + said[1:])}"
        raise Refused([fault("J502", where, what, "mend the line")]) from None


def _read(file: Path) -> str:
    def refused(what: str, mend: str) -> Refused:
        return Refused([fault("J501", shown(file.name), what, mend)])

    try:
        if stat.S_IFMT(os.stat(file).st_mode) not in _READABLE:
            raise refused("is no plain file", "name a readable file")
        with file.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = e.object.count(b"\n", 0, e.start) + 1
        raise refused(f"line {line} is not UTF-8 text", "save it as UTF-8") from None
    except FileNotFoundError:
        raise refused("there is no such file", "check the name") from None
    except OSError as e:
        raise refused(f"can't be read ({e.strerror})", "name a readable file") from None
    except ValueError:
        raise refused("is no file's name", "check the name") from None
    if len(raw) > LARGEST:
        raise refused(f"is larger than {LARGEST // 1_000_000} MB", "a job or profile is far less")
    return text.replace("\r\n", "\n")


def faults_of(
    error: ValidationError, source: Source, model: type[BaseModel], partial: bool = False
) -> Iterator[Finding]:
    """Each of pydantic's errors as a finding: J503 unknown, J504 missing, J505 not fitting.

    partial: the file may lack whole keys of its top, since it takes them from elsewhere.
    """
    for e in error.errors(include_url=False):
        path: KeyPath = tuple(k for k in e["loc"] if k != "[key]")
        if partial and e["type"] == "missing" and len(path) == 1:
            continue
        if e["type"] == "too_short" and at(source.data, path):
            continue  # its items are there and have faults of their own
        if e["type"] == "extra_forbidden":
            near = nearest(str(path[-1]), keys_at(model, path[:-1]))
            mend = f"did you mean {near}" if near else _keys_there(model, path[:-1])
            yield source.fault("J503", path, "unknown key", mend)
        elif e["type"] == "missing":
            mend = f"add [[{path[0]}]]" if _wants_tables(model, path) else "add it"
            yield source.fault("J504", path, "is required and missing", mend)
        elif e["type"] in ("tuple_type", "list_type") and _wants_tables(model, path):
            mend = f"write it as [[{'.'.join(k for k in path if isinstance(k, str))}]]"
            yield source.fault("J505", path, "must be a list of tables", mend)
        else:
            yield source.fault("J505", path, _wrong_value(dict(e)), _offer(dict(e)))


def _keys_there(model: type[BaseModel], path: KeyPath) -> str:
    keys = sorted(keys_at(model, path))
    return f"known here are {', '.join(keys)}" if keys else "remove it"


def _wrong_value(e: dict[str, Any]) -> str:
    context = e.get("ctx", {})
    if e["type"] == "value_error":
        return str(context["error"])
    said = str(e["msg"]).replace("Input should", "must").replace("valid ", "")
    said = _KINDS.get(e["type"], said.replace(" after validation", "").replace("Tuple", "the list"))
    value = e["input"]
    if isinstance(value, str | int | float):
        said += f", not {shown(repr(value))}"
    return said[:1].lower() + said[1:]


def _offer(e: dict[str, Any]) -> str:
    """The nearest allowed word, where the value is one of a list."""
    if e["type"] != "literal_error" or not isinstance(e["input"], str):
        return ""
    allowed = re.findall(r"'([^']*)'", str(e["ctx"]["expected"]))
    near = nearest(e["input"], allowed)
    return f"did you mean {near}" if near else ""


def _wants_tables(model: type[BaseModel], path: KeyPath) -> bool:
    """Whether the path is a list of tables."""
    kind = _annotation(model, path)
    return get_origin(kind) is tuple and isinstance(_model_in((*get_args(kind), None)[0]), type)


def keys_at(model: type[BaseModel], path: KeyPath) -> tuple[str, ...]:
    """The keys that a table at this path of a model may have; none where it has no set of keys."""
    table = _model_in(_annotation(model, path))
    if table is None:
        return ()
    return tuple(f.alias or name for name, f in table.model_fields.items())


def _annotation(model: type[BaseModel], path: KeyPath) -> Any:
    kind: Any = model
    for key in path:
        kind = _step(kind, key)
    return kind


def _step(kind: Any, key: Key) -> Any:
    table = _model_in(kind)
    if table is not None and isinstance(key, str):
        for name, f in table.model_fields.items():
            if key == (f.alias or name):
                return f.annotation
        return None
    arguments = get_args(kind)
    if get_origin(kind) is tuple and arguments:
        return arguments[0]
    return arguments[1] if get_origin(kind) is dict else None


def _model_in(kind: Any) -> type[BaseModel] | None:
    """The table that an annotation stands for, through `| None` and the like."""
    if isinstance(kind, type) and get_origin(kind) is None:
        return kind if issubclass(kind, BaseModel) else None
    if get_origin(kind) in (tuple, dict, list, Literal):
        return None
    return next(filter(None, map(_model_in, get_args(kind))), None)
