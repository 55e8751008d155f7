"""Zips that the desk gives out: the same files give the same bytes."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

#: Every file in a zip bears the first day that a zip can tell: no clock.
ZIP_DAY = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Made:
    """A file that was made. name: its file name.  sheet: the operator's sheet in it."""

    name: str
    data: bytes
    sheet: bytes = b""


def packed(stem: str, files: Iterable[tuple[str, Path]]) -> bytes:
    """A zip with one folder, `stem`, in which each file has the name given."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as made:
        for name, file in files:
            info = zipfile.ZipInfo(f"{stem}/{name}", ZIP_DAY)
            info.external_attr = 0o644 << 16
            info.compress_type = zipfile.ZIP_DEFLATED
            made.writestr(info, file.read_bytes())
    return held.getvalue()
