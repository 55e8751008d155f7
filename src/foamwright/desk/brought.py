"""Files that come to the desk: bounded, under harmless names, of the few kinds that it knows.

A zip is unpacked to the files that stand beside its job, never to a path that it names.
Does not read drawings or jobs.
"""

from __future__ import annotations

import io
import tomllib
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import PurePosixPath

from foamwright.errors import FoamwrightError
from foamwright.hazards import HAZARDS
from foamwright.names import safe_name
from foamwright.strict_toml import shown

#: Bytes of one file, and of all together, that the desk takes in.
MOST_BYTES, MOST_IN_ALL = 20_000_000, 60_000_000
#: Files that may lie on the desk at once.
MOST_FILES = 40
DRAWINGS = (".svg", ".dxf")
_PROFILES = ("profiles", "profiles/materials", "profiles/machines")
JOB, LAYOUT, ZIP = ".toml", ".layout.json", ".zip"


class Unwelcome(FoamwrightError):
    """A file that the desk doesn't take; the text says why and what to do."""


def harmless(name: str) -> str:
    """A plain file name: no folder, ASCII letters, digits, `-` and `_`, and a known ending.

    Raises Unwelcome for another kind of file.
    """
    last = name.replace("\\", "/").rpartition("/")[2]
    low = last.lower()
    ending = next((e for e in (LAYOUT, *DRAWINGS, JOB, ZIP) if low.endswith(e)), "")
    if not ending:
        raise Unwelcome(f"{shown(last)}: bring an SVG or DXF drawing, a job.toml or a desk's zip")
    return safe_name(last[: -len(ending)]) + ending


def welcome(name: str, size: int, there: Mapping[str, int]) -> None:
    """Raises Unwelcome where the file, beside those that are there, is too much.

    there: sizes in bytes by name; a file of the same name is replaced.
    """
    others = {n: s for n, s in there.items() if n.lower() != name.lower()}
    if size > MOST_BYTES:
        most = f"{MOST_BYTES / 1e6:.0f} MB"
        raise Unwelcome(f"{name}: holds {size / 1e6:.1f} MB, and the desk takes {most} at most")
    if size == 0:
        raise Unwelcome(f"{name}: is empty; export it again")
    if len(others) + 1 > MOST_FILES:
        raise Unwelcome(f"{name}: {MOST_FILES} files lie here already; clear the desk first")
    if sum(others.values()) + size > MOST_IN_ALL:
        most = f"{MOST_IN_ALL / 1e6:.0f} MB"
        raise Unwelcome(f"{name}: all files together would pass {most}; clear the desk first")


def place_of(name: str, data: bytes) -> str:
    """Where a file stands beside its job; empty for the job itself.

    A TOML file tells by its keys whether it is a profile; what can't be read is taken for a job,
    whose reader tells why.
    """
    if not name.endswith(JOB):
        return name
    try:
        keys = tomllib.loads(data.decode("utf-8")).keys()
    except ValueError:
        return ""
    if keys & {"job", "piece"}:
        return ""
    if name.lower() == HAZARDS and keys & {"word", "rule"}:
        return f"profiles/{HAZARDS}"
    if keys & {"method", "reach", "feed", "applies"}:
        return f"profiles/machines/{name}"
    known = {"composition", "thickness", "stock", "cut", "based_on"}
    return f"profiles/materials/{name}" if keys & known else ""


def unpacked(name: str, data: bytes) -> tuple[tuple[str, bytes], ...]:
    """The files of a zip that the desk knows, harmless names and bytes, the job last.

    Those beside its job with its profiles, or without a job those of its outermost folder.
    Raises Unwelcome where it is broken, locked or too much.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            found = dict(_beside_the_job(packed.infolist()))
            sizes: dict[str, int] = {}
            files = []
            for inner, info in found.items():
                welcome(inner, max(1, info.file_size), sizes)
                with packed.open(info) as stream:
                    content = stream.read(MOST_BYTES + 1)
                welcome(inner, len(content), sizes)
                sizes[inner] = len(content)
                files.append((inner, content))
    except (zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, NotImplementedError) as why:
        raise Unwelcome(f"{name}: can't be unpacked ({why})") from why
    if not files:
        raise Unwelcome(f"{name}: holds no drawing and no job")
    return tuple(sorted(files, key=lambda f: not place_of(*f)))


def _beside_the_job(infos: Iterable[zipfile.ZipInfo]) -> Iterator[tuple[str, zipfile.ZipInfo]]:
    known = []
    for info in infos:
        try:
            known.append((PurePosixPath(info.filename), harmless(info.filename), info))
        except Unwelcome:
            continue
    known = [k for k in known if not k[2].is_dir() and not k[1].endswith(ZIP)]
    depth = {path.parent: len(path.parts) for path, _, _ in known}
    jobs = [p.parent for p, inner, _ in known if inner.endswith(JOB)]
    home = min(jobs or depth, key=lambda folder: depth[folder], default=None)
    taken: set[str] = set()
    homes = [home, *(home / p for p in _PROFILES)] if home else []
    for path, inner, info in known:
        if path.parent in homes and inner.lower() not in taken:
            taken.add(inner.lower())
            yield inner, info
