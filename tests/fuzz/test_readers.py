"""Made-up and mangled files through every reader: an answer or a finding, never a traceback.

    FOAMWRIGHT_FUZZ_SECONDS=1800 python -m pytest tests/fuzz

gives each reader half an hour; the ordinary run gives each a quarter of a minute.  What was found
stands as a named test beside its reader.
"""

from __future__ import annotations

import cmath
import math
import os
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from foamwright.findings import Finding, Refused, note
from foamwright.hazards import load_rules
from foamwright.job import load_job
from foamwright.model import Drawing
from foamwright.profiles import Layer, Shelf, packaged_profiles
from foamwright.stages.acquire import read_drawing
from foamwright.stages.save.preview import preview_svg
from tests.fuzz.texts import Made, altered_toml, dxf_text, mangled, svg_text

#: Seconds for each reader.
SECONDS = float(os.environ.get("FOAMWRIGHT_FUZZ_SECONDS", "15"))
#: Made-up files between two looks at the clock.
ROUND = 25
ROOT = Path(__file__).parent.parent.parent


def told_well(findings: Iterable[Finding]) -> None:
    """Each on one line that a terminal can bear."""
    for f in findings:
        assert f.line().isprintable(), f


def drawing(file: Path) -> None:
    for mend in (False, True):
        sound(*read_drawing(file, mend_crossings=mend))


def sound(read: Drawing, findings: Iterable[Finding]) -> None:
    told_well(findings)
    assert all(cmath.isfinite(p) for f in findings for p in f.spots)
    preview_svg(read, tuple(findings))
    for piece in read.pieces:
        paths = (piece.outline, *(o.path for o in piece.openings), *(s.path for s in piece.slits))
        assert all(map(math.isfinite, (v for p in paths for v in p.bounds)))
        assert piece.outline.area > 0
        assert piece.name.isprintable()


def refusing(read: Callable[[Path], object]) -> Callable[[Path], None]:
    def reader(file: Path) -> None:
        told: tuple[Finding, ...] = (note("R001", "no refusal", ""),)
        try:
            read(file)
        except Refused as why:
            told = why.findings
        assert told
        told_well(told)

    return reader


def shelf(file: Path) -> Shelf:
    return Shelf((Layer("package", packaged_profiles()),), file.parent)


def toml(path: str) -> Made:
    return altered_toml((ROOT / path).read_text("utf-8"))


def rules(file: Path) -> object:
    return load_rules((file.parent, packaged_profiles()))


READERS: dict[str, tuple[str, Made, Callable[[Path], None]]] = {
    "svg": ("drawing.svg", svg_text(), drawing),
    "dxf": ("drawing.dxf", dxf_text(), drawing),
    "job": ("job.toml", toml("examples/heron/job.toml"), refusing(load_job)),
    "material": (
        "material.toml",
        toml("profiles/materials/fleece-2mm.toml"),
        refusing(lambda file: shelf(file).material(str(file))),
    ),
    "machine": (
        "machine.toml",
        toml("profiles/machines/desk-laser-600.toml"),
        refusing(lambda file: shelf(file).machine(str(file))),
    ),
    "hazards": ("hazards.toml", toml("profiles/hazards.toml"), refusing(rules)),
}


@pytest.mark.parametrize("reader", READERS)
def test_whatever_is_in_a_file(reader: str, tmp_path: Path) -> None:
    name, texts, read = READERS[reader]
    file = tmp_path / name
    tried = 0

    def one(data: bytes) -> None:
        nonlocal tried
        tried += 1
        file.write_bytes(data)
        read(file)

    end = time.monotonic() + SECONDS
    number = 0
    while time.monotonic() < end:
        rounds = given(mangled(texts))(one)
        seed(number)(
            settings(
                max_examples=ROUND,
                deadline=None,
                database=None,
                phases=(Phase.generate, Phase.shrink),
                suppress_health_check=list(HealthCheck),
            )(rounds)
        )()
        number += 1
    assert tried > ROUND / 2
    print(f"{reader}: {tried} files")
