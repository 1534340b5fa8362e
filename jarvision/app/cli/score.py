"""``jarvision score``: read a folder of photos, write tables and report, tell the result."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.app.cli.console import stderr, stdout
from jarvision.app.cli.options import (
    AsJson,
    Jobs,
    OutFolder,
    PhotoFolderName,
    Quiet,
    RegisterFile,
    SettingsFile,
)
from jarvision.app.cli.running import cores, progress_bar, stoppable
from jarvision.base.errors import ExitCode

if TYPE_CHECKING:
    from jarvision.records import ShelfResult

EXAMPLE = "Example: jarvision score photos --out report --register photos/jars.csv"


def score(
    folder: PhotoFolderName,
    out: OutFolder,
    register: RegisterFile = None,
    jobs: Jobs = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS", help="Dask scheduler whose workers read the photos, tcp://HOST:8786."
        ),
    ] = None,
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Leave with 4 when a photo was unusable.")
    ] = False,
    quiet: Quiet = False,
    today: Annotated[
        datetime | None,
        typer.Option(
            formats=["%Y-%m-%d"],
            metavar="DATE",
            help="Day the verdicts are for. Default: the day of the newest usable photo.",
        ),
    ] = None,
) -> None:
    """Score every photo in FOLDER and say what to do with each jar.

    Exit codes: 0 done, 2 bad usage, 3 no photo found, 4 some photos unusable (with --strict),
    5 output folder not writable, 130 stopped.
    """
    from jarvision.app.cli.scoring import Wish, open_fleet, score_and_write
    from jarvision.run.sources import open_folder

    wish = Wish(out, register, settings_file, today.date() if today else None)
    with (
        stoppable(out),
        open_folder(folder) as source,
        open_fleet(scheduler, jobs or cores()) as fleet,
        progress_bar(shown=not quiet) as (progress, tell),
    ):
        result = score_and_write(source, wish, fleet=fleet, tell=tell, progress=progress)
    if as_json:
        from jarvision.app.cli.document import to_json

        typer.echo(to_json(result))
    else:
        from jarvision.app.cli.summary import print_summary

        print_summary(stdout(), result)
    if not quiet:
        _tell_notes(result, out)
    if strict and any(reading.status == "unusable" for reading in result.readings):
        raise typer.Exit(ExitCode.SOME_UNUSABLE)


def _tell_notes(result: ShelfResult, out: Path) -> None:
    from jarvision.app.cli.summary import tell_refused

    console = stderr()
    for line in (*result.warnings, *tell_refused(result)):
        console.print(line, soft_wrap=True)
    console.print(f"Report: {out / 'report.html'}", soft_wrap=True)
    tables = "readings.csv, days.csv, patches.csv, verdicts.csv, flags.csv, plan.csv"
    console.print(f"Tables: {tables} in {out}", soft_wrap=True)
    console.print(f"Calendar: {out / 'plan.ics'}", soft_wrap=True)
