"""Consoles: data on stdout, talk on stderr; no colour in pipes or under NO_COLOR."""

from __future__ import annotations

import os
import traceback
from collections.abc import Iterable
from typing import TYPE_CHECKING

from jarvision.base.text import printable

if TYPE_CHECKING:
    from rich.console import Console

TABLE_WIDTH = 80
DEBUG_VARIABLE = "JARVISION_DEBUG"


def stdout() -> Console:
    """Console for data. In a pipe it is 80 columns wide, whatever the terminal."""
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False, soft_wrap=False)
    console.width = min(console.width, TABLE_WIDTH) if console.is_terminal else TABLE_WIDTH
    return console


def stderr() -> Console:
    """Console for talk."""
    from rich.console import Console

    return Console(stderr=True, highlight=False, markup=False, emoji=False)


def tell_lines(lines: Iterable[str], *, quiet: bool = False) -> None:
    """Say something to the user, one line each, on stderr; nothing when they want it quiet."""
    if quiet:
        return
    console = stderr()
    for line in lines:
        console.print(printable(line), soft_wrap=True)


def tell_error(message: str, remedy: str, *, trace: Exception | None = None) -> None:
    """Say what went wrong and what to do next; the traceback only when asked for."""
    console = stderr()
    if trace is not None and os.environ.get(DEBUG_VARIABLE):
        console.print("".join(traceback.format_exception(trace)), style="dim")
    told = printable(message).rstrip(".")
    console.print(told if told.endswith("?") else f"{told}.", style="bold", soft_wrap=True)
    if remedy:
        console.print(printable(remedy), soft_wrap=True)
