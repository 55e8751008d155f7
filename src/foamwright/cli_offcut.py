"""The `offcut` commands: arguments -> shelf -> tables. As `cli.py`."""

from __future__ import annotations

import click

from foamwright.cli_guard import guarded, json_option
from foamwright.names import readable


@click.group(short_help="Offcuts on your shelf: list, give back, strike out.")
def offcut() -> None:
    """Offcuts on your shelf: list them, give back what a job booked, strike one out.

    \b
    Example: foamwright offcut list
    """


@offcut.command("list")
@json_option
@guarded
def list_offcuts(as_json: bool) -> None:
    """List the offcuts, their sizes, and which job has booked each.

    \b
    Example: foamwright offcut list
    """
    from foamwright import report, report_layout
    from foamwright.offcuts import offcuts
    from foamwright.profiles import user_folder

    there = offcuts(user_folder())
    if as_json:
        told = {"offcuts": [e.model_dump(mode="json") for e in there]}
        click.echo(report.document(told, ()))
    else:
        report_layout.show_offcuts(there)


@offcut.command("give-back", short_help="Free what a job booked that was not cut.")
@click.argument("job")
@guarded
def give_back_offcuts(job: str) -> None:
    """A JOB (by its name) was not cut: free what it booked, strike out what it was to leave.

    \b
    Example: foamwright offcut give-back "Heron legs"
    """
    from foamwright.offcuts import give_back
    from foamwright.profiles import user_folder

    given = give_back(user_folder(), job)
    for names, word in ((given.freed, "free again"), (given.struck, "struck out")):
        if names:
            click.echo(readable(f"{word}: {', '.join(names)}"))
    if given.kept:
        click.echo(readable(f"booked by another job and kept: {', '.join(given.kept)}"), err=True)


@offcut.command("strike-out", short_help="Take an offcut off the shelf for good.")
@click.argument("name")
@guarded
def strike_offcut_out(name: str) -> None:
    """Take an offcut off the shelf for good: it was thrown away or used by hand.

    \b
    Example: foamwright offcut strike-out "Heron legs 1-1"
    """
    from foamwright.offcuts import strike_out
    from foamwright.profiles import user_folder

    strike_out(user_folder(), name)
    click.echo(f"{readable(name)} is struck out")
