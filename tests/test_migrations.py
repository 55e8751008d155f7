"""Profiles of older schemas still load and mean what they meant; newer ones are refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from foamwright.findings import Refused
from foamwright.migrations import migrated
from foamwright.profile_models import SCHEMA
from foamwright.profiles import Layer, Shelf
from foamwright.strict_toml import Source, read_toml

BOARD = """\
{schema}
name = "Board"
composition = ["card"]
composition_basis = "label"
thickness = "2 mm"
[[stock]]
kind = "sheet"
width = "420 mm"
length = "297 mm"
[[cut]]
method = "laser"
kerf = "0.2 mm"
basis = "measured"
source = "our coupon, 2025-01-03"
[[cut]]
method = "laser"
machine = "our-laser"
kerf = "0.18 mm"
basis = "measured"
source = "our coupon, 2025-02-03"
"""


def shelf(folder: Path, schema: str) -> Shelf:
    (folder / "materials").mkdir()
    (folder / "materials" / "board.toml").write_text(BOARD.format(schema=schema), encoding="utf-8")
    return Shelf((Layer("user", folder),))


@pytest.mark.parametrize("schema", ["", "schema = 1"])
def test_an_older_shelf_loads_and_an_unnamed_machines_measure_is_a_figure(
    tmp_path: Path, schema: str
) -> None:
    unnamed, named = shelf(tmp_path, schema).material("board").profile.cut
    assert (unnamed.kerf, unnamed.basis) == (0.2, "published")
    assert unnamed.source == "measured, nobody says on which machine: our coupon, 2025-01-03"
    assert (named.kerf, named.basis, named.source) == (0.18, "measured", "our coupon, 2025-02-03")


def test_the_present_schema_wants_the_machine_of_a_measurement(tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        shelf(tmp_path, f"schema = {SCHEMA}").material("board")
    (found,) = refused.value.findings
    assert (found.code, "line 10" in found.where) == ("J513", True)
    assert "machine" in found.what


def test_a_newer_schema_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        shelf(tmp_path, f"schema = {SCHEMA + 1}").material("board")
    (found,) = refused.value.findings
    assert (found.code, found.mend) == ("J547", "update foamwright")
    assert "line 1" in found.where


@pytest.mark.parametrize("schema", ["0", "-1", "true", '"1"', "1.5"])
def test_what_is_no_schema(tmp_path: Path, schema: str) -> None:
    with pytest.raises(Refused, match="whole number"):
        shelf(tmp_path, f"schema = {schema}").material("board")


def test_reading_rewrites_nothing_and_a_present_file_stays_as_it_is(tmp_path: Path) -> None:
    file = tmp_path / "materials" / "board.toml"
    shelf(tmp_path, "schema = 1").material("board")
    assert file.read_text("utf-8") == BOARD.format(schema="schema = 1")
    data = {"schema": SCHEMA, "cut": [{"method": "laser", "basis": "measured", "source": "x"}]}
    assert migrated(Source("x", data)).data == data
    assert read_toml(file).data["schema"] == 1
