"""One planted fault of each kind for each method, in both written files or in one of them.

The whole count is `benchmarks/test_mutations.py`.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from foamwright.stages.verify import verify

from .jobs import PAIRS
from .planted_jobs import OF_EDGES, Folder, above_the_limit, codes_of, cut_plates
from .planted_kinds import BY_THE_RECORD, Planted, planted
from .planting import Run, deviation, dragged, read_runs, write_runs

#: Copies of the plate: an order needs two; a drag knife's proof takes longest.
COPIES = {"laser": 2, "drag-knife": 1, "oscillating-knife": 1}
KINDS = {
    "vertex moved",
    "contour dropped",
    "contour doubled",
    "contour reversed",
    "mirrored",
    "scaled",
    "lead-in through a piece",
}
ONLY: dict[str, set[str]] = {
    "laser": {"kerf applied twice", "order swapped"},
    "drag-knife": {"blade offset off"},
    "oscillating-knife": set(),
}


@pytest.fixture(scope="module", params=PAIRS)
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Folder:
    method = request.param
    return cut_plates(method, tmp_path_factory.mktemp(method), COPIES[method])


@pytest.fixture(scope="module")
def cases(folder: Folder) -> list[Planted]:
    """The first case of each kind and size that is above the limit."""
    found: dict[tuple[str, str], Planted] = {}
    for case in planted(folder.good, folder.drawn, 2):
        key = (case.kind, case.size)
        if key not in found and any(above_the_limit(folder, [case])):
            found[key] = case
    return list(found.values())


def test_a_fault_of_each_kind_is_caught(folder: Folder, cases: list[Planted]) -> None:
    assert {c.kind for c in cases} == KINDS | ONLY[folder.entries[0]["tool"]["method"]]
    assert [c.size for c in cases if c.kind == "vertex moved"] == ["0.05 mm", "0.1 mm", "0.2 mm"]
    found = {f"{c.kind} {c.size}, {c.where}": codes_of(folder, c) for c in cases}
    assert [name for name, codes in found.items() if not codes] == []
    edges = [c for c in cases if c.kind not in BY_THE_RECORD]
    assert all(found[f"{c.kind} {c.size}, {c.where}"] & OF_EDGES for c in edges), found


@pytest.mark.parametrize("only", ["dxf", "svg"])
def test_a_fault_in_one_of_the_two_files_is_caught(
    folder: Folder, cases: list[Planted], only: str
) -> None:
    chosen = [c for c in cases if c.size in ("0.1 mm", "3 mm")]
    assert len(chosen) == 2
    assert all(codes_of(folder, c, [only]) for c in chosen)


def test_files_rewritten_without_a_fault_pass(folder: Folder, tmp_path: Path) -> None:
    """Rewriting alone is no fault: what is caught is the fault."""
    same = Path(shutil.copytree(folder.path, tmp_path / "same"))
    for entry in folder.entries:
        write_runs(same, entry, folder.runs[entry["format"]], changed=False)
    verification, findings = verify(same)
    assert verification.passed, [f.line() for f in findings if f.is_fault]


def test_both_formats_are_read_alike(folder: Folder) -> None:
    for a, b in zip(folder.runs["dxf"], folder.runs["svg"], strict=True):
        assert (a.closed, a.block) == (b.closed, b.block)
        assert [p for p, _ in a.corners] == pytest.approx([p for p, _ in b.corners], abs=2e-6)
        assert [x for _, x in a.corners] == pytest.approx([x for _, x in b.corners], abs=2e-6)


def test_what_is_written_is_read_again(folder: Folder, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(folder.path, tmp_path / "moved"))
    for entry in folder.entries:
        moved = [r.mapped(lambda p: p + 1) for r in folder.runs[entry["format"]]]
        write_runs(copy, entry, moved)
        for a, b in zip(moved, read_runs(copy, entry), strict=True):
            assert [p for p, _ in a.corners] == pytest.approx([p for p, _ in b.corners], abs=2e-6)


def test_the_measure_of_a_good_file_is_below_the_limit(folder: Folder) -> None:
    assert deviation(folder.good, folder.drawn) < 0.01


def test_the_measure_of_a_sheet_that_is_moved(folder: Folder) -> None:
    """Moved by 0.3 mm each straight edge across that way is off by as much."""
    moved = [r.mapped(lambda p: p + 0.3) for r in folder.drawn]
    assert deviation(folder.good, moved) == pytest.approx(0.3, abs=0.01)


def test_a_dragged_tip_runs_on_the_smaller_circle() -> None:
    """A pivot on radius 5 drags a tip 0.5 mm behind it onto sqrt(25 - 0.25) (plane geometry)."""
    pivots = 5 * np.exp(1j * np.linspace(0, 4 * np.pi, 40000))
    tips, heading = dragged(pivots, 0.5, None)
    assert abs(tips[-1]) == pytest.approx(4.974937, abs=1e-3)
    assert abs(heading) == pytest.approx(1)


def test_a_run_turned_back_twice_is_itself() -> None:
    run = Run(((0j, 0.2), (1 + 0j, 0.0), (1 + 1j, -0.3)), True, 0)
    assert run.reversed().reversed() == run
    assert np.allclose(
        np.sort_complex(run.dense(0.01)), np.sort_complex(run.reversed().dense(0.01))
    )
