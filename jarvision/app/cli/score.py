"""``jarvision score``: read a folder of photos, write tables and report, tell the result."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.app.cli.asking import ask_jars, can_ask
from jarvision.app.cli.console import stdout, tell_lines
from jarvision.app.cli.options import (
    AsJson,
    Jobs,
    OutFolder,
    PhotoFolderName,
    Quiet,
    RegisterFile,
    SettingsFile,
)
from jarvision.app.cli.plain import echo_json
from jarvision.app.cli.running import cores, progress_bar, stoppable
from jarvision.app.cli.values import a_day
from jarvision.base.errors import ExitCode
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.records import ShelfResult

SCORE_EXAMPLE = "Example: jarvision score photos --out report --register photos/jars.csv"


def score(
    folder: PhotoFolderName,
    out: OutFolder,
    register: RegisterFile = None,
    jobs: Jobs = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS", help="Only for several computers: the one that shares out the work."
        ),
    ] = None,
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Leave with 4 when a photo was unusable.")
    ] = False,
    quiet: Quiet = False,
    today: Annotated[
        date | None,
        typer.Option(
            parser=a_day("--today"),
            metavar="DATE",
            help="Day the verdicts are for. Default: the day of the newest photo.",
        ),
    ] = None,
) -> None:
    """Score every photo in FOLDER and say what to do with each jar.

    At a terminal it asks for the jar of photos whose names do not tell it.

    Exit codes: 0 done, 2 bad usage, 3 no photo found, 4 some photos unusable (with --strict),
    5 output folder not writable, 130 stopped.
    """
    from jarvision.app.cli.scoring import Wish, open_fleet, open_wished, score_and_write
    from jarvision.register.photo_jars import add_photo_jars
    from jarvision.run.sources import NearFolder, open_folder

    wish = Wish(out, register, settings_file, today)
    with (
        stoppable(out),
        open_folder(folder) as source,
        open_fleet(scheduler, jobs or cores()) as fleet,
    ):

        def read() -> ShelfResult:
            with progress_bar(shown=not quiet) as (progress, tell):
                return score_and_write(source, wish, fleet=fleet, tell=tell, progress=progress)

        result = read()
        if isinstance(source, NearFolder) and can_ask() and not (quiet or as_json):
            told = ask_jars(result, open_wished(source, wish).register)
            if told:
                add_photo_jars(source.root, told)
                result = read()
    if as_json:
        from jarvision.app.cli.document import result_document

        echo_json(result_document(result))
    else:
        from jarvision.app.cli.summary import print_summary

        print_summary(stdout(), result)
    tell_lines(_notes(result, out), quiet=quiet)
    if strict and any(reading.status == "unusable" for reading in result.readings):
        raise typer.Exit(ExitCode.SOME_UNUSABLE)


def _way_out(result: ShelfResult) -> list[str]:
    """Where it is told what ends a doubt, when there is one."""
    jar = next((s.verdict.jar for s in result.stories if s.verdict.verdict == "check"), "")
    told = "What settles a check stands with each jar in the report, and in jarvision explain"
    return [f"{told} {printable(jar)}"] if jar else []


def _notes(result: ShelfResult, out: Path) -> list[str]:
    from jarvision.app.cli.summary import tell_refused

    tables = "readings.csv, days.csv, patches.csv, verdicts.csv, tops.csv, flags.csv, plan.csv"
    return [
        *result.warnings,
        *_way_out(result),
        *tell_refused(result),
        f"Report: {out / 'report.html'}",
        f"Tables: {tables} in {out}",
        f"Calendar: {out / 'plan.ics'}",
    ]
