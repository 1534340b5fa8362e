"""``jarvision count``: which walls to count, what counts say, and counts for training."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet, RegisterFile, SettingsFile
from jarvision.app.cli.places import REPORT, OutOption
from jarvision.app.cli.plain import echo_json
from jarvision.base.errors import UsageError
from jarvision.base.text import counted, printable

if TYPE_CHECKING:
    from jarvision.run.store import Store

COUNT_NEXT_EXAMPLE = "Example: jarvision count next photos --out report"
COUNT_COMPARE_EXAMPLE = "Example: jarvision count compare photos --out report"
COUNT_EXPORT_EXAMPLE = (
    "Example: jarvision count export photos --to counted --licence 'CC BY 4.0, A. Grower' --confirm"
)

PhotoFolderHere = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="Folder of photos of this machine.")
]

count_app = typer.Typer(
    name="count",
    help="Measure by points counted by eye how right the readings are.",
    no_args_is_help=True,
)


def next_walls(
    folder: PhotoFolderHere,
    walls: Annotated[int, typer.Option(min=1, max=1000, help="How many to list.")] = 6,
    out: OutOption = REPORT,
    register: RegisterFile = None,
    settings: SettingsFile = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """List the walls to count next, in their order.

    The order is drawn once and for all: half by what a count teaches, half by lot. Count from the
    top and leave none out, so that a few walls speak for the shelf.

    Exit codes: 0 done, 2 no scoring there, or bad usage.
    """
    from jarvision.register.counts import read_counts
    from jarvision.run.counting import countable_walls, counts_path
    from jarvision.run.shelf import open_shelf
    from jarvision.truth.counted import first_counts, walls_of

    shelf = open_shelf(folder, register=register, settings_file=settings)
    with scored(out, quiet=quiet) as store:
        every = countable_walls(shelf, store)
    points = read_counts(counts_path(shelf))
    done = first_counts(walls_of(points))
    begun = {point.photo for point in points}
    left = [wall for wall in every if wall.content not in done][:walls]
    if as_json:
        echo_json([
            {
                "jar": wall.jar,
                "date": wall.day.isoformat(),
                "photo": wall.photo,
                "points": len(wall.points),
                "weight": round(wall.weight, 4),
                "begun": wall.content in begun,
            }
            for wall in left
        ])  # fmt: skip
        return
    for wall in left:
        state = ", begun" if wall.content in begun else ""
        told = f"{wall.jar}, {wall.day}: {counted(len(wall.points), 'point')}{state} ({wall.photo})"
        typer.echo(printable(told))
    counted_here = sum(wall.content in done for wall in every)
    tell_lines([f"Counted so far: {counted_here} of {counted(len(every), 'wall')}."], quiet=quiet)


def compare(
    folder: PhotoFolderHere,
    out: OutOption = REPORT,
    register: RegisterFile = None,
    settings: SettingsFile = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Hold readings against counts: bias, error, intervals.

    Writes OUT/counts.html with two plots.

    Exit codes: 0 done, 2 no scoring there, or bad usage, 5 not writable.
    """
    from dataclasses import asdict

    from jarvision.report.count_page import write_count_page
    from jarvision.report.count_words import tell_mean, tell_shelf_counts
    from jarvision.run.counting import countable_walls, shelf_counts
    from jarvision.run.shelf import open_shelf
    from jarvision.truth.adjust import shelf_mean
    from jarvision.truth.compare import figures, figures_by
    from jarvision.truth.counted import repeats_of

    shelf = open_shelf(folder, register=register, settings_file=settings)
    with scored(out, quiet=quiet) as store:
        counts = shelf_counts(shelf, store)
        read = [
            w.reading.coverage.percent for w in countable_walls(shelf, store) if w.reading.coverage
        ]
        page = write_count_page(counts, out, title=shelf.folder.resolve().name)
    bias = figures("all", counts.compared).bias if counts.compared else None
    mean = shelf_mean(read, bias) if bias and read else None
    if as_json:
        groups = figures_by(counts.compared)
        echo_json({
            "all": asdict(figures("all", counts.compared)) if counts.compared else None,
            "groups": {sort: [asdict(group) for group in own] for sort, own in groups.items()},
            "mean": asdict(mean) if mean else None,
            "adjustment": asdict(counts.adjustment) if counts.adjustment else None,
            "left_out": counts.left_out,
            "repeats": [asdict(repeat) for repeat in repeats_of(counts.points)],
            "page": str(page),
        })  # fmt: skip
        return
    for line in tell_shelf_counts(counts) or ["Nothing was counted yet."]:
        typer.echo(printable(line))
    if mean:
        typer.echo(tell_mean(mean, read))
    tell_lines([f"Plots: {page}"], quiet=quiet)


def export(
    folder: PhotoFolderHere,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Where the files go.")],
    licence: Annotated[str, typer.Option(help="The line under which others may use them.")] = "",
    confirm: Annotated[
        bool, typer.Option("--confirm", help="The photos are yours, and the licence is meant.")
    ] = False,
    out: OutOption = REPORT,
    register: RegisterFile = None,
    settings: SettingsFile = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write counted walls for training a network.

    One file a wall: its picture laid flat, black where there are no contents, and its points. No
    photo, no name, no place and no time leaves your machine.

    Exit codes: 0 done, 2 nothing counted, or bad usage, 5 not writable.
    """
    from jarvision.register.counts import read_counts
    from jarvision.run.count_export import export_counts
    from jarvision.run.count_pictures import request_wall, wall_again
    from jarvision.run.counting import countable_walls, counts_path
    from jarvision.run.shelf import open_shelf
    from jarvision.run.workers import StandingWorker

    if not confirm:
        raise UsageError(
            "Nothing was written: the licence is not confirmed",
            "Look at the pictures of your walls first. If others may use them, say --confirm.",
        )
    shelf = open_shelf(folder, register=register, settings_file=settings)
    with scored(out, quiet=quiet) as store:
        walls = {wall.content: wall for wall in countable_walls(shelf, store)}
        index = store.index()
    with closing(StandingWorker()) as worker:  # one odd photo must not end the export
        done = export_counts(
            read_counts(counts_path(shelf)),
            {content: wall.photo for content, wall in walls.items()},
            lambda one: worker.do(partial(wall_again, request_wall(shelf, walls[one], index))),
            to,
            licence=licence,
        )
    if as_json:
        echo_json({"walls": done.walls, "points": done.points, "refused": list(done.refused)})
    else:
        told = f"{counted(done.walls, 'wall')}, {counted(done.points, 'point')}: {to}"
        typer.echo(printable(told))
    tell_lines([f"Not read again: {name}" for name in done.refused], quiet=quiet)


@contextmanager
def scored(out: Path, *, quiet: bool) -> Iterator[Store]:
    """The store of a folder that was scored, while no other run writes into it."""
    from jarvision.report.read_back import no_scoring
    from jarvision.run.lock import only_run
    from jarvision.run.photo_files import STORE_NAME
    from jarvision.run.store import Store

    def tell(sentence: str) -> None:
        tell_lines([sentence], quiet=quiet)

    if not (out / STORE_NAME).is_file():
        raise no_scoring(out)
    with only_run(out, tell=tell), Store(out, tell=tell) as store:
        yield store
