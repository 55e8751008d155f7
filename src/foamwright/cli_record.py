"""`profile record`: arguments -> what is to be recorded -> a line for each value. As `cli.py`."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from foamwright.cli_guard import FILE, Command, guarded, json_option
from foamwright.names import readable

if TYPE_CHECKING:
    from foamwright.profiles import Shelf
    from foamwright.readings import Place
    from foamwright.recording import Words

Readings = Mapping[str, tuple[str, ...]]


def _options(command: Command) -> Command:
    for option in reversed(
        [
            click.option("--machine", help="The machine that it was measured on."),
            click.option("--key", help="What was measured: kerf, thickness, blade_offset..."),
            click.option("--reading", "typed", multiple=True, help="A reading; [PLACE=]AMOUNT."),
            click.option("--readings", "file", type=FILE, help="A CSV: [place,]reading."),
            click.option("--coupon", type=FILE, help="The folder of the coupon that was measured."),
            click.option("--value", help="A setting in words (force, power, focus, air, blade)."),
            click.option("--resolution", help="The gauge's step, such as 0.01 mm."),
            click.option("--tool", help="The blade or lens that was in the machine."),
            click.option("--operation", type=click.Choice(["cut", "score"]), default="cut"),
            click.option("--thickness", help="Of the stock that was cut (the material's)."),
            click.option(
                "--outliers",
                type=click.Choice(["stop", "keep", "drop"]),
                default="stop",
                show_default=True,
                help="What to do with readings that lie far from the others.",
            ),
            click.option("--cut", "folder", type=FILE, help="A cut folder: what became of it."),
            click.option("--not-through", multiple=True, metavar="COPY", help="Not cut through."),
            click.option("--singed", multiple=True, metavar="COPY", help="Singed or melted."),
            click.option("--dragged", multiple=True, metavar="COPY", help="Dragged or torn."),
            click.option("--again", is_flag=True, help="The same folder was cut once more."),
            click.option("--metres", type=click.FloatRange(min=0), help="A blade's way, m."),
            click.option("--blade-changed", "changed", flag_value="", default=None, is_flag=False,
                         help="A new blade is in (its name, if it is to be told)."),
            click.option("--by", help="Who measured."),
            click.option("--note", help="In your words."),
            click.option("--date", type=click.DateTime(["%Y-%m-%d"]), help="When; today if not."),
            click.option("--job", type=FILE, help="See the shelf as this job sees it."),
            json_option,
        ]
    ):  # fmt: skip
        command = option(command)
    return command


@click.command("record", short_help="Record what was measured, or what became of a cut.")
@click.argument("profile_id", metavar="ID")
@_options
@guarded
def record_command(profile_id: str, as_json: bool, job: Path | None, **given: Any) -> None:
    """Record what was measured, what became of a cut, or how far a blade went.

    The entry goes to the end of the profile's own file, on your shelf where it is a packaged one;
    earlier values stay there.

    \b
    Example: foamwright profile record card-1mm --machine desk-laser-600
             --coupon coupon --readings coupon-readings.csv
             --resolution "0.01 mm" --by "M. at the bench"
    Example: foamwright profile record pu-foam-12mm --key thickness
             --reading 11.8 --reading 11.9
    Example: foamwright profile record fleece-2mm --cut cut-files
             --not-through leg/drawn/1
    Example: foamwright profile record flatbed-knife-1200
             --blade-changed "single-edge 80"
    """
    from foamwright.profiles import Shelf
    from foamwright.recording import Words

    shelf = Shelf.of(job.parent, base=Path()) if job else Shelf.of()
    day = given["date"].date() if given["date"] else datetime.date.today()
    said = Words(day, given["by"], given["note"])
    if given["folder"] is not None:
        _outcome(shelf, profile_id, given, said, as_json)
    elif given["metres"] is not None or given["changed"] is not None:
        _blade(shelf, profile_id, given, said, as_json)
    else:
        _values(shelf, profile_id, given, said, as_json)


def _values(
    shelf: Shelf, profile_id: str, given: Mapping[str, Any], said: Words, as_json: bool
) -> None:
    from foamwright import report, report_shelf
    from foamwright.recording import Asked, record

    loaded = report_shelf.find_profile(shelf, profile_id)
    _check_coupon(loaded.kind, loaded.id, given)
    places, words = _asked(given)
    asked = Asked(
        profile_id,
        places,
        words,
        given["machine"],
        given["tool"],
        given["operation"],
        given["thickness"],
        given["resolution"],
        given["outliers"],
        said,
    )
    done = record(shelf, loaded.kind, asked)
    if as_json:
        data = {"recorded": [report_shelf.recorded_data(r) for r in done]}
        click.echo(report.document(data, [f for r in done for f in r.findings]))
        return
    report.show_findings([f for r in done for f in r.findings])
    for one in done:
        click.echo(report_shelf.recorded_line(one))
    click.echo(f"written into {readable(str(done[0].file))}")


def _check_coupon(kind: str, profile_id: str, given: Mapping[str, Any]) -> None:
    """A coupon tells of its own material and machine alone. Raises CommandError."""
    from foamwright.coupon_design import pair_of
    from foamwright.errors import CommandError
    from foamwright.recording_results import read_record

    if given["coupon"] is None:
        return
    material, machine = pair_of(read_record(given["coupon"]))
    asked = (profile_id, given["machine"]) if kind == "material" else (material, profile_id)
    if material and asked[1] and (material, machine) != asked:
        raise CommandError(f"{given['coupon']} is a coupon of {material} on {machine}")


def _asked(
    given: Mapping[str, Any],
) -> tuple[tuple[tuple[Place, tuple[str, ...]], ...], dict[str, str]]:
    """Places with their readings, and settings in words. Raises CommandError."""
    from foamwright.errors import CommandError

    if given["value"] is not None:
        if given["key"] is None or given["typed"] or given["file"]:
            raise CommandError("--value goes with --key, and with no readings")
        return (), {given["key"]: given["value"]}
    readings = _readings(given)
    if not readings:
        raise CommandError("nothing to record: give --reading or --readings, --cut, or --metres")
    known = _places(given)
    if known is None:
        return tuple((_own(name, given["key"]), r) for name, r in readings.items()), {}
    for name in readings:
        if name not in known:
            there = ", ".join(known)
            raise CommandError(
                f"the coupon has no place {name or 'without a name'}; it has {there}"
            )
    return tuple((known[name], r) for name, r in readings.items()), {}


def _readings(given: Mapping[str, Any]) -> Readings:
    from foamwright.readings import read_csv

    found = dict(read_csv(given["file"])) if given["file"] is not None else {}
    for text in given["typed"]:
        place, _, reading = text.rpartition("=")
        found[place.strip()] = (*found.get(place.strip(), ()), reading.strip())
    return found


def _places(given: Mapping[str, Any]) -> Mapping[str, Place] | None:
    """The places of the coupon that was measured; None where none was named."""
    from foamwright.coupon_design import places_of
    from foamwright.errors import CommandError
    from foamwright.recording_results import read_record

    if given["coupon"] is None:
        return None
    places = places_of(read_record(given["coupon"]))
    if not places:
        raise CommandError(f"{given['coupon']} holds no coupon")
    return places


def _own(name: str, key: str | None) -> Place:
    """A value that was read as it is; a place of its own names the key."""
    from foamwright.errors import CommandError
    from foamwright.readings import Place

    if not name and not key:
        raise CommandError("say what was measured: --key, or --coupon with its places")
    if name and key and name != key:
        raise CommandError(f"--key {key}, and a reading of {name}: say it once")
    return Place(name, name or key or "", "")


def _outcome(
    shelf: Shelf, profile_id: str, given: Mapping[str, Any], said: Words, as_json: bool
) -> None:
    from foamwright import report, tables
    from foamwright.recording_results import OUTCOMES, Outcome, record_outcome

    bad = {k: tuple(given[k]) for k in OUTCOMES}
    told = record_outcome(shelf, profile_id, Outcome(given["folder"], bad, given["again"], said))
    if as_json:
        data = [{**tables.plain(t), "files": [str(f) for f in t.files]} for t in told]
        click.echo(report.document({"results": data}, ()))
        return
    for one in told:
        counts = [f"{len(v)} {k.replace('_', ' ')}" for k, v in one.bad.items() if v]
        metres = "" if one.metres is None else f"; its blade went {one.metres:.2f} m"
        pieces = ", ".join([f"{one.clean} clean", *counts])
        click.echo(f"{readable(one.machine)}: {pieces}{metres}")


def _blade(
    shelf: Shelf, profile_id: str, given: Mapping[str, Any], said: Words, as_json: bool
) -> None:
    from foamwright import report, report_shelf
    from foamwright.recording_results import record_blade

    record_blade(shelf, profile_id, said, given["metres"], given["changed"])
    told = report_shelf.blade_data(shelf.machine(profile_id).profile)
    click.echo(report.document({"blade": told}, ()) if as_json else told["told"])
