"""The command line: arguments -> job -> pipeline -> exit status. No geometry.

Exit status: 0 done, 1 the job has a fault or a refusal, 2 the command line is wrong.  A fault is
one line on standard error.  With --json one document goes to standard output and nothing else
there.
Everything heavy is imported inside the commands, so that `--help` is quick.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from foamwright import __version__
from foamwright.cli_guard import FILE as _FILE
from foamwright.cli_guard import PICTURE as _PICTURE
from foamwright.cli_guard import Command, guarded, json_option
from foamwright.cli_offcut import offcut
from foamwright.cli_profile import profile
from foamwright.names import readable

if TYPE_CHECKING:
    from foamwright.pipeline import Request

#: Seconds that a layout search may take, where the user doesn't say.
LAYOUT_SECONDS = 5


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="foamwright %(version)s")
def main() -> None:
    """Drafted outlines become proven cut files for foam and fabric.

    \b
    Start a job:   foamwright start heron --drawing heron.svg
    Look at it:    foamwright inspect heron.svg
    Try it:        foamwright check heron/job.toml
    Cut it:        foamwright cut heron/job.toml --out cut-files
    On paper:      foamwright paper heron/job.toml --out heron.pdf
    Prove again:   foamwright verify cut-files
    """
    # the matrices here are small: more threads for them only wait for each other
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@main.command()
@click.argument("folder", type=_FILE)
@click.option("--drawing", type=_FILE, help="A drawing to make entries from, one for each piece.")
@click.option("--units", help="Unit of a drawing's bare numbers (mm, cm, in).")
@guarded
def start(folder: Path, drawing: Path | None, units: str | None) -> None:
    """Write a commented job.toml into FOLDER.

    \b
    Example: foamwright start heron --drawing heron.svg
    """
    from foamwright.report import show_findings
    from foamwright.starting import start_job

    file, findings = start_job(folder, drawing, units)
    show_findings(findings, whole=True)
    click.echo(f"{readable(str(file))} is there to be filled in")
    click.echo(f"then: foamwright check {readable(str(file))}")


@main.command(short_help="List a drawing's pieces, sizes, corners and faults.")
@click.argument("drawing", type=_FILE)
@click.option("--units", help="Unit of a drawing's bare numbers (mm, cm, in).")
@click.option("--preview", type=_PICTURE, help="Picture (.svg, .png): numbered corners, findings.")
@click.option("--even-odd", is_flag=True, help='As a job with crossings = "even-odd" reads it.')
@json_option
@guarded
def inspect(
    drawing: Path, units: str | None, preview: Path | None, even_odd: bool, as_json: bool
) -> None:
    """List a drawing's pieces, sizes, openings, numbered corners, marks and faults.

    Of a job.toml: its pieces, those of its drafts too, and the edges that it names.

    \b
    Example: foamwright inspect heron.svg --preview heron-corners.svg
    Example: foamwright inspect heron/job.toml
    """
    from foamwright import inspecting, report
    from foamwright.errors import CommandError
    from foamwright.findings import Refused

    if drawing.is_dir():
        raise CommandError(f"{drawing} is a folder: name a drawing or a job.toml in it")
    drawn, findings = inspecting.inspect(drawing, units, preview, even_odd)
    if as_json:
        click.echo(report.document(report.drawing_data(drawn), findings))
    else:
        report.show_drawing(drawn)
        report.show_findings(findings)
    if any(f.is_fault for f in findings):
        sys.exit(Refused.exit_code)


def _job_options(command: Command) -> Command:
    """The options that `check` and `cut` share."""
    for option in reversed(
        [
            click.argument("job", type=_FILE),
            click.option("--material", help="For a bare drawing: a material's id or TOML file."),
            click.option("--machine", help="For a bare drawing: a machine's id or TOML file."),
            click.option("--units", help="Unit of a drawing's bare numbers."),
            click.option(
                "--scale",
                type=click.FloatRange(0.001, 1000),
                help="For a bare drawing: resizes the outlines.",
            ),
            click.option(
                "--mirrored",
                type=click.IntRange(min=0),
                help="For a bare drawing: mirror images besides.",
            ),
            click.option("--only", multiple=True, metavar="PIECE", help="A piece or copy alone."),
            click.option(
                "--layout-time",
                type=click.IntRange(min=0),
                default=LAYOUT_SECONDS,
                show_default=True,
                help="Seconds to search the layout of each material on each machine.",
            ),
            click.option("--first-layout", is_flag=True, help="The first layout, no search."),
            click.option("--use-offcuts", is_flag=True, help="Offer the shelf's offcuts first."),
            click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True),
            click.option("--fresh-layout", is_flag=True, help="Leave a kept layout be."),
            json_option,
        ]
    ):
        command = option(command)
    return command


@main.command(short_help="Do all that `cut` does, and write nothing.")
@_job_options
@click.option("--compare-stock", is_flag=True, help="Lay the pieces on each stock alone, too.")
@guarded
def check(as_json: bool, compare_stock: bool, **options: Any) -> None:
    """All that `cut` does up to writing: seams, hazards, layout, compensation.

    JOB is a job.toml, or a drawing with --material and --machine.

    \b
    Example: foamwright check heron/job.toml
    """
    from foamwright import pipeline, report
    from foamwright.comparing import compare_stocks
    from foamwright.report_layout import compared_data, layout_told, price_word, show_compared
    from foamwright.telling import steps_told

    with layout_told() as tell, steps_told() as told:
        plan = pipeline.plan(_request({**options, "tell": tell, "told": told}))
        compared = tuple(compare_stocks(plan)) if compare_stock else ()
    if as_json:
        more = {"compared": compared_data(compared)} if compare_stock else {}
        click.echo(report.document({**report.plan_data(plan), **more}, plan.findings))
    else:
        report.show_plan(plan)
        if compare_stock:
            show_compared(compared, price_word(plan))
        report.show_findings(plan.findings)


@main.command(short_help="Make the cut files, prove them, write the operator's sheet.")
@_job_options
@click.option("--out", type=_FILE, required=True, help="Folder for the cut files.")
@click.option(
    "--exchange",
    type=click.Choice(["metric", "english"]),
    help="Write the pattern for other shops too, in mm or inches.",
)
@click.option(
    "--keep-offcuts", metavar="LENGTH", help="Shelve what is left over and at least so wide."
)
@click.option("--preview", type=_PICTURE, help="Write a picture of the sheets (.svg or .png).")
@guarded
def cut(out: Path, preview: Path | None, as_json: bool, **options: Any) -> None:
    """Make the cut files, prove them from disk, and write the operator's sheet.

    JOB is a job.toml, or a drawing with --material and --machine.

    \b
    Example: foamwright cut heron/job.toml --out cut-files
    Example: foamwright cut heron/job.toml --out cut-files --preview sheets.png
    """
    from foamwright import pipeline, report, report_shelf
    from foamwright.report_layout import layout_told
    from foamwright.telling import steps_told

    before = pipeline.untold if as_json else report_shelf.show_changes
    with layout_told() as tell, steps_told() as told:
        request = _request({**options, "tell": tell, "told": told})
        result = pipeline.cut(request, out, preview, before)
    if as_json:
        click.echo(report.document(report.result_data(result, out), result.findings))
    else:
        report.show_plan(result.plan)
        report.show_proof(result.record.verification)
        report.show_findings(result.findings)
        made = report.counted(len(result.record.files), "cut file")
        click.echo(f"{made} and the operator's sheet are in {readable(str(out))}")
        if result.record.exchange is not None:
            click.echo(f"the pattern for other shops: {result.record.exchange.name}")


@main.command(short_help="Write the pattern as a PDF at full size.")
@click.argument("job", type=_FILE)
@click.option("--out", type=_FILE, required=True, help="The PDF to write.")
@click.option(
    "--page",
    type=click.Choice(["a4", "letter", "a3", "tabloid"]),
    default="a4",
    show_default=True,
    help="Size of the paper.",
)
@click.option("--material", help="For a bare drawing: a material's id or TOML file.")
@click.option("--units", help="Unit of a drawing that doesn't tell its own.")
@click.option(
    "--scale", type=click.FloatRange(0.001, 1000), help="For a bare drawing: resizes the outlines."
)
@click.option(
    "--mirrored", type=click.IntRange(min=0), help="For a bare drawing: mirror images besides."
)
@click.option("--only", multiple=True, metavar="PIECE", help="A piece or copy alone.")
@json_option
@guarded
def paper(out: Path, page: str, as_json: bool, **options: Any) -> None:
    """Write the pattern as a PDF at full size, tiled over pages, for cutting by hand.

    JOB is a job.toml, or a drawing with --material.

    \b
    Example: foamwright paper heron/job.toml --out heron.pdf --page a4
    """
    from foamwright import pipeline, report
    from foamwright.telling import steps_told

    with steps_told() as told:
        request = _request({**options, "by_hand": True, "told": told})
        pages, findings = pipeline.paper(request, page, out)
    if as_json:
        click.echo(report.document({"file": out.name, "page": page, "pages": pages}, findings))
    else:
        report.show_findings(findings)
        click.echo(f"{report.counted(pages, 'page')} of {page} in {readable(str(out))}")
        click.echo("print at 100 %, then measure the 100 mm bar at the foot of a page")


@main.command()
@click.argument("folder", type=_FILE)
@click.option("--explain", metavar="PIECE", help="Tell where a piece or copy is off most.")
@click.option(
    "--preview", type=_PICTURE, help="Where the picture goes (explain-PIECE.svg beside FOLDER)."
)
@json_option
@guarded
def verify(folder: Path, explain: str | None, preview: Path | None, as_json: bool) -> None:
    """Read written files back and repeat the proof from them alone.

    --explain writes a picture of the place beside FOLDER, never in it.

    \b
    Example: foamwright verify cut-files
    Example: foamwright verify cut-files --explain sole
    """
    from foamwright import pipeline, report, tables
    from foamwright.errors import CommandError
    from foamwright.findings import Refused
    from foamwright.finishing import explain_piece
    from foamwright.telling import steps_told

    if preview and not explain:
        raise CommandError("--preview goes with --explain PIECE")
    with steps_told() as tell:
        verification, findings = pipeline.verify_folder(folder, tell)
    told, picture = explain_piece(folder, explain, findings, preview) if explain else ((), None)
    if as_json:
        proof = {"ok": verification.passed, "verification": tables.plain(verification)}
        if explain:
            proof["explained"] = report.explained_data(told, picture)
        click.echo(report.document(proof, findings))
    else:
        report.show_proof(verification)
        report.show_explained(told, picture)
        report.show_findings(findings)
    if not verification.passed:
        sys.exit(Refused.exit_code)


@main.command(short_help="Open a page in the browser for the whole job.")
@click.argument("files", type=_FILE, nargs=-1)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    help="A port of this machine; any free one where none is said.",
)
@click.option("--no-browser", is_flag=True, help="Print the address and open nothing.")
@guarded
def desk(files: tuple[Path, ...], port: int, no_browser: bool) -> None:
    """Open a page in the browser where a drawing becomes cut files without typing.

    FILES (drawings, a job, a desk's zip) lie on the desk from the start.  The page is for this
    machine alone: its address holds a token, and nothing leaves the machine.

    \b
    Example: foamwright desk
    Example: foamwright desk heron.svg
    """
    from foamwright.desk.server import serve

    def opened(address: str) -> None:
        click.echo(f"the desk is open at {address}")
        click.echo("close it on the page, or with Ctrl-C here")
        if not no_browser:
            import webbrowser

            webbrowser.open(address)

    serve(port, opened, files)
    click.echo("the desk is closed")


@main.command()
@click.option("--material", required=True, help="A material's id or TOML file.")
@click.option("--machine", required=True, help="A machine's id or TOML file.")
@click.option("--out", type=_FILE, required=True, help="Folder for the cut files.")
@click.option("--job", type=_FILE, help="A job whose shelf and permits are used.")
@json_option
@guarded
def coupon(material: str, machine: str, out: Path, job: Path | None, as_json: bool) -> None:
    """Make a test cut to measure kerf, blade offset or overrun by.

    The operator's sheet says what to measure where; `profile record` takes the readings.

    \b
    Example: foamwright coupon --material card-1mm --machine desk-laser-600
             --out coupon
    """
    from foamwright import report
    from foamwright.coupon import cut_coupon

    result = cut_coupon(material, machine, out, job)
    if as_json:
        click.echo(report.document(report.result_data(result, out), result.findings))
    else:
        report.show_plan(result.plan)
        report.show_proof(result.record.verification)
        report.show_findings(result.findings)
        made = report.counted(len(result.record.files), "cut file")
        click.echo(f"{made} and what to measure are in {readable(str(out))}")


def _request(options: dict[str, Any]) -> Request:
    from foamwright.pipeline import Request

    return Request.of(**options)


main.add_command(profile)
main.add_command(offcut)
