"""The proof can fail: compensation broken from inside, and written files changed afterwards.

Each break is a mistake that a compensation could make.  The unbroken jobs pass; a broken one must
be refused by the proof itself (codes V), with the piece named, and leave nothing behind.
"""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.cli import main
from foamwright.findings import Refused
from foamwright.geometry.affine import Affine
from foamwright.model import Cut, Tool
from foamwright.stages import compensate
from foamwright.stages.compensate import drag_knife, laser, oscillating_knife, pivot, pivot_loop

from .jobs import PAIRS, Written, job
from .stages.verify.proof_bench import amend, edit

PIECE = "plate/drawn/1"
Patch = Callable[[pytest.MonkeyPatch], None]


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Written]:
    """A job of one plate for each method, cut once: the layout is kept beside it."""
    made = {}
    for method, (material, machine) in PAIRS.items():
        made[method] = job(tmp_path_factory.mktemp(method), material, machine)
        result = pipeline.cut(made[method].request, made[method].folder / "good")
        assert result.record.verification is not None
        assert result.record.verification.passed
        assert [p.copy_name for p in result.record.verification.pieces] == [PIECE]
        assert result.record.verification.worst_deviation_mm <= 0.01
    return made


# Breaks.  Each is put into the module that does the step.


def with_tool(method: str, **values: Any) -> Patch:
    """Compensation that believes in another tool than the one that cuts."""
    return wrapped(method, lambda tool: replace(tool, **values), lambda cut: cut)


def with_cut(method: str, change: Callable[[Cut], Cut | None]) -> Patch:
    """Compensation whose cuts come out changed, or not at all."""
    return wrapped(method, lambda tool: tool, change)


def wrapped(
    method: str, tool_of: Callable[[Tool], Tool], change: Callable[[Cut], Cut | None]
) -> Patch:
    true = compensate._METHODS[method]

    def broken(sheet: Any, tool: Tool, *rest: Any) -> Any:
        cuts, _ = true(sheet, tool_of(tool), *rest)
        # the path alone: another entry would be another path
        plain = (replace(c, entries=()) for c in cuts)
        return [c for c in map(change, plain) if c is not None], []

    return lambda patch: patch.setitem(compensate._METHODS, method, broken)


def beam_moved_by(factor: float) -> Patch:
    """The beam's way at another distance than half a kerf, and nobody there to judge it."""
    true = laser.offset_target

    def put(patch: pytest.MonkeyPatch) -> None:
        patch.setattr(laser, "offset_target", lambda c, d, t: true(c, factor * d, t))
        patch.setattr(laser, "judged", lambda *_: iter(()))

    return put


def no_swivels(patch: pytest.MonkeyPatch) -> None:
    for module in (pivot, pivot_loop, drag_knife):
        patch.setattr(module, "swing", lambda *_: ())


def no_run_ins(patch: pytest.MonkeyPatch) -> None:
    for search in ("find_run_in", "alignment_stroke"):
        patch.setattr(drag_knife, search, lambda *_: None)
    for entries in ("run_in_entries", "set_down_entries"):
        patch.setattr(drag_knife, entries, lambda *_: ())
    patch.setattr(drag_knife, "_aligned", lambda sheet, tool, ground, made: (made, []))


def ending_early(by: float) -> Callable[[Cut], Cut]:
    """Contours that end so many mm before they would."""
    return lambda cut: replace(cut, path=cut.path.between(0.0, cut.path.length - by))


def eye_not_closed(cut: Cut) -> Cut:
    """The opening of 10 mm radius run for 0.3 mm less than its way round."""
    if not cut.contour.startswith("opening"):
        return cut
    return replace(cut, path=cut.path.between(0.0, 20 * math.pi - 0.3))


def no_run_ons(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(oscillating_knife, "run_on", lambda *_: 0.0)
    patch.setattr(oscillating_knife, "_short", lambda *_: 0.0)


def run_ons_whatever_is_there(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(oscillating_knife, "run_on", lambda run, length, ground: length)


def scaled(cut: Cut) -> Cut:
    """A thousandth larger about its own middle, as a mistaken unit or a wrong fit would have it."""
    low_x, low_y, high_x, high_y = cut.path.bounds
    middle = complex(low_x + high_x, low_y + high_y) / 2
    away = Affine.translation(middle) @ Affine.scaling(1.001) @ Affine.translation(-middle)
    return replace(cut, path=cut.path.transformed(away))


def mirrored(cut: Cut) -> Cut:
    """The other hand: turned over about its own middle."""
    low_x, _, high_x, _ = cut.path.bounds
    over = Affine.translation(complex(low_x + high_x)) @ Affine.scaling(-1, 1)
    path = cut.path.transformed(over)
    return replace(cut, path=path.reversed() if path.closed else path)


def without_opening(cut: Cut) -> Cut | None:
    return None if cut.contour.startswith("opening") else cut


def without_outline(cut: Cut) -> Cut | None:
    return None if cut.contour == "outline" else cut


BREAKS: dict[str, tuple[str, Patch]] = {
    "the offset's sign is flipped": ("laser", beam_moved_by(-1.0)),
    "the kerf is applied twice": ("laser", beam_moved_by(2.0)),
    "the kerf is forgotten": ("laser", with_tool("laser", kerf=0.0)),
    "the kerf is a tenth too wide": ("laser", with_tool("laser", kerf=0.23)),
    "the blade offset is dropped": ("drag-knife", with_tool("drag-knife", blade_offset=0.0)),
    "the blade offset is 0.1 mm short": ("drag-knife", with_tool("drag-knife", blade_offset=0.4)),
    "the blade offset is 0.1 mm long": ("drag-knife", with_tool("drag-knife", blade_offset=0.6)),
    "the swivels are dropped": ("drag-knife", no_swivels),
    "the run-ins are dropped": ("drag-knife", no_run_ins),
    "the tip stops before it closes": ("drag-knife", with_cut("drag-knife", ending_early(2.3))),
    "the overrun is skipped": ("oscillating-knife", no_run_ons),
    "the overrun is halved": ("oscillating-knife", with_tool("oscillating-knife", overrun=1.0)),
    "the stroke stops before it closes": (
        "oscillating-knife",
        with_cut("oscillating-knife", eye_not_closed),
    ),
    "strokes run on into the piece": ("oscillating-knife", run_ons_whatever_is_there),
}
for _method in PAIRS:
    BREAKS[f"{_method}: scaled by 1.001"] = (_method, with_cut(_method, scaled))
    BREAKS[f"{_method}: mirrored"] = (_method, with_cut(_method, mirrored))
    BREAKS[f"{_method}: no opening"] = (_method, with_cut(_method, without_opening))


@pytest.mark.parametrize("name", BREAKS)
def test_the_proof_refuses_a_broken_compensation(
    name: str, jobs: dict[str, Written], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    method, put = BREAKS[name]
    put(monkeypatch)
    with pytest.raises(Refused) as stop:
        pipeline.cut(jobs[method].request, tmp_path / "out")
    faults = [f for f in stop.value.findings if f.is_fault]
    assert {f.code[0] for f in faults} == {"V"}, [f.line() for f in faults]
    assert PIECE in {f.piece for f in faults}, [f.line() for f in faults]
    assert list(tmp_path.iterdir()) == []


def test_an_outline_that_is_not_cut_is_refused(
    jobs: dict[str, Written], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The record names the cuts that were made, so it is the record that must not agree."""
    with_cut("laser", without_outline)(monkeypatch)
    with pytest.raises(Refused) as stop:
        pipeline.cut(jobs["laser"].request, tmp_path / "out")
    assert PIECE in {f.piece for f in stop.value.findings if f.is_fault}
    assert list(tmp_path.iterdir()) == []


# Changes to written files, with every hash made to fit: the geometry itself must tell


def text_of(folder: Path, kind: str) -> str:
    (file,) = folder.glob(f"*.{kind}")
    return file.name


def in_inches(text: str) -> str:
    """The page said to be in inches, the numbers left."""
    return re.sub(r'(width|height)="([\d.]+)mm"', r'\1="\2in"', text)


def drawn_in_inches(text: str) -> str:
    """Every coordinate of a DXF in inches, where the record has mm."""
    head, entities = text.split("ENTITIES", 1)
    number = re.compile(r"^( [12]0)\n(.*)$", re.MULTILINE)
    return head + "ENTITIES" + number.sub(lambda m: f"{m[1]}\n{float(m[2]) / 25.4:.6f}", entities)


#: Units said to be others; vertices, contours and hands are changed in `test_planted.py`.
PLANTED: dict[str, tuple[str, Callable[[str], str]]] = {
    "svg: inches for millimetres": ("svg", in_inches),
    "dxf: inches for millimetres": ("dxf", drawn_in_inches),
}


@pytest.fixture
def cut_files(jobs: dict[str, Written], tmp_path: Path) -> Path:
    """A copy of the laser's cut files."""
    return Path(shutil.copytree(jobs["laser"].folder / "good", tmp_path / "cut"))


def verified(folder: Path) -> tuple[int, list[dict[str, str]]]:
    """Exit status of `foamwright verify` and its faults."""
    ran = CliRunner().invoke(main, ["verify", str(folder), "--json"])
    told = json.loads(ran.stdout)
    assert told["ok"] is (ran.exit_code == 0)
    return ran.exit_code, [f for f in told["findings"] if f["severity"] == "fault"]


def test_untouched_files_verify(cut_files: Path) -> None:
    assert verified(cut_files) == (0, [])


@pytest.mark.parametrize("name", PLANTED)
def test_a_changed_file_is_refused_by_its_geometry(name: str, cut_files: Path) -> None:
    kind, change = PLANTED[name]
    edit(cut_files, text_of(cut_files, kind), change)
    status, faults = verified(cut_files)
    assert status == 1
    assert PIECE in {f["piece"] for f in faults}, faults
    assert not {f["code"] for f in faults} & {"V002", "V005"}, "the hashes were made to fit"


def test_a_change_in_the_last_digit_is_seen_by_its_hash(cut_files: Path) -> None:
    edit(cut_files, text_of(cut_files, "svg"), lambda t: t.replace("#0072B2", "#0072B3"), False)
    status, faults = verified(cut_files)
    assert status == 1
    assert {f["code"] for f in faults} == {"V005"}


def test_a_changed_hash_in_the_record_is_seen(cut_files: Path) -> None:
    amend(cut_files, lambda r: r["files"][0].update(sha256="0" * 64))
    status, faults = verified(cut_files)
    assert status == 1
    assert {f["code"] for f in faults} == {"V005"}


def test_an_edited_record_is_seen(cut_files: Path) -> None:
    amend(cut_files, lambda r: r.update(unreached_max_mm=5.0), seal=False)
    assert [f["code"] for f in verified(cut_files)[1]] == ["V002"]


@pytest.mark.parametrize("kind", ["dxf", "svg"])
def test_a_missing_file_is_told_with_its_piece(kind: str, cut_files: Path) -> None:
    (cut_files / text_of(cut_files, kind)).unlink()
    status, faults = verified(cut_files)
    assert status == 1
    assert ("V004", PIECE) in {(f["code"], f["piece"]) for f in faults}
