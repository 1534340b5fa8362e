"""``jarvision hindsight``: how often go and no-go were right, how batches did, what jars gave."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import typer

from jarvision.app.cli.batch_words import tell_groups
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
from jarvision.app.cli.plain import echo_json
from jarvision.app.cli.yield_words import tell_among_like, tell_flushes, tell_together
from jarvision.base.text import counted, printable

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from jarvision.register.outcomes import JarOutcome
    from jarvision.run.shelf import Shelf
    from jarvision.truth.groups import Mean
    from jarvision.truth.hindsight import Hindsight, Share
    from jarvision.truth.yields import Efficiency, Together

HINDSIGHT_EXAMPLE = "Example: jarvision hindsight --register photos/jars.csv"


def hindsight(
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Say how often go and no-go were right, how batches did.

    Counts the jars whose outcome you recorded: contamination and yield by batch, spawn source,
    substrate and species. Walls whose points you have counted tell how far readings are off.

    Exit codes: 0 done, 2 bad usage.
    """
    from jarvision.truth.groups import group_all, group_by
    from jarvision.truth.hindsight import look_back

    shelf = open_paperwork(register)
    outcomes = shelf.outcomes
    found = look_back(outcomes.values())
    walls = _counted_walls(shelf, out, quiet=quiet)
    whole, groups = group_all(outcomes.values()), group_by(outcomes.values(), shelf.register)
    yields = [jar for jar in outcomes.values() if jar.fresh_grams is not None]
    fruit = _fruit(shelf, out)
    if as_json:
        document = {
            **asdict(found),
            "counted": walls,
            "yields": [_yield(jar, shelf) for jar in yields],
            "flushes": {number: asdict(told) for number, told in fruit.flushes.items()},
            "among_like": [asdict(jar) for jar in fruit.like],
            "together": [asdict(told) for told in fruit.together],
            "all": asdict(whole),
            "groups": {name: [asdict(group) for group in own] for name, own in groups.items()},
        }
        echo_json(document)
        return
    lines = (
        *_verdicts(found),
        *(_sentence(jar) for jar in yields),
        *tell_flushes(fruit.flushes),
        *tell_among_like(fruit.like),
        *tell_together(fruit.together),
        *tell_groups(whole, groups),
        *walls,
    )
    for line in lines:
        typer.echo(printable(line))
    tell_lines(
        [
            "Only jars with a recorded outcome count. A no-go jar that left unopened tells "
            "nothing: record what you saw through the glass."
        ],
        quiet=quiet,
    )


@dataclass(frozen=True)
class _Fruit:
    """What the jars gave: by flush, beside their like, against how they stood."""

    flushes: Mapping[int, Mean]
    like: tuple[Efficiency, ...]
    together: tuple[Together, ...]


def _fruit(shelf: Shelf, out: Path) -> _Fruit:
    from jarvision.truth.yields import among_its_like, go_together, mean_by_flush

    jars, scored = shelf.outcomes.values(), last_scoring(out, shelf)
    return _Fruit(
        flushes=mean_by_flush(jars, shelf.settings.fruiting),
        like=among_its_like(jars, shelf.register),
        together=go_together(scored.all_stories if scored else (), shelf.outcomes),
    )


def _counted_walls(shelf: Shelf, out: Path, *, quiet: bool) -> list[str]:
    """What counted points say of the readings, where any were counted and ``out`` holds them."""
    from jarvision.run.counting import counts_path
    from jarvision.run.photo_files import STORE_NAME

    if not counts_path(shelf).is_file() or not (out / STORE_NAME).is_file():
        return []
    from jarvision.app.cli.count import scored
    from jarvision.report.count_words import tell_shelf_counts
    from jarvision.run.counting import shelf_counts

    with scored(out, quiet=quiet) as store:
        return tell_shelf_counts(shelf_counts(shelf, store))


def _verdicts(found: Hindsight) -> list[str]:
    lines = [
        _share("go", found.go, "clean or harvested", found.wrong_go),
        _share("no-go", found.no_go, "contaminated", found.wrong_no_go),
    ]
    if found.undecided:
        lines.append(f"wait or check: {counted(found.undecided, 'jar')}, neither right nor wrong.")
    if found.without_verdict:
        lines.append(
            f"no verdict from before the outcome: {counted(found.without_verdict, 'jar')}."
        )
    if found.discarded:
        lines.append(f"thrown out without a look: {counted(found.discarded, 'jar')}, not counted.")
    return lines


def _share(verdict: str, share: Share, right: str, wrong: tuple[str, ...]) -> str:
    if share.percent is None:
        return f"{verdict}: no jar with an outcome yet."
    text = (
        f"{verdict}: {share.percent:.0f} % right (95 % interval {share.low_percent:.0f} to "
        f"{share.high_percent:.0f} %): {share.count} of {counted(share.of, 'jar')} {right}."
    )
    return f"{text} Not so: {', '.join(wrong)}." if wrong else text


def _sentence(jar: JarOutcome) -> str:
    efficiency = tell_efficiency(jar)
    if efficiency:
        return f"{jar.jar}: {tell_weight(jar)}, {efficiency}."
    missing = "no dry weight is recorded, so no biological efficiency"
    return f"{jar.jar}: {tell_weight(jar)}; {missing}."


def _yield(jar: JarOutcome, shelf: Shelf) -> dict[str, Any]:
    from jarvision.truth.yields import flushes_of

    by_flush = [
        {
            "flush": flush.number,
            "first": flush.first.isoformat(),
            "last": flush.last.isoformat(),
            "grams": flush.grams,
        }
        for flush in flushes_of(jar, shelf.settings.fruiting)
    ]
    numbers = {**harvest_numbers(jar), "flushes": len(jar.flushes)}
    return {"jar": jar.jar, **numbers, "by_flush": by_flush}
