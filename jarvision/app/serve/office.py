"""The shelf that is served: where it lies, who is let in, what works on it."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Protocol, TypeVar

from jarvision.app.serve.desk import Desk
from jarvision.app.serve.keeper import Keeper, ShelfNow
from jarvision.app.serve.limits import SERVE_LIMITS, Bucket, ServeLimits
from jarvision.app.serve.refresh import Refresher
from jarvision.app.serve.sessions import Doors
from jarvision.base.errors import JarvisionError, PhotoRefusedError
from jarvision.run.first_look import small_picture

_Done = TypeVar("_Done")


class Guarded(Protocol):
    """Has something done with a photo in a worker process, which a bomb ends instead of the server.

    Work and what it returns are picklable; what it raises is raised here.
    """

    def __call__(self, work: Callable[[], _Done]) -> _Done:
        """Have it done, and wait."""


@dataclass
class Office:
    """What the pages of one shelf share; made once, when the server starts.

    Attributes
    ----------
    folder, out
        The photos; where readings and report go.
    address
        What a phone must open, such as ``http://192.0.2.7:8765``.
    guarded
        Where photos are decoded, for the pages that show more of them than their readings.
    refresher
        Has the report written anew.
    lan
        Whether other devices reach it.
    tries, uploads
        How often a code may be tried, by address; how often a photo sent, by session.
    coming
        Photos that are coming in just now.
    """

    folder: Path
    out: Path
    desk: Desk
    keeper: Keeper
    doors: Doors
    address: str
    guarded: Guarded
    refresher: Refresher
    lan: bool = False
    limits: ServeLimits = SERVE_LIMITS
    tries: Bucket = field(default_factory=lambda: Bucket(10.0, 1 / 6))
    uploads: Bucket = field(default_factory=lambda: Bucket(60.0, 2.0))
    coming: int = 0
    clock: Callable[[], float] = time.time
    tell: Callable[[str], None] = print

    def __post_init__(self) -> None:
        self.keeper.give_way = self.refresher.give_way
        self.keeper.small_of = self._small_of
        self.refresher.broken_off = self.rest_later

    def _small_of(self, photo: Path) -> bytes:
        """A photo small: of twenty that ask for their jar, nobody knows which one is meant."""
        try:
            return self.guarded(partial(small_picture, photo))
        except PhotoRefusedError:  # its jar is asked for all the same
            return b""

    def changed(self, *, counts: bool = False) -> None:
        """Note a change of the shelf; ``counts``: one by which all jars are to be told anew."""
        self.refresher.note(counts=counts)
        self.rest_later()

    def rest_later(self) -> None:
        """Keep the shelf as the last scoring, for other commands, after a while without a change.

        A large shelf takes some seconds, in which no photo is read. Then the report is written
        anew, in a process that gives way to whoever comes.
        """

        def keep() -> None:
            with suppress(JarvisionError):  # the readings are kept; the next change tries again
                self.keeper.keep()
                self.keeper.refresh()  # begin with what other runs left
                self.refresher.go(lambda: self.desk.put(self.keeper.refresh))

        self.desk.later(keep, self.limits.rest_s)

    async def shelf_now(self) -> ShelfNow:
        """The shelf for a page: fresh when the desk is idle, else as the desk left it last.

        Nor does a look at a page end a scoring of the whole folder.
        """
        shown = self.keeper.shown
        if shown is None or (self.desk.idle and not self.refresher.running):
            return await self.desk.do(self.keeper.refresh)
        return shown
