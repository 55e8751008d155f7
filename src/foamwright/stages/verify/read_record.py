"""Reads `record.json` strictly: the schema, the checksum, plain file names, things that agree.

Does not open the cut files.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from typing import NoReturn

from pydantic import ValidationError

from foamwright.findings import Finding, fault
from foamwright.record import FileEntry, Record, checksum_of

#: The record's name in every folder.
RECORD = "record.json"
_AGAIN = "cut the job anew"


def read_record(data: bytes) -> tuple[Record | None, tuple[Finding, ...]]:
    """The record, or None where it can't be read, and what is wrong with it."""
    try:
        raw = json.loads(data.decode("utf-8"), parse_constant=_refuse)
        if not isinstance(raw, dict):
            raise ValueError("not a table")
        record = Record.model_validate_json(data, strict=True)
    except ValidationError as err:
        first = err.errors()[0]
        where = ".".join(str(p) for p in first["loc"])
        what = f"not a record ({where}: {first['msg']}, {err.error_count()} faults in all)"
        return None, (fault("V001", RECORD, what, _AGAIN),)
    except (ValueError, RecursionError) as err:
        return None, (fault("V001", RECORD, f"can't be read ({err})", _AGAIN),)
    findings = []
    if raw.get("checksum") != checksum_of(raw):
        findings.append(
            fault("V002", RECORD, "its checksum does not fit: it was edited after the cut", _AGAIN)
        )
    findings.extend(fault("V003", RECORD, what, _AGAIN) for what in disagreements(record))
    return record, tuple(findings)


def _refuse(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def disagreements(record: Record) -> Iterator[str]:
    """Where the record does not agree with itself."""
    names = [f"sheet {s.number}" for s in record.sheets]
    names += [p.copy_name for p in record.pieces] + [f.name for f in record.files]
    for name, count in Counter(names).items():
        if count > 1:
            yield f"{name} stands in it {count} times"
    for f in record.files:
        yield from _file_disagreements(f, record)


def _file_disagreements(f: FileEntry, record: Record) -> Iterator[str]:
    if (
        not f.name
        or any(c in "/\\:" or not c.isprintable() for c in f.name)
        or f.name in (".", "..")
    ):
        yield f"{f.name!r} is not a plain file name"
    sheet = next((s for s in record.sheets if s.number == f.sheet), None)
    if sheet is None:
        yield f"{f.name} is of sheet {f.sheet}, which it does not name"
    elif (sheet.material, sheet.machine) != (f.material, f.machine):
        yield f"{f.name} and its sheet {f.sheet} differ in material or machine"
    here = {p.copy_name for p in record.pieces if p.sheet == f.sheet}
    for name in sorted({c.copy_name for c in f.contours if c.copy_name} - here):
        yield f"{f.name} cuts {name}, which is not on its sheet"
    for name in sorted(here - {c.copy_name for c in f.contours if c.contour == "outline"}):
        yield f"{f.name} has no outline of {name}, which is on its sheet"
