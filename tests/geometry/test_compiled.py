"""What is kept of compiled functions is stale when any module that they use has changed."""

from __future__ import annotations

import os
import pathlib
import subprocess
import sys

from foamwright.geometry.compiled import compiled, sources
from foamwright.geometry.fit import fit_arcs
from foamwright.geometry.fitting.runs import fit_runs
from foamwright.geometry.path import Path
from foamwright.geometry.segments import Cubic


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


def test_the_search_can_be_followed_in_python() -> None:
    code = (
        "from foamwright.geometry.fit import fit_arcs\n"
        "from foamwright.geometry.path import Path\n"
        "from foamwright.geometry.segments import Cubic\n"
        "from foamwright.geometry.fitting import chain\n"
        "assert type(chain.measured).__name__ == 'function'\n"
        "print(len(fit_arcs(Path.of([Cubic(0, 3 + 4j, 7 + 4j, 10)], False), 0.01).segments))\n"
    )
    bare = {**os.environ, "NUMBA_DISABLE_JIT": "1"}
    ran = subprocess.run(
        [sys.executable, "-c", code], env=bare, capture_output=True, text=True, check=True
    )
    curve = Path.of([Cubic(0, 3 + 4j, 7 + 4j, 10)], False)
    assert (ran.stdout, ran.stderr) == (f"{len(fit_arcs(curve, 0.01).segments)}\n", "")
