"""Publishing: all of a run's files get their names or none, and nobody else's file is touched."""

from __future__ import annotations

import errno
import json
import os
import pathlib
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from foamwright.findings import Refused
from foamwright.stages.save import publish as module
from foamwright.stages.save.publish import (
    INCOMING,
    JOURNAL,
    RECORD,
    files_of,
    publish,
    recover,
    staging,
    write_file,
)
from tests.stages.save.publishing import (
    NEW,
    OLD,
    SHEET,
    contents,
    dying_run,
    edited,
    fill,
    record_text,
)

Folder = pathlib.Path


def run(target: Folder, files: dict[str, str] = NEW) -> None:
    """A whole run: staged, written, published."""
    with staging(target) as folder:
        for name, text in files.items():
            write_file(folder, name, text)
        publish(folder, target)


def refusal(target: Folder, files: dict[str, str] = NEW) -> list[str]:
    """The codes of a run that is refused."""
    with pytest.raises(Refused) as told:
        run(target, files)
    return [f.code for f in told.value.findings]


@pytest.fixture
def out(tmp_path: Folder) -> Iterator[Folder]:
    """A folder with the earlier run and a stranger's notes; nothing may be left beside it."""
    folder = fill(tmp_path / "out", {**OLD, "notes.txt": "mine"})
    yield folder
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


WITH_NOTES = {"notes.txt": "mine"}


def test_a_first_run_makes_the_folder(tmp_path: Folder) -> None:
    run(tmp_path / "deep" / "out")
    assert contents(tmp_path / "deep" / "out") == NEW
    assert [p.name for p in (tmp_path / "deep").iterdir()] == ["out"]


def test_a_run_into_an_empty_folder(tmp_path: Folder) -> None:
    (tmp_path / "out").mkdir()
    run(tmp_path / "out")
    assert contents(tmp_path / "out") == NEW


def test_the_next_run_replaces_what_the_record_names_and_nothing_else(out: Folder) -> None:
    run(out)
    assert contents(out) == {**NEW, **WITH_NOTES}


def test_the_same_run_twice(out: Folder) -> None:
    run(out)
    run(out)
    assert contents(out) == {**NEW, **WITH_NOTES}


# Killed runs


def test_a_run_killed_at_any_step_is_rolled_back_or_finished(tmp_path: Folder) -> None:
    base = fill(tmp_path / "count" / "out", {**OLD, **WITH_NOTES})
    _, steps = dying_run(base, 0)
    assert steps > 15
    outcomes = []
    for moment in range(1, steps + 1):
        target = fill(tmp_path / str(moment) / "out", {**OLD, **WITH_NOTES})
        killed, _ = dying_run(target, moment)
        assert killed
        found = contents(target)
        stands = JOURNAL in found
        cut_files = {n: t for n, t in found.items() if n not in (JOURNAL, INCOMING)}
        if not stands:
            whole = {k: v for k, v in cut_files.items() if not k.startswith(".foamwright")}
            assert whole in ({**OLD, **WITH_NOTES}, {**NEW, **WITH_NOTES}), moment
        assert found["notes.txt"] == "mine"
        recover(target)
        after = contents(target)
        assert after in ({**OLD, **WITH_NOTES}, {**NEW, **WITH_NOTES}), moment
        assert not stands or after == {**NEW, **WITH_NOTES}, "a journal that stands is carried out"
        outcomes.append(RECORD in after and after[RECORD] == NEW[RECORD])
        run(target)  # and the next run clears whatever lies beside
        assert contents(target) == {**NEW, **WITH_NOTES}
        assert [p.name for p in target.parent.iterdir()] == ["out"]
    # old up to some step, new from then on
    assert outcomes == sorted(outcomes)
    assert len(set(outcomes)) == 2


def test_a_first_run_killed_leaves_no_folder_or_a_whole_one(tmp_path: Folder) -> None:
    _, steps = dying_run(tmp_path / "count" / "out", 0)
    for moment in range(1, steps + 1):
        target = tmp_path / str(moment) / "out"
        assert dying_run(target, moment)[0]
        assert not target.exists() or contents(target) == NEW
        run(target)
        assert [p.name for p in target.parent.iterdir()] == ["out"]


def broken_off(out: Folder, *done: str) -> None:
    """The state after a kill: the journal stands, and the named files are already put."""
    incoming = fill(out / INCOMING, {n: t for n, t in NEW.items() if n not in done})
    fill(out, {n: NEW[n] for n in done})
    put = sorted(NEW)
    (out / JOURNAL).write_text(json.dumps({"put": put, "drop": ["a.svg"]}))
    assert incoming.is_dir()


@pytest.mark.parametrize("done", [(), ("b.svg",), ("b.svg", "c.svg", SHEET)])
def test_between_the_renames(out: Folder, done: tuple[str, ...]) -> None:
    broken_off(out, *done)
    recover(out)
    assert contents(out) == {**NEW, **WITH_NOTES}
    recover(out)
    assert contents(out) == {**NEW, **WITH_NOTES}


def test_a_stranger_s_file_that_came_after_the_kill(out: Folder) -> None:
    broken_off(out)
    (out / "c.svg").write_text("a stranger's")
    with pytest.raises(Refused) as told:
        recover(out)
    assert [f.code for f in told.value.findings] == ["W701"]
    assert (out / "c.svg").read_text() == "a stranger's"
    (out / "c.svg").rename(out / "d.svg")
    recover(out)
    assert contents(out) == {**NEW, **WITH_NOTES, "d.svg": "a stranger's"}


def test_a_journal_may_drop_only_what_the_record_names(out: Folder) -> None:
    fill(out / INCOMING, NEW)
    drop = ["notes.txt", "../precious", "a.svg"]
    (out.parent / "precious").write_text("kept")
    (out / JOURNAL).write_text(json.dumps({"put": sorted(NEW), "drop": drop}))
    recover(out)
    assert contents(out) == {**NEW, **WITH_NOTES}
    assert (out.parent / "precious").read_text() == "kept"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '{"put": 1, "drop": []}',
        '{"put": ["../b.svg"], "drop": []}',
        "\ud800",
    ],
)
def test_a_journal_that_is_none_is_rolled_back(out: Folder, text: str) -> None:
    fill(out / INCOMING, {"b.svg": "half", "x": "y"})
    (out / JOURNAL).write_bytes(text.encode("utf-8", "surrogatepass"))
    recover(out)
    assert contents(out) == {**OLD, **WITH_NOTES}


# Strangers


@pytest.mark.parametrize("name", ["c.svg", JOURNAL, INCOMING])
def test_a_stranger_in_the_way_stops_the_run(out: Folder, name: str) -> None:
    if name == "c.svg":
        (out / name).write_text("a stranger's")
    elif name == INCOMING:
        (out / name).write_text("a file where a folder should be")
    else:
        (out / name).mkdir()
    before = contents(out)
    assert refusal(out) == ["W701"]
    assert contents(out) == before


@pytest.mark.parametrize("bad", [None, "", "{}", "[]", "nonsense", '{"checksum": "\\ud800"}'])
def test_without_a_true_record_everything_is_a_stranger_s(out: Folder, bad: str | None) -> None:
    if bad is None:
        (out / RECORD).unlink()
    else:
        (out / RECORD).write_text(bad)
    before = contents(out)
    assert files_of(out) == frozenset()
    assert refusal(out) == ["W701"] * (2 + (bad is not None))  # b.svg, the sheet, the record
    assert contents(out) == before


def test_an_edited_record_vouches_for_nothing(out: Folder) -> None:
    (out / RECORD).write_text(edited(OLD[RECORD]))
    before = contents(out)
    assert set(refusal(out)) == {"W701"}
    assert contents(out) == before


def test_a_record_vouches_for_names_in_its_folder_only(tmp_path: Folder) -> None:
    names = ["../x.svg", "/etc/passwd", "a/b.svg", "a\\b.svg", "c:x.svg", "", ".", "..", "ok.svg"]
    fill(tmp_path, {RECORD: record_text(*names, JOURNAL, INCOMING)})
    assert files_of(tmp_path) == {"ok.svg", SHEET, RECORD}


def test_a_record_outside_the_folder_is_not_dropped_into_it(tmp_path: Folder) -> None:
    target = fill(tmp_path / "out", {RECORD: record_text("../x.svg")})
    (tmp_path / "x.svg").write_text("kept")
    fill(target, {SHEET: "old"})
    run(target)
    assert (tmp_path / "x.svg").read_text() == "kept"
    assert contents(target) == NEW


@pytest.mark.parametrize("name", ["b.svg", SHEET, RECORD])
def test_a_link_is_a_stranger_s_and_what_it_points_to_stays(out: Folder, name: str) -> None:
    elsewhere = out.parent / "elsewhere"
    (out / name).rename(elsewhere)
    (out / name).symlink_to(elsewhere)
    before, text = contents(out), elsewhere.read_text()
    assert set(refusal(out)) == {"W701"}
    assert contents(out) == before
    assert elsewhere.read_text() == text


def test_a_link_that_would_be_dropped_stays(out: Folder) -> None:
    elsewhere = out.parent / "elsewhere"
    (out / "a.svg").rename(elsewhere)
    (out / "a.svg").symlink_to(elsewhere)
    run(out)
    assert contents(out) == {**NEW, **WITH_NOTES, "a.svg": f"link to {elsewhere}"}
    assert elsewhere.read_text() == OLD["a.svg"]


@pytest.mark.parametrize("name", [INCOMING, JOURNAL, f"{JOURNAL}.part"])
def test_links_in_place_of_our_own_names_are_not_followed(out: Folder, name: str) -> None:
    folder = fill(out.parent / "elsewhere", {"b.svg": "precious", "plan": '{"put":[],"drop":[]}'})
    (out / name).symlink_to(folder if name == INCOMING else folder / "plan")
    before = contents(folder)
    assert refusal(out) == ["W701"]
    recover(out)
    assert contents(folder) == before
    assert {k: v for k, v in contents(out).items() if k != name} == {**OLD, **WITH_NOTES}


def test_folders_under_our_names_stay(out: Folder) -> None:
    (out / "a.svg").unlink()
    fill(out / "a.svg", {"inside": "precious"})
    (out / "b.svg").unlink()
    fill(out / "b.svg", {"inside": "precious"})
    assert refusal(out) == ["W701"]
    (out / "b.svg" / "inside").unlink()
    (out / "b.svg").rmdir()
    run(out)
    assert (out / "a.svg" / "inside").read_text() == "precious"
    assert (out / "c.svg").read_text() == NEW["c.svg"]


# Places that can't be written


def failing(name: str, code: int, when: Callable[..., bool]) -> Callable[..., Any]:
    real = getattr(os, name)

    def stand_in(*args: Any, **kwargs: Any) -> Any:
        if when(*args):
            raise OSError(code, os.strerror(code), str(args[0]))
        return real(*args, **kwargs)

    return stand_in


def test_a_full_disk_while_staging(out: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", failing("fsync", errno.ENOSPC, lambda *_: True))
    assert refusal(out) == ["W702"]
    monkeypatch.undo()
    assert contents(out) == {**OLD, **WITH_NOTES}


def test_a_full_disk_at_the_journal(out: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    real = module._write

    def full(file: Folder, data: bytes, mode: str) -> None:
        if file.name.startswith(JOURNAL):
            file.write_bytes(b"{")
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(file, data, mode)

    monkeypatch.setattr(module, "_write", full)
    with pytest.raises(Refused, match="No space left"):
        run(out)
    assert contents(out) == {**OLD, **WITH_NOTES}


def test_a_read_only_folder(out: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    inside = failing("rename", errno.EROFS, lambda a, b: Folder(b).parent == out)
    monkeypatch.setattr(os, "rename", inside)
    assert refusal(out) == ["W702"]
    assert contents(out) == {**OLD, **WITH_NOTES}


def test_a_read_only_parent(out: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "mkdir", failing("mkdir", errno.EACCES, lambda *_: True))
    with pytest.raises(Refused) as told:
        run(out)
    (found,) = told.value.findings
    assert (found.code, found.where) == ("W702", str(out.parent))
    assert contents(out) == {**OLD, **WITH_NOTES}


def test_a_lock_that_can_t_be_made_is_a_fault_and_leaves_nothing(
    out: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Folder.open

    def full(self: Folder, *args: Any, **kwargs: Any) -> Any:
        if self.name == "lock":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(self, *args, **kwargs)

    monkeypatch.setattr(Folder, "open", full)
    assert refusal(out) == ["W702"]


def test_a_rename_that_fails_half_way_is_finished_next_time(
    out: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy = failing("replace", errno.EACCES, lambda _, b: Folder(b).name == "c.svg")
    monkeypatch.setattr(os, "replace", busy)
    assert refusal(out) == ["W702"]
    with pytest.raises(Refused, match="broken off"):
        recover(out)
    monkeypatch.undo()
    assert (out / JOURNAL).exists()
    recover(out)
    assert contents(out) == {**NEW, **WITH_NOTES}


def test_another_file_system(out: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    across = failing("rename", errno.EXDEV, lambda a, b: Folder(b).name == INCOMING)
    monkeypatch.setattr(os, "rename", across)
    run(out)
    assert contents(out) == {**NEW, **WITH_NOTES}


def test_a_file_in_the_folder_s_place(tmp_path: Folder) -> None:
    (tmp_path / "out").write_text("a file")
    assert refusal(tmp_path / "out") == ["W702"]
    assert (tmp_path / "out").read_text() == "a file"
    assert refusal(tmp_path / "out" / "deeper") == ["W702"]


def test_a_link_to_nowhere_in_the_folder_s_place(tmp_path: Folder) -> None:
    (tmp_path / "out").symlink_to(tmp_path / "nowhere")
    assert refusal(tmp_path / "out") == ["W702"]
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_folder_reached_by_a_link(tmp_path: Folder) -> None:
    fill(tmp_path / "real", OLD)
    (tmp_path / "out").symlink_to(tmp_path / "real")
    run(tmp_path / "out")
    assert contents(tmp_path / "real") == NEW
    assert (tmp_path / "out").is_symlink()


# Staging


def test_a_run_that_fails_leaves_nothing_staged(out: Folder) -> None:
    def fails() -> None:
        with staging(out) as folder:
            write_file(folder, "b.svg", "half")
            raise InterruptedError

    with pytest.raises(InterruptedError):
        fails()
    assert contents(out) == {**OLD, **WITH_NOTES}


def test_two_runs_at_once_keep_their_staging(out: Folder) -> None:
    with staging(out) as first:
        write_file(first, "a", "1")
        code = (
            "import sys, pathlib\n"
            "from foamwright.stages.save.publish import staging\n"
            "with staging(pathlib.Path(sys.argv[1])) as f: (f / 'b').write_text('2')\n"
        )
        environment = {"PYTHONPATH": ":".join(sys.path)}
        subprocess.run([sys.executable, "-c", code, str(out)], check=True, env=environment)
        assert (first / "a").read_text() == "1"


def test_a_run_waits_while_another_makes_its_folder(
    out: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder without its lock yet looks like one that a killed run left."""
    code = (
        "import sys, pathlib\n"
        "from foamwright.stages.save.publish import staging\n"
        "with staging(pathlib.Path(sys.argv[1])): pass\n"
    )
    real, others = tempfile.mkdtemp, []

    def slow(**kwargs: Any) -> str:
        made = real(**kwargs)
        environment = {"PYTHONPATH": ":".join(sys.path)}
        others.append(subprocess.Popen([sys.executable, "-c", code, str(out)], env=environment))
        with pytest.raises(subprocess.TimeoutExpired):
            others[0].wait(timeout=2)
        assert pathlib.Path(made).is_dir()
        return made

    monkeypatch.setattr(tempfile, "mkdtemp", slow)
    with staging(out) as folder:
        write_file(folder, "a", "1")
        assert others[0].wait(timeout=60) == 0
        assert (folder / "a").read_text() == "1"


_BUSY = """
import sys, pathlib
from foamwright.stages.save.publish import publish, staging, write_file
from tests.stages.save.publishing import run_files
target, word = pathlib.Path(sys.argv[1]), sys.argv[2]
for k in range(15):
    with staging(target) as folder:
        for name, text in run_files(f"{word}{k}", f"{word}.svg", "both.svg").items():
            write_file(folder, name, text)
        publish(folder, target)
"""


def test_runs_that_race_end_with_one_whole_run(out: Folder) -> None:
    environment = {"PYTHONPATH": ":".join(sys.path)}
    racing = [
        subprocess.Popen([sys.executable, "-c", _BUSY, str(out), word], env=environment)
        for word in ("one", "two", "three")
    ]
    assert [p.wait(timeout=60) for p in racing] == [0, 0, 0]
    found = contents(out)
    (word,) = {w for w in ("one", "two", "three") if f"{w}.svg" in found}
    assert set(found) == {f"{word}.svg", "both.svg", SHEET, RECORD, "notes.txt"}
    assert found[SHEET] == f"{word}14 sheet\n"
    assert found["both.svg"] == f"{word}14 both.svg\n"


def test_what_killed_runs_left_is_cleared_and_nobody_else_s(tmp_path: Folder) -> None:
    target = tmp_path / "o[u]t"
    stale = [fill(tmp_path / f".o[u]t.foamwright-staging-{k}", {"lock": ""}) for k in range(2)]
    fill(stale[0] / "files", {"b.svg": "half"})
    (stale[1] / "lock").unlink()
    elsewhere = fill(tmp_path / "elsewhere", {"precious": "kept"})
    (tmp_path / ".o[u]t.foamwright-staging-link").symlink_to(elsewhere)
    others = fill(tmp_path / ".out.foamwright-staging-1", {"lock": ""})
    run(target)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        [".o[u]t.foamwright-staging-link", others.name, "elsewhere", "o[u]t"]
    )
    assert contents(elsewhere) == {"precious": "kept"}


def test_nothing_to_recover_touches_nothing(out: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("unlink", "replace", "rename", "rmdir", "mkdir"):
        monkeypatch.setattr(os, name, failing(name, errno.EROFS, lambda *_: True))
    recover(out)
    recover(out / "not there")
    assert contents(out) == {**OLD, **WITH_NOTES}
