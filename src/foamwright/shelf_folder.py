"""Where the packaged shelf of profiles lies.

The wheel carries it as `foamwright/profiles`; a source tree has it as `profiles/` at the top.
Does not read anything from it.
"""

from __future__ import annotations

from pathlib import Path


def packaged_profiles() -> Path:
    """The folder of the packaged profiles, hazards and checklist.

    Raises FileNotFoundError where the installation is broken and has none.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "profiles", package.parent.parent / "profiles"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError("the packaged profiles are missing: install foamwright again")
