"""``jarvision hindsight``: how often go and no-go were right, and what the jars gave."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import typer

from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import RegisterOption, open_shelf, tell_lines
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.register.outcomes import JarOutcome
    from jarvision.truth.hindsight import Hindsight, Share

EXAMPLE = "Example: jarvision hindsight --register photos/jars.csv"


def hindsight(
    register: RegisterOption = None, as_json: AsJson = False, quiet: Quiet = False
) -> None:
    """Say how often go and no-go were right on your own jars.

    Counts the jars whose outcome you recorded, and what they yielded.

    Exit codes: 0 done, 2 bad usage.
    """
    from jarvision.truth.hindsight import look_back

    outcomes = open_shelf(register).outcomes
    found = look_back(outcomes.values())
    yields = [jar for jar in outcomes.values() if jar.fresh_grams is not None]
    if as_json:
        document = {**asdict(found), "yields": [_yield(jar) for jar in yields]}
        typer.echo(json.dumps(document, indent=2))
        return
    for line in (*_verdicts(found), *(_told(jar) for jar in yields)):
        typer.echo(printable(line))
    tell_lines(
        [
            "Only jars with a recorded outcome count. A no-go jar that left unopened tells "
            "nothing: record what you saw through the glass."
        ],
        quiet=quiet,
    )


def _verdicts(found: Hindsight) -> list[str]:
    lines = [
        _share("go", found.go, "clean or harvested", found.wrong_go),
        _share("no-go", found.no_go, "contaminated", found.wrong_no_go),
    ]
    if found.undecided:
        lines.append(f"wait or check: {_jars(found.undecided)}, neither right nor wrong.")
    if found.without_verdict:
        lines.append(f"no verdict from before the outcome: {_jars(found.without_verdict)}.")
    return lines


def _share(verdict: str, share: Share, right: str, wrong: tuple[str, ...]) -> str:
    if share.percent is None:
        return f"{verdict}: no jar with an outcome yet."
    text = (
        f"{verdict}: {share.percent:.0f} % right (95 % interval {share.low_percent:.0f} to "
        f"{share.high_percent:.0f} %): {share.count} of {_jars(share.of)} {right}."
    )
    return f"{text} Not so: {', '.join(wrong)}." if wrong else text


def _jars(count: int) -> str:
    return "1 jar" if count == 1 else f"{count} jars"


def _told(jar: JarOutcome) -> str:
    flushes = "1 flush" if len(jar.flushes) == 1 else f"{len(jar.flushes)} flushes"
    text = f"{jar.jar}: {jar.fresh_grams:g} g in {flushes}"
    efficiency = jar.biological_efficiency_percent
    if efficiency is None:
        return f"{text}; no dry weight is recorded, so no biological efficiency."
    return f"{text}, biological efficiency {efficiency:.0f} % of {jar.dry_grams:g} g dry."


def _yield(jar: JarOutcome) -> dict[str, Any]:
    efficiency = jar.biological_efficiency_percent
    return {
        "jar": jar.jar,
        "fresh_grams": jar.fresh_grams,
        "dry_grams": jar.dry_grams,
        "flushes": len(jar.flushes),
        "biological_efficiency_percent": None if efficiency is None else round(efficiency, 1),
    }
