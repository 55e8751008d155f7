"""What is kept of compiled functions is stale when any module that they use has changed."""

from __future__ import annotations

import os
import pathlib

from foamwright.geometry.compiled import compiled, sources
from foamwright.geometry.fitting.runs import fit_runs


def test_a_change_anywhere_below_is_seen(tmp_path: pathlib.Path) -> None:
    (tmp_path / "below").mkdir()
    one, other = tmp_path / "one.py", tmp_path / "below" / "other.py"
    one.write_text("a = 1\n")
    other.write_text("b = 1\n")
    before = sources(tmp_path)
    assert sources(tmp_path) == before
    os.utime(other, ns=(1, 1))
    touched = sources(tmp_path)
    assert touched != before
    other.write_text("b = 22\n")
    assert sources(tmp_path) != touched


def test_what_is_kept_of_the_fit_bears_the_stamp_of_all_the_geometry() -> None:
    file = fit_runs._cache._cache_file  # type: ignore[attr-defined]
    names = [name for name, _, _ in file._source_stamp[1]]
    assert {"fit.py", "compiled.py", os.path.join("fitting", "arc.py")} <= set(names)


def test_a_function_from_nowhere_is_compiled_and_not_kept() -> None:
    space: dict[str, object] = {}
    exec("def twice(x):\n    return 2 * x", space)
    assert compiled(space["twice"])(4) == 8  # type: ignore[operator, type-var]
