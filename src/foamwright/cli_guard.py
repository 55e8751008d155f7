"""What the commands have in common: options, and how a run that is stopped ends.

Exit status: 0 done, 1 the job has a fault or a refusal, 2 the command line is wrong.  A fault is
one line on standard error; a traceback reaches nobody who doesn't ask for it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import wraps
from io import TextIOWrapper
from pathlib import Path
from typing import Any, TypeVar, cast

import click

from foamwright.errors import FoamwrightError
from foamwright.names import readable

Command = TypeVar("Command", bound=Callable[..., Any])
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON document and nothing else."
)
FILE = click.Path(path_type=Path)


class _Picture(click.Path):
    """A file that a picture goes to: an SVG or a PNG by its ending."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        file = cast(Path, super().convert(value, param, ctx))
        if file.suffix.lower() not in (".svg", ".png"):
            self.fail(f"{readable(str(file))} is neither .svg nor .png; call it so", param, ctx)
        return file


PICTURE = _Picture(path_type=Path)


def guarded(command: Command) -> Command:
    """Turns what stops a run into lines on standard error and an exit status. No traceback."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        _bear_any_text()
        try:
            command(*args, **kwargs)
        except FoamwrightError as stop:
            _tell_stop(stop, as_json=bool(kwargs.get("as_json")))
            sys.exit(stop.exit_code)
        except KeyboardInterrupt:
            click.echo("stopped; earlier output is whole", err=True)
            sys.exit(1)
        except BrokenPipeError:  # whoever read standard output has heard enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(1)
        except Exception as flaw:
            if os.environ.get("FOAMWRIGHT_DEBUG"):
                raise
            what = f"{type(flaw).__name__}: {flaw}".splitlines()[0][:200]
            click.echo(
                f"fault: foamwright itself failed ({what}); set FOAMWRIGHT_DEBUG=1 to see where",
                err=True,
            )
            sys.exit(1)

    return cast(Command, run)


def _bear_any_text() -> None:
    """A pipe or terminal that lacks a character gets its number instead of a failure."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _tell_stop(stop: FoamwrightError, as_json: bool) -> None:
    from foamwright.asked import PlanRefused
    from foamwright.check_tables import checks_data
    from foamwright.findings import Refused
    from foamwright.report import document, show_checks, show_findings

    findings = stop.findings if isinstance(stop, Refused) else ()
    if as_json:
        checks = checks_data(stop.checks) if isinstance(stop, PlanRefused) else {}
        error = str(stop) if not findings else ""
        click.echo(document({"ok": False, "error": error, **checks}, findings))
    elif isinstance(stop, PlanRefused):
        show_checks(stop.checks)
    if findings:
        show_findings(findings)
    else:
        click.echo(f"fault: {readable(str(stop))}", err=True)
