"""The `profile` commands: arguments -> shelf -> tables. As `cli.py`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from foamwright.cli_guard import FILE, guarded, json_option
from foamwright.cli_record import record_command
from foamwright.names import readable

job_option = click.option("--job", type=FILE, help="See the shelf as this job sees it.")


@click.group(short_help="Materials and machines: list, show, check, copy, record.")
def profile() -> None:
    """The shelf of materials and machines: look, check, copy, record what was measured.

    \b
    Example: foamwright profile show card-1mm
    """


def _shelf(job: Path | None) -> Any:
    from foamwright.profiles import Shelf

    return Shelf.of(job.parent, base=Path()) if job else Shelf.of()


@profile.command("list", short_help="List the materials and machines on the shelf.")
@job_option
@json_option
@guarded
def list_profiles(job: Path | None, as_json: bool) -> None:
    """List the materials and machines on the shelf, nearest layer first.

    \b
    Example: foamwright profile list
    """
    from foamwright import report, report_shelf, tables

    listed = _shelf(job).list()
    if as_json:
        click.echo(report.document({"profiles": [tables.plain(x) for x in listed]}, ()))
    else:
        report_shelf.show_shelf(listed)


@profile.command("show", short_help="Show a profile's values and how each is known.")
@click.argument("profile_id", metavar="ID")
@click.option("--machine", help="Show a material's values as they serve on this machine.")
@job_option
@json_option
@guarded
def show_profile(profile_id: str, machine: str | None, job: Path | None, as_json: bool) -> None:
    """Show a profile's values, how each is known and where it comes from, layer by layer.

    \b
    Example: foamwright profile show card-1mm --machine desk-laser-600
    """
    from foamwright import report, report_shelf

    shelf = _shelf(job)
    loaded = report_shelf.find_profile(shelf, profile_id)
    chain = shelf.chain(loaded.kind, profile_id)
    beams = report.expected_beams(loaded, shelf)
    forced = report_shelf.in_force(shelf, loaded, machine) if machine else ()
    if as_json:
        click.echo(report.document(report_shelf.profile_data(loaded, chain, beams, forced), ()))
    else:
        report_shelf.show_profile(loaded, chain, beams, forced)


@profile.command("check", short_help="Check the whole shelf for faults and unlikely numbers.")
@job_option
@json_option
@guarded
def check_profiles(job: Path | None, as_json: bool) -> None:
    """Check the whole shelf: faults, numbers that can hardly be meant, what is not measured yet.

    Exit status 1 where a profile can't be used.

    \b
    Example: foamwright profile check
    """
    from foamwright import report
    from foamwright.findings import Refused
    from foamwright.shelf_check import check_shelf

    shelf = _shelf(job)
    findings = check_shelf(shelf)
    faulty = any(f.is_fault for f in findings)
    if as_json:
        click.echo(report.document({"profiles": len(shelf.list())}, findings))
    else:
        report.show_findings(findings, whole=True)
        told = f"{report.counted(len(shelf.list()), 'profile')} looked at"
        click.echo(f"{told}: {report.counted(sum(f.is_fault for f in findings), 'fault')}")
    if faulty:
        sys.exit(Refused.exit_code)


@profile.command("copy")
@click.argument("profile_id", metavar="ID")
@click.argument("new", metavar="[NEW-ID]", required=False)
@job_option
@guarded
def copy_a_profile(profile_id: str, new: str | None, job: Path | None) -> None:
    """Make a profile of your own on your shelf, based on another.

    Without NEW-ID it bears the same id and stands before the other.

    \b
    Example: foamwright profile copy desk-laser-600 our-laser
    """
    from foamwright import report_shelf
    from foamwright.shelf_copy import copy_profile

    shelf = _shelf(job)
    loaded = report_shelf.find_profile(shelf, profile_id)
    file = copy_profile(shelf, loaded.kind, profile_id, new)
    click.echo(f"{readable(str(file))} is there to be filled in")


@profile.command("hazards", short_help="Show what each rule says of each composition word.")
@job_option
@json_option
@guarded
def show_hazards(job: Path | None, as_json: bool) -> None:
    """Show the hazard rules: every composition word and material with its verdict by method.

    A blend is as bad as its worst word.

    \b
    Example: foamwright profile hazards
    """
    from foamwright import report, report_shelf
    from foamwright.hazards import load_rules

    shelf = _shelf(job)
    rules = load_rules(shelf.folders)
    if as_json:
        words = report_shelf.hazard_rows(rules)
        rows = {"hazards": words, "materials": report_shelf.material_rows(shelf, rules)}
        click.echo(report.document(rows, ()))
    else:
        report_shelf.show_hazards(shelf, rules)


profile.add_command(record_command)
