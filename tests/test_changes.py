"""A job cut again with a changed profile says what changed, in one table, before it cuts."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from foamwright import pipeline
from foamwright.changes import Change, changes
from foamwright.cli import main
from foamwright.findings import Refused
from foamwright.record import ProfileEntry, ValueEntry

from .jobs import Written, job


@pytest.fixture
def user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FOAMWRIGHT_PROFILES", str(tmp_path / "shelf"))
    return tmp_path / "shelf"


def cut(written: Written, *more: str) -> Result:
    words = ["cut", written.file, "--out", written.folder / "out", "--layout-time", "0", *more]
    return CliRunner().invoke(main, [str(w) for w in words])


def record_kerf(*readings: str) -> None:
    words = ["profile", "record", "card-1mm", "--machine", "desk-laser-600", "--key", "kerf"]
    ran = CliRunner().invoke(main, [*words, *(w for r in readings for w in ("--reading", r))])
    assert ran.exit_code == 0, ran.stderr


def test_a_measured_kerf_is_told_before_the_next_cut(user: Path, tmp_path: Path) -> None:
    written = job(tmp_path / "job")
    assert "Changed" not in cut(written).stdout
    assert "Changed" not in cut(written).stdout
    record_kerf("0.17", "0.18")
    ran = cut(written)
    assert ran.exit_code == 0, ran.stderr
    table, _, rest = ran.stdout.partition("\n\n")
    assert table.startswith("Changed in the profiles since this folder was last cut:")
    row = next(x for x in table.splitlines() if "cut.kerf" in x)
    assert "0.2" in row
    assert "0.175" in row
    words = " ".join(table.split())
    assert "(estimate)" in words
    assert "(measured)" in words
    assert "user:materials" in words
    assert "cut.speed" not in table
    assert "proven" in rest, "the table stands before all that is told of the cut"
    assert "Changed" not in cut(written).stdout, "told once: the record has it now"


def test_it_is_told_to_programs_too(user: Path, tmp_path: Path) -> None:
    written = job(tmp_path / "job")
    cut(written)
    record_kerf("0.17", "0.18")
    told = json.loads(cut(written, "--json").stdout)["changes"]
    assert [(c["key"], c["was"], c["now"]) for c in told] == [
        ("cut.kerf", "0.2 (estimate)", "0.175 (measured)")
    ]


def test_it_is_told_before_anything_is_written(user: Path, tmp_path: Path) -> None:
    written = job(tmp_path / "job")
    out = tmp_path / "out"
    pipeline.cut(written.request, out)
    old = {f.name: f.read_bytes() for f in out.iterdir()}
    record_kerf("0.17", "0.18")
    seen: list[tuple[Change, ...]] = []

    def look(changed: tuple[Change, ...]) -> None:
        seen.append(changed)
        assert {f.name: f.read_bytes() for f in out.iterdir()} == old
        raise Refused([])

    with pytest.raises(Refused):
        pipeline.cut(written.request, out, before=look)
    assert [c.key for c in seen[0]] == ["cut.kerf"]
    assert {f.name: f.read_bytes() for f in out.iterdir()} == old


def entry(kind: str, name: str, **values: object) -> ProfileEntry:
    told = tuple(
        ValueEntry(key=k.replace("__", "."), value=v, origin="package:x") for k, v in values.items()
    )
    return ProfileEntry(kind=kind, id=name, values=told)  # type: ignore[arg-type]


def test_what_came_and_what_went_is_told_and_other_profiles_are_not() -> None:
    before = [
        entry("material", "card", thickness=1.0, hold=["carrier"], cut__method="laser",
              cut__kerf=0.2, cut__basis="estimate"),
        entry("machine", "old", travel_speed=300.0),
    ]  # fmt: skip
    now = [
        entry("material", "card", thickness=1.1, hold=[], cut__method="laser", cut__kerf=0.2,
              cut__basis="published", cut__speed=20.0),
        entry("machine", "new", travel_speed=400.0),
    ]  # fmt: skip
    assert [(c.key, c.was, c.now) for c in changes(before, now)] == [
        ("thickness", "1", "1.1"),
        ("cut.kerf", "0.2 (estimate)", "0.2 (published)"),
        ("cut.speed", "", "20 (published)"),
        ("hold", "carrier", ""),
    ]
    assert changes(before, before) == ()
