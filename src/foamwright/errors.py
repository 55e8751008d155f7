"""What stops a run. One root class; each error knows the exit status it leads to.

Exit status: 1 the job has a fault or a refusal, 2 the command line is wrong.
Does not hold findings' codes (`findings.py`) and never prints.
"""

from __future__ import annotations


class FoamwrightError(Exception):
    """Root of everything that stops a run with one clear line."""

    exit_code = 1


class GeometryError(FoamwrightError):
    """A curve or region that the mathematics can't work with (degenerate, not finite)."""


class CommandError(FoamwrightError):
    """The command line can't be meant: a missing option, an id that is on no shelf."""

    exit_code = 2
