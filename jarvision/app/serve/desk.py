"""The one thread that works on the shelf: what pages ask for is done in turn, never at once."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Done = TypeVar("Done")


class Desk:
    """Does one thing at a time, in the order of asking.

    Files beside the photos, the store and the stories belong to it. What it waits for while another
    run holds the output folder is told on the pages (:attr:`waiting_for`).
    """

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="desk")
        self.waiting_for = ""
        self._timer: threading.Timer | None = None
        self._counting = threading.Lock()  # work is asked for by the loop, the desk and its timer
        self._to_do = 0

    @property
    def idle(self) -> bool:
        """Whether nothing is being done."""
        return self._to_do == 0

    async def do(self, work: Callable[[], Done]) -> Done:
        """Have something done, and wait for it; what it raises is raised here."""
        self._count(1)
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._told, work)

    def put(self, work: Callable[[], object]) -> None:
        """Have something done later; nobody waits for it, and what it raises is lost."""
        self._count(1)
        self._thread.submit(self._told, work)

    def later(self, work: Callable[[], object], seconds: float) -> None:
        """Have something done after a while, unless :meth:`later` is asked again before."""
        self._drop_later()
        self._timer = threading.Timer(seconds, self.put, (work,))
        self._timer.daemon = True
        self._timer.start()

    def _drop_later(self) -> None:
        if self._timer is not None:
            self._timer.cancel()

    def _told(self, work: Callable[[], Done]) -> Done:
        try:
            return work()
        finally:
            self.waiting_for = ""
            self._count(-1)

    def _count(self, step: int) -> None:
        with self._counting:
            self._to_do += step

    def hear(self, sentence: str) -> None:
        """Take a sentence about waiting, from the work that waits."""
        self.waiting_for = sentence

    def close(self) -> None:
        """End when what was asked for is done; what was to be done later is not."""
        self._drop_later()
        self._thread.shutdown()
