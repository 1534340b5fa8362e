"""``jarvision watch``: score photos as they arrive, until it is stopped."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from jarvision.app.cli.options import (
    Jobs,
    OutFolder,
    PhotoFolderName,
    Quiet,
    RegisterFile,
    SettingsFile,
)
from jarvision.app.cli.running import cores, progress_bar, stoppable
from jarvision.app.cli.values import a_number
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.records import ShelfResult, VerdictWord
    from jarvision.run.sources import PhotoFolder

ASKING: Final = ("no-go", "check")
"""Verdicts of which a jar that was not known before is told by name."""

WATCH_EXAMPLE = "Example: jarvision watch phone-photos --out report --interval 10"


def watch(
    folder: PhotoFolderName,
    out: OutFolder,
    register: RegisterFile = None,
    jobs: Jobs = None,
    settings_file: SettingsFile = None,
    interval: Annotated[
        float,
        typer.Option(
            parser=a_number("--interval", example="--interval 10", least=0.2, most=86400),
            metavar="SECONDS",
            help="How often to look. Default: 10.",
        ),
    ] = 10.0,
    pause: Annotated[
        float,
        typer.Option(
            parser=a_number("--pause", example="--pause 30", least=0, most=86400),
            metavar="SECONDS",
            help="Refresh tables and report when nothing has come for so long. Default: 30.",
        ),
    ] = 30.0,
    quiet: Quiet = False,
) -> None:
    """Score photos as they arrive in FOLDER, until Ctrl-C.

    Half-copied photos are waited for.

    Exit codes: 0 never (it runs on), 2 bad usage, 5 output folder not writable, 130 stopped.
    """
    from jarvision.app.cli.scoring import Wish, open_fleet, open_wished, score_and_write
    from jarvision.app.cli.summary import tell_refused
    from jarvision.run.score import read_shelf
    from jarvision.run.sources import open_folder
    from jarvision.run.watch import Rhythm, Work, watch_folder

    wish = Wish(out=out, register=register, settings_file=settings_file)
    with (
        stoppable(out),
        open_fleet(None, jobs or cores()) as fleet,
        progress_bar(shown=not quiet, bar=False) as (_, tell),
    ):

        def read(source: PhotoFolder, skip: Collection[Path]) -> None:
            shelf = open_wished(source, wish)
            read_shelf(shelf, out=out, source=source, fleet=fleet, skip=skip, tell=tell)

        known: dict[str, VerdictWord] = {}

        def refresh(source: PhotoFolder, skip: Collection[Path]) -> None:
            result = score_and_write(source, wish, fleet=fleet, tell=_swallow, skip=skip)
            unnamed = tell_refused(result, only="unnamed_jar")
            for sentence in (_sentence(result), *tell_changes(known, result), *unnamed):
                tell(sentence)
            known.clear()
            known.update(_verdicts(result))

        tell(f"Watching {folder} every {interval:g} s. Ctrl-C ends it.")
        tell(f"The report is {out / 'report.html'}: load it again after a refresh.")
        watch_folder(
            lambda: open_folder(folder),
            out=out,
            work=Work(read=read, refresh=refresh, tell=tell),
            rhythm=Rhythm(interval_s=interval, pause_s=pause),
        )


def _swallow(_: str) -> None:
    """What became of the photos was told when they were read."""


def _verdicts(result: ShelfResult) -> dict[str, VerdictWord]:
    return {story.verdict.jar: story.verdict.verdict for story in result.stories}


def tell_changes(known: Mapping[str, VerdictWord], result: ShelfResult) -> list[str]:
    """Each jar whose verdict is another than at the refresh before, with why; new ones that ask."""
    from jarvision.records.wording import PLAIN
    from jarvision.report.words import by_urgency

    told = []
    for story in by_urgency(result.stories):
        jar, now = story.verdict.jar, story.verdict.verdict
        before = known.get(jar)
        if now == before or (before is None and now not in ASKING):
            continue
        why = story.verdict.findings[0].tell_short(PLAIN)
        was = f", was {before}" if before else ""
        told.append(f"{printable(jar)} is {now}{was}: {why}.")
    return told


def _sentence(result: ShelfResult) -> str:
    from jarvision.base.text import counted
    from jarvision.report.words import VERDICT_WORDS

    counts = Counter(story.verdict.verdict for story in result.stories)
    told = ", ".join(f"{counts[word]} {word}" for word in VERDICT_WORDS if counts[word])
    unusable = sum(reading.status == "unusable" for reading in result.readings)
    used = len(result.readings) - unusable
    photos = counted(used, "photo")
    return f"Report refreshed: {told or 'no jar'}; {photos} used, {unusable} not usable."
