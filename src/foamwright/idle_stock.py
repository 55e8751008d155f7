"""A job's stock of materials that none of its pieces is cut from: a slip, or another choice since.

Where a shelf has the material, a piece was cut from it once or may be again: told, and the stock is
left aside.  Where none has it, its name is a slip, and the material's own stock would be used in
its place: a fault.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePath

from foamwright.asked import AskedJob
from foamwright.findings import Finding, fault, warning
from foamwright.job_pattern_checks import near
from foamwright.names import readable
from foamwright.profiles import is_path
from foamwright.strict_toml import shown


def idle_stock(asked: AskedJob) -> Iterator[Finding]:
    """J553 for stock that is left aside, J508 for stock of a material that is nowhere."""
    used = {n for spec in asked.job.piece for n in _names(spec.material)}
    idle = [s.material for s in asked.job.stock if not used & _names(s.material)]
    for material in dict.fromkeys(idle):
        where, what = f"stock {readable(material)}", f"no piece is cut from {shown(material)}"
        if _is_known(asked, material):
            yield warning("J553", where, f"{what}: this stock is left aside")
        else:
            mend = near(material, tuple(sorted(used)), "name a material that a piece is cut from")
            yield fault("J508", where, what, mend)


def _names(material: str) -> set[str]:
    """What a material may be called by: its file counts by its name too."""
    return {material.casefold(), PurePath(material).stem.casefold()}


def _is_known(asked: AskedJob, material: str) -> bool:
    """Whether a shelf has a material of this id; a path is no id, and isn't followed."""
    return not is_path(material) and not asked.shelf.missing("material", material)
