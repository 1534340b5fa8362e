"""``jarvision plan``: the next days, from the last scoring."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet, SettingsFile
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    needed_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json, iso, rounded
from jarvision.app.cli.values import a_count, a_day

if TYPE_CHECKING:
    from jarvision.verdict.plan import Plan

FAR_DAYS = 7
"""Verdicts further away than this say too little of a day to write a plan for it."""

PLAN_EXAMPLE = "Example: jarvision plan --out report --register photos/jars.csv"


def plan(
    out: OutOption = REPORT,
    register: RegisterOption = None,
    days: Annotated[
        int | None,
        typer.Option(
            parser=a_count("--days", example="--days 14", least=1, most=120),
            metavar="N",
            help="Days ahead. Default: 14.",
        ),
    ] = None,
    today: Annotated[
        date | None,
        typer.Option(
            parser=a_day("--today"),
            metavar="DATE",
            help="First day of the plan. Default: the day that the verdicts are for.",
        ),
    ] = None,
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Say what is due on which day.

    Writes plan.csv and plan.ics anew, unless --today is far from the last scoring.

    Exit codes: 0 done, 2 no scoring there, or bad usage, 5 folder not writable.
    """
    from jarvision.report.plan_files import write_plan
    from jarvision.verdict.plan import make_plan

    shelf = open_paperwork(register, needed=False, settings_file=settings_file)
    result = needed_scoring(out, shelf)
    amounts = shelf.settings.plan
    if days is not None:
        amounts = replace(amounts, days=days)
    made = make_plan(result, settings=amounts, today=today)
    away = abs((made.first - result.scored_on).days)
    far = away > FAR_DAYS
    paths = () if far else write_plan(made, out, shelf=result.folder)
    if as_json:
        echo_json(_document(made))
    else:
        _print(made)
    if far:
        tell_lines(
            [
                f"This plan begins on {made.first}, but the verdicts are for {result.scored_on}: "
                f"too far apart to act on. Score new photos first. The plan in {out} was left as "
                "it is."
            ]
        )
        return
    told = [f"Written: {', '.join(str(path) for path in paths)}"]
    if away > shelf.settings.verdict.old_photo_days:
        told.append(f"The verdicts are for {result.scored_on}: new photos may say otherwise.")
    tell_lines(told, quiet=quiet)


def _document(made: Plan) -> dict[str, Any]:
    return {
        "first": iso(made.first),
        "last": iso(made.last),
        "items": [
            {
                "date": iso(item.day),
                "task": item.task,
                "jars": list(item.jars),
                "urgency": item.urgency,
                "low": iso(item.low),
                "high": iso(item.high),
                "text": item.text,
            }
            for item in made.items
        ],
        "substrate": [
            {
                "soak_on": iso(batch.soak_on),
                "pack_on": iso(batch.pack_on),
                "spawn_jars": list(batch.spawn_jars),
                "dry_g": batch.dry_g,
                "water_g": rounded(batch.water_g, 1),
            }
            for batch in made.batches
        ],
        "later": list(made.later),
        "undated": list(made.undated),
    }


def _print(made: Plan) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from jarvision.app.cli.console import stdout
    from jarvision.report.plan_files import HEADINGS, jars_told
    from jarvision.report.words import tell_day, tell_span

    console = stdout()
    console.print(f"{tell_day(made.first)} to {tell_day(made.last, year=True)}")
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), expand=False)
    table.add_column("day", no_wrap=True)
    table.add_column("what", no_wrap=True)
    table.add_column("which jars, how", overflow="fold")
    before = None
    for item in made.items:
        day = tell_day(item.day) if item.day != before else ""
        span = tell_span(item.low, item.high)
        text = f"{jars_told(item.jars)}: {item.text}" + (
            f" Interval (80 %): {span}." if span else ""
        )
        table.add_row(*(Text(cell) for cell in (day, HEADINGS[item.task], text)))
        before = item.day
    console.print(table)
    if made.later:
        console.print(f"After these days: {jars_told(made.later)}")
    if made.undated:
        console.print(f"No date can be told: {jars_told(made.undated)}")
    if not made.items:
        console.print("Nothing is due.")
