"""The whole folder scored anew while nobody needs the shelf: tables and report follow the phone.

A scoring of a large shelf takes a minute, and holds the output folder. So it runs in a process of
its own, after a rest, and is ended at once when somebody comes: nobody waits for it. It does what
``jarvision score`` does, so that what the pages left undone is done: readings of all jars put right
by new counts, photos that a new bare look reads again, photos that came by another way.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final, Protocol

from jarvision.api import publisher
from jarvision.base.errors import NothingToScoreError
from jarvision.base.text import counted
from jarvision.report.words import tell_day
from jarvision.run.score import score_shelf
from jarvision.run.shelf import open_shelf
from jarvision.run.workers import SideRun, local_fleet

REPORT_NAME: Final = "report.html"


class Run(Protocol):
    """A scoring that has begun: :class:`jarvision.run.workers.SideRun`."""

    def end(self) -> None:
        """End it now."""

    def wait(self) -> bool:
        """Wait until it ends; whether it did all."""


@dataclass(frozen=True)
class WholeScoring:
    """Scores a folder and writes its report, as the command line does; picklable."""

    folder: Path
    out: Path
    register: Path | None = None
    settings_file: Path | None = None

    def __call__(self) -> None:
        """Score; nothing is done where there is no photo."""
        shelf = open_shelf(self.folder, register=self.register, settings_file=self.settings_file)
        with suppress(NothingToScoreError):
            score_shelf(
                shelf,
                out=self.out,
                fleet=local_fleet(1, apart=True),
                publish=publisher(shelf, self.out),
            )

    def begin(self) -> Run:
        """Begin in a process of its own."""
        return SideRun(self)


@dataclass
class Refresher:
    """Knows what the report on the disk lacks, and has it written anew.

    Attributes
    ----------
    out
        The output folder.
    begin
        Begins a scoring of the whole folder.
    rest_s
        After how long without a change it begins, s; for the words.
    broken_off
        Called when a scoring gave way: it is to be tried again after another rest.
    """

    out: Path
    begin: Callable[[], Run]
    rest_s: float
    broken_off: Callable[[], None] = lambda: None
    _run: Run | None = None
    _changes: int = 0
    _counts: bool = False
    _lacking: int | None = None
    _failed: bool = False
    _guard: threading.Lock = field(default_factory=threading.Lock)

    @property
    def running(self) -> bool:
        """Whether the folder is being scored anew just now."""
        return self._run is not None

    @property
    def due(self) -> bool:
        """Whether something has changed that no report was written after, by whomever."""
        return self._changes > 0 and self._written_ns() == self._lacking

    def note(self, *, counts: bool = False) -> None:
        """Note a change that the report lacks; ``counts``: one that all jars lack."""
        self.give_way()
        with self._guard:
            if self._written_ns() != self._lacking:  # a report was written since the last change
                self._changes, self._counts = 0, False
            self._changes, self._counts = self._changes + 1, self._counts or counts
            self._lacking, self._failed = self._written_ns(), False

    def give_way(self) -> bool:
        """End a scoring that is under way, for somebody needs the shelf; whether there was one."""
        with self._guard:
            run, self._run = self._run, None
        if run is None:
            return False
        run.end()
        self._lacking = self._written_ns()  # the report may be new, the rest is not
        self.broken_off()
        return True

    def go(self, then: Callable[[], object]) -> None:
        """Score the folder anew if something is due; ``then`` is called once all is written."""
        with self._guard:
            if self._run is not None or not self.due or self._failed:
                return
            run = self._run = self.begin()
        threading.Thread(target=self._watch, args=(run, then), daemon=True).start()

    def _watch(self, run: Run, then: Callable[[], object]) -> None:
        done = run.wait()
        with self._guard:
            if self._run is not run:  # it gave way
                return
            self._run, self._failed = None, not done
            if done:
                self._changes, self._counts = 0, False
        if done:
            then()

    def _written_ns(self) -> int:
        """When the report was written; 0 for none."""
        try:
            return (self.out / REPORT_NAME).stat().st_mtime_ns
        except OSError:
            return 0

    # ----------------------------------------------------------------------- in words
    def tell_report(self) -> str:
        """How old the report on the disk is, and what it lacks."""
        written_ns = self._written_ns()
        if not written_ns:
            return f"There is no report on the disk yet. {self._tell_next()}".rstrip()
        when = datetime.fromtimestamp(written_ns / 1e9)
        age = f"The report on the disk is of {tell_day(when.date())}, {when:%H:%M}"
        if not self.due:
            return f"{age}."
        return f"{age}, without {counted(self._changes, 'later change')}. {self._tell_next()}"

    def tell_counts(self) -> str:
        """That readings of all jars are to be put right by new counts; empty when they are."""
        if not (self._counts and self.due):
            return ""
        return f"What you counted is not in all jars yet. {self._tell_next()}"

    def _tell_next(self) -> str:
        if self.running:
            return "All jars are being told anew just now."
        if self._failed:
            return "It could not be written anew: jarvision score says why."
        return (
            f"It follows when nothing has come for {self.rest_s:.0f} seconds." if self.due else ""
        )
