"""What long commands share: a progress bar, sentences beside it, a clean end on Ctrl-C."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from jarvision.app.cli.console import stderr
from jarvision.base.errors import StoppedError
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.records import Reading
    from jarvision.run.update import Progress, Tell


@contextmanager
def progress_bar(*, shown: bool, bar: bool = True) -> Iterator[tuple[Progress | None, Tell]]:
    """Yield what takes progress and what takes sentences; both go to stderr.

    In a pipe, or where ``bar`` is false, there is no bar (None); with ``shown`` false the sentences
    are swallowed, too.
    """
    console = stderr()

    def tell(sentence: str) -> None:
        if shown:
            console.print(printable(sentence), soft_wrap=True)

    if not shown or not bar or not console.is_terminal:
        yield None, tell
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as TimeLeft

    columns = (
        TextColumn("photos"),
        BarColumn(bar_width=None),
        MofNCompleteColumn(separator=" of "),
        TextColumn("{task.fields[pace]}"),
        TimeLeft(compact=True),
        TextColumn("{task.fields[left]}"),
    )
    with Progress(*columns, console=console, transient=True) as drawn:
        task = drawn.add_task("", total=None, pace="", left="looking them through")

        def step(done: int, total: int, _: Reading | None) -> None:
            seconds = drawn.tasks[0].elapsed or 0.0
            pace = f"{done / seconds:.1f} a second" if seconds > 0 else ""
            drawn.update(task, completed=done, total=total, pace=pace, left="left")

        yield step, tell


@contextmanager
def stoppable(out: Path) -> Iterator[None]:
    """Turn Ctrl-C, or a polite request to end, into a sentence that says what is kept."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    except KeyboardInterrupt:
        raise StoppedError(
            "Stopped",
            f"What has been read is kept in {printable(str(out))}: "
            "the same command goes on from there. Photos are never changed.",
        ) from None
    finally:
        signal.signal(signal.SIGTERM, before)


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1
