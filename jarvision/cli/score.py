"""``jarvision score``: read a folder of photos, write tables and report, tell the result."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.cli.console import stderr, stdout
from jarvision.cli.options import AsJson, OutFolder, Quiet, SettingsFile
from jarvision.cli.running import cores, progress_bar, stoppable
from jarvision.errors import ExitCode

if TYPE_CHECKING:
    from jarvision.records import ShelfResult

EXAMPLE = "Example: jarvision score photos --out report --register photos/jars.csv"


def score(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of photos.")],
    out: OutFolder,
    register: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV", help="Jar register. Without it: jars.csv in FOLDER, when there is one."
        ),
    ] = None,
    jobs: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Photos read at once. Default: one per core."),
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
    result = _score_and_write(
        folder,
        out,
        register=register,
        settings_file=settings_file,
        jobs=jobs or cores(),
        today=today.date() if today else None,
        quiet=quiet,
    )
    if as_json:
        from jarvision.cli.document import to_json

        typer.echo(to_json(result))
    else:
        from jarvision.cli.summary import print_summary

        print_summary(stdout(), result)
    if not quiet:
        _tell_notes(result, out)
    if strict and any(reading.status == "unusable" for reading in result.readings):
        raise typer.Exit(ExitCode.SOME_UNUSABLE)


def _score_and_write(
    folder: Path,
    out: Path,
    *,
    register: Path | None,
    settings_file: Path | None,
    jobs: int,
    today: date | None,
    quiet: bool,
) -> ShelfResult:
    from jarvision.api import publisher
    from jarvision.batch import score_folder
    from jarvision.settings_file import find_settings

    settings = find_settings(folder, chosen=settings_file)
    publish = publisher(folder, out, register=register, settings=settings)
    with stoppable(out), progress_bar(shown=not quiet) as (progress, tell):
        return score_folder(
            folder,
            out=out,
            register=register,
            jobs=jobs,
            progress=progress,
            today=today,
            settings=settings,
            publish=publish,
            tell=tell,
        )


def _tell_notes(result: ShelfResult, out: Path) -> None:
    from jarvision.cli.summary import tell_refused

    console = stderr()
    for line in (*result.warnings, *tell_refused(result)):
        console.print(line, soft_wrap=True)
    console.print(f"Report: {out / 'report.html'}", soft_wrap=True)
    tables = "readings.csv, days.csv, patches.csv, verdicts.csv, flags.csv, plan.csv"
    console.print(f"Tables: {tables} in {out}", soft_wrap=True)
    console.print(f"Calendar: {out / 'plan.ics'}", soft_wrap=True)
