"""Where the packaged shelf of profiles lies, and files that every shelf may add to.

The wheel carries it as `foamwright/profiles`; a source tree has it as `profiles/` at the top.
Does not know what the files mean, nor which shelves there are.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from foamwright.findings import Finding, Refused
from foamwright.strict_toml import Source, faults_of, read_toml

Shape = TypeVar("Shape", bound=BaseModel)


class Table(BaseModel):
    """A table of a shelf's file: no unknown keys, nothing changes after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def packaged_profiles() -> Path:
    """The folder of the packaged profiles, hazards and checklist.

    Raises FileNotFoundError where the installation is broken and has none.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "profiles", package.parent.parent / "profiles"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError("the packaged profiles are missing: install foamwright again")


def read_shelves(
    name: str, folders: Sequence[Path], shape: type[Shape]
) -> tuple[tuple[Source, Shape], ...]:
    """The packaged file of this name, then those of the folders that have one.

    Raises Refused with every fault of every file, each with its file and line.
    """
    package = packaged_profiles()
    shops = [f / name for f in folders if os.path.realpath(f) != os.path.realpath(package)]
    read: list[tuple[Source, Shape]] = []
    faults: list[Finding] = []
    for file in (package / name, *(f for f in shops if os.path.lexists(f))):
        try:
            source = replace(read_toml(file), name=str(file))
            read.append((source, shape.model_validate(source.data)))
        except ValidationError as e:
            faults.extend(faults_of(e, source, shape))
        except Refused as e:
            faults.extend(e.findings)
    if faults:
        raise Refused(faults)
    return tuple(read)
