"""``jarvision outcome``: write down what became of a jar."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    last_scoring,
    open_shelf,
    tell_lines,
)
from jarvision.base.errors import UsageError
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.register.outcomes import JarOutcome

EXAMPLE = "Example: jarvision outcome K08 harvested --grams 84 --dry-grams 100"


def outcome(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar.")],
    word: Annotated[
        str, typer.Argument(metavar="OUTCOME", help="clean, contaminated or harvested.")
    ],
    grams: Annotated[
        float | None, typer.Option(metavar="G", help="Fresh weight picked that day, g.")
    ] = None,
    dry_grams: Annotated[
        float | None, typer.Option(metavar="G", help="Dry weight of the jar's substrate, g.")
    ] = None,
    on: Annotated[
        datetime | None,
        typer.Option(
            "--date", formats=["%Y-%m-%d"], metavar="DATE", help="Day of it. Default: today."
        ),
    ] = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Record that JAR was clean, contaminated or harvested.

    One line is added to outcomes.csv beside the register, with what the last scoring said of the
    jar. The last line of a jar and day counts, so that a slip is corrected by recording the day
    again.

    Exit codes: 0 done, 2 bad usage, 5 not writable.
    """
    from jarvision.register.outcomes import (
        OUTCOMES,
        OUTCOMES_NAME,
        Outcome,
        add_outcome,
        verdict_before,
    )

    if word not in OUTCOMES:
        raise UsageError(f"'{printable(word)}' is no outcome", f"Say one of {', '.join(OUTCOMES)}.")
    shelf = open_shelf(register)
    if jar not in shelf.register:
        raise UsageError(
            f"Jar '{printable(jar)}' is not in the register", "Add it with jarvision jars add."
        )
    today = _today()
    day = on.date() if on else today
    result = last_scoring(out, shelf)
    verdict, verdict_date = verdict_before(result, jar, day) if result else (None, None)
    line = Outcome(jar, cast(Any, word), day, grams, dry_grams, note.strip(), verdict, verdict_date)
    path = shelf.folder / OUTCOMES_NAME
    whole = add_outcome(path, line, entry=shelf.register[jar], today=today)
    typer.echo(json.dumps(_document(whole), indent=2) if as_json else printable(_told(whole)))
    if whole.verdict is None:
        tell_lines(
            [
                f"No verdict from before {day} was found in {out}, so that this jar does not count "
                "in jarvision hindsight."
            ],
            quiet=quiet,
        )


def _today() -> date:
    return date.today()


def _document(whole: JarOutcome) -> dict[str, Any]:
    """Name everything that is known of the jar's outcome."""
    efficiency = whole.biological_efficiency_percent
    return {
        "jar": whole.jar,
        "outcome": whole.outcome,
        "date": whole.day.isoformat(),
        "verdict": whole.verdict,
        "verdict_date": whole.verdict_date.isoformat() if whole.verdict_date else None,
        "flushes": [{"date": day.isoformat(), "grams": grams} for day, grams in whole.flushes],
        "fresh_grams": whole.fresh_grams,
        "dry_grams": whole.dry_grams,
        "biological_efficiency_percent": None if efficiency is None else round(efficiency, 1),
    }


def _told(whole: JarOutcome) -> str:
    """Tell the jar's outcome with all its lines."""
    parts = [f"{whole.jar}: {whole.outcome}"]
    if whole.verdict:
        parts.append(f"the verdict of {whole.verdict_date} was {whole.verdict}")
    if whole.fresh_grams is not None:
        flushes = "1 flush" if len(whole.flushes) == 1 else f"{len(whole.flushes)} flushes"
        parts.append(f"{whole.fresh_grams:g} g in {flushes}")
    efficiency = whole.biological_efficiency_percent
    if efficiency is not None:
        parts.append(f"biological efficiency {efficiency:.0f} % of {whole.dry_grams:g} g dry")
    return ", ".join(parts) + "."
