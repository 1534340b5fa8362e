"""One scoring with its report, for ``score`` and ``watch`` alike."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jarvision.records import ShelfResult
    from jarvision.run.jobs import Fleet
    from jarvision.run.shelf import Shelf
    from jarvision.run.sources import PhotoFolder
    from jarvision.run.update import Progress, Tell


@dataclass(frozen=True)
class Wish:
    """What the user asked for, whatever the photos are."""

    out: Path
    register: Path | None = None
    settings_file: Path | None = None
    today: date | None = None


def score_and_write(
    source: PhotoFolder,
    wish: Wish,
    *,
    fleet: Fleet,
    tell: Tell,
    progress: Progress | None = None,
    skip: Collection[Path] = (),
) -> ShelfResult:
    """Score a folder and write its tables and its report."""
    from jarvision.api import publisher
    from jarvision.run.score import score_shelf

    shelf = open_wished(source, wish)
    return score_shelf(
        shelf,
        out=wish.out,
        source=source,
        progress=progress,
        today=wish.today,
        fleet=fleet,
        skip=skip,
        publish=publisher(shelf, wish.out),
        tell=tell,
    )


def open_wished(source: PhotoFolder, wish: Wish) -> Shelf:
    """Load what lies beside the photos, or where the user said."""
    from jarvision.run.shelf import open_shelf

    return open_shelf(source.root, register=wish.register, settings_file=wish.settings_file)


@contextmanager
def open_fleet(scheduler: str | None, jobs: int) -> Iterator[Fleet]:
    """Open the cluster that was named, else worker processes on this machine."""
    if scheduler is None:
        from jarvision.run.workers import local_fleet

        yield local_fleet(jobs, apart=True)
        return
    from jarvision.run.cluster import cluster_fleet

    with cluster_fleet(scheduler) as fleet:
        yield fleet
