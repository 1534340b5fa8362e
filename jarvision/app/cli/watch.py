"""``jarvision watch``: score photos as they arrive, until it is stopped."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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

if TYPE_CHECKING:
    from jarvision.records import ShelfResult
    from jarvision.run.sources import PhotoFolder

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

        def refresh(source: PhotoFolder, skip: Collection[Path]) -> None:
            result = score_and_write(source, wish, fleet=fleet, tell=_swallow, skip=skip)
            for sentence in (_sentence(result), *tell_refused(result, only="unnamed_jar")):
                tell(sentence)

        tell(f"Watching {folder} every {interval:g} s. Ctrl-C ends it.")
        watch_folder(
            lambda: open_folder(folder),
            out=out,
            work=Work(read=read, refresh=refresh, tell=tell),
            rhythm=Rhythm(interval_s=interval, pause_s=pause),
        )


def _swallow(_: str) -> None:
    """What became of the photos was told when they were read."""


def _sentence(result: ShelfResult) -> str:
    from jarvision.base.text import counted
    from jarvision.report.words import VERDICT_WORDS

    counts = Counter(story.verdict.verdict for story in result.stories)
    told = ", ".join(f"{counts[word]} {word}" for word in VERDICT_WORDS if counts[word])
    unusable = sum(reading.status == "unusable" for reading in result.readings)
    used = len(result.readings) - unusable
    photos = counted(used, "photo")
    return f"Report refreshed: {told or 'no jar'}; {photos} used, {unusable} not usable."
