"""The shelf that is served: where it lies, who is let in, what works on it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from jarvision.app.serve.desk import Desk
from jarvision.app.serve.keeper import Keeper, ShelfNow
from jarvision.app.serve.limits import LIMITS, Bucket, Limits
from jarvision.app.serve.sessions import Doors


@dataclass
class Office:
    """What the pages of one shelf share; made once, when the server starts.

    Attributes
    ----------
    folder, out
        The photos; where readings and report go.
    address
        What a phone must open, such as ``http://192.0.2.7:8765``.
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
    lan: bool = False
    limits: Limits = LIMITS
    tries: Bucket = field(default_factory=lambda: Bucket(10.0, 1 / 6))
    uploads: Bucket = field(default_factory=lambda: Bucket(60.0, 2.0))
    coming: int = 0
    clock: Callable[[], float] = time.time
    tell: Callable[[str], None] = print

    async def shelf_now(self) -> ShelfNow:
        """The shelf for a page: fresh when the desk is idle, else as the desk left it last."""
        shown = self.keeper.shown
        if shown is None or self.desk.idle:
            return await self.desk.do(self.keeper.refresh)
        return shown
