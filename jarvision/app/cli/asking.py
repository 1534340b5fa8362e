"""Ask at the terminal which jar a photo shows, where neither its name nor a tag says so."""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterable
from typing import TYPE_CHECKING, Final

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.base.text import counted, did_you_mean, printable

if TYPE_CHECKING:
    from jarvision.records import Reading, ShelfResult

END: Final = "."
"""Typed instead of a jar's name, it ends the questions."""


def can_ask() -> bool:
    """Whether somebody sits before a terminal, to read and to type."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def ask_jars(
    result: ShelfResult,
    known: Collection[str],
    *,
    ask: Callable[[str], str] | None = None,
) -> dict[str, str]:
    """Ask for the jar of every photo that names none; return what was told, by photo.

    Parameters
    ----------
    known
        Jars of the register; where there are any, a name that is none of them is asked for once
        more.
    ask
        Puts a question and returns the answer; None: on the terminal.
    """
    photos = [reading for reading in result.readings if reading.reason == "unnamed_jar"]
    if not photos:
        return {}
    tell_lines(
        [
            f"{counted(len(photos), 'photo')} not used: nothing says which jar is shown. Type its "
            f"name; Enter leaves the photo out, {END} ends the questions."
        ]
    )
    return dict(_answers(photos, known, ask or _on_terminal))


def _answers(
    photos: Iterable[Reading], known: Collection[str], ask: Callable[[str], str]
) -> Iterable[tuple[str, str]]:
    new: set[str] = set()
    for reading in photos:
        when = f"{reading.taken_at:%Y-%m-%d %H:%M}"
        question = printable(f"{reading.photo}, {when}: which jar")
        jar = ask(question)
        if jar not in ("", END, *new) and known and jar not in known:
            hint = did_you_mean(jar, known) or "Enter takes it as a new jar."
            jar = ask(printable(f"{jar} is not in the register. {hint} Which jar")) or jar
            new.add(jar)
        if jar == END:
            return
        if jar:
            yield reading.photo, jar


def _on_terminal(question: str) -> str:
    """Ask on stderr; whoever breaks off has nothing more to tell."""
    try:
        told = typer.prompt(question, default="", show_default=False, err=True)
    except typer.Abort:
        typer.echo(err=True)
        return END
    return str(told).strip()
