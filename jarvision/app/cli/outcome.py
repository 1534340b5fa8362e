"""``jarvision outcome``: write down what became of a jar."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.harvest import harvest_numbers, tell_efficiency, tell_weight
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    last_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json, iso
from jarvision.app.cli.values import a_day, a_number
from jarvision.base.errors import UsageError
from jarvision.base.text import did_you_mean, printable

if TYPE_CHECKING:
    from jarvision.register.outcomes import JarOutcome
    from jarvision.run.shelf import Shelf

MOST_GRAMS = 1_000_000
UNDO_EXAMPLE = "Example: jarvision outcome K08 undone --date 2026-03-09"
OUTCOME_EXAMPLE = "Example: jarvision outcome K08 harvested --grams 84 --dry-grams 100"


def outcome(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar.")],
    word: Annotated[
        str,
        typer.Argument(
            metavar="OUTCOME",
            help="clean, contaminated, harvested or discarded; undone takes it back.",
        ),
    ],
    grams: Annotated[
        float | None,
        typer.Option(
            parser=a_number("--grams", example="--grams 84.5", least=0, most=MOST_GRAMS),
            metavar="G",
            help="Fresh weight picked that day, g.",
        ),
    ] = None,
    dry_grams: Annotated[
        float | None,
        typer.Option(
            parser=a_number("--dry-grams", example="--dry-grams 100", least=0, most=MOST_GRAMS),
            metavar="G",
            help="Dry weight of the jar's substrate, g.",
        ),
    ] = None,
    on: Annotated[
        date | None,
        typer.Option(
            "--date", parser=a_day("--date"), metavar="DATE", help="Day of it. Default: today."
        ),
    ] = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Record what became of JAR.

    Clean: it was opened and used. Contaminated. Harvested: each day of picking is one line.
    Discarded: it was thrown out, and nobody looked. From then on it is on no list of things to do.

    One line is added to outcomes.csv beside the register, with what the last scoring said of the
    jar. The last line of a jar and day counts, so that a slip is corrected by recording the day
    again. Undone takes back what was recorded on --date, else on the last day.

    Exit codes: 0 done, 2 bad usage, 5 not writable.
    """
    from jarvision.register.outcomes import (
        OUTCOMES,
        UNDONE,
        Outcome,
        add_outcome,
        verdict_before,
    )

    if word not in (*OUTCOMES, UNDONE):
        words = ", ".join((*OUTCOMES, UNDONE))
        raise UsageError(f"'{printable(word)}' is no outcome", f"Say one of {words}.")
    shelf = open_paperwork(register)
    jar = shelf.past.now(jar)
    if word == UNDONE:
        if grams is not None or dry_grams is not None or note:
            raise UsageError("Undone takes a jar and its day, and nothing else", UNDO_EXAMPLE)
        _undo(jar, on, shelf, as_json=as_json)
        return
    if jar not in shelf.register:
        raise UsageError(
            f"Jar '{printable(jar)}' is not in the register",
            did_you_mean(jar, shelf.register) or "Add it with jarvision jars add.",
        )
    today, names = _today(), shelf.past.names
    day = on or today
    result = last_scoring(out, shelf)
    verdict, verdict_date = verdict_before(result, jar, day) if result else (None, None)
    line = Outcome(jar, cast(Any, word), day, grams, dry_grams, note.strip(), verdict, verdict_date)
    whole = add_outcome(
        shelf.outcomes_path, line, entry=shelf.register[jar], today=today, names=names
    )
    if as_json:
        echo_json(_document(whole))
    else:
        typer.echo(printable(_sentence(whole)))
    if whole.verdict is None:
        tell_lines(
            [
                f"No verdict from before {day} was found in {out}, so that this jar does not count "
                "in jarvision hindsight."
            ],
            quiet=quiet,
        )


def _undo(jar: str, on: date | None, shelf: Shelf, *, as_json: bool) -> None:
    """Take back an outcome, and tell what is left."""
    from jarvision.register.outcomes import undo_outcome

    day, left = undo_outcome(shelf.outcomes_path, jar, on, names=shelf.past.names)
    if as_json:
        nothing = {"jar": jar, "outcome": None}
        echo_json({**(_document(left) if left else nothing), "undone": iso(day)})
        return
    now = f" Now {_sentence(left)}" if left else " Nothing is recorded of it now."
    typer.echo(printable(f"{jar}: what was recorded on {day} is taken back.{now}"))


def _today() -> date:
    return date.today()


def _document(whole: JarOutcome) -> dict[str, Any]:
    """Name everything that is known of the jar's outcome."""
    return {
        "jar": whole.jar,
        "outcome": whole.outcome,
        "date": iso(whole.day),
        "verdict": whole.verdict,
        "verdict_date": iso(whole.verdict_date),
        "flushes": [{"date": iso(day), "grams": grams} for day, grams in whole.flushes],
        **harvest_numbers(whole),
    }


def _sentence(whole: JarOutcome) -> str:
    """Tell the jar's outcome with all its lines."""
    verdict = f"the verdict of {whole.verdict_date} was {whole.verdict}" if whole.verdict else ""
    parts = (
        f"{whole.jar}: {whole.outcome}",
        verdict,
        tell_weight(whole),
        tell_efficiency(whole),
    )
    return ", ".join(filter(None, parts)) + "."
