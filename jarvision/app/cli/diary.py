"""``jarvision diary``: what only the grower knows of a jar, told with its day."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    last_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json, iso
from jarvision.app.cli.values import a_day, a_number
from jarvision.base.errors import UsageError
from jarvision.base.text import did_you_mean, printable

if TYPE_CHECKING:
    from pathlib import Path

    from jarvision.records import DiaryLine, DiaryWord, JarEntry
    from jarvision.run.shelf import Shelf

DIARY_EXAMPLE = "Example: jarvision diary K08 shaken --date 2026-03-05"


def diary(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar.")],
    what: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="shaken, opened, moved, temperature, note, fruiting, sprayed or unhooded; "
            "nothing lists all.",
        ),
    ] = "",
    more: Annotated[
        str, typer.Argument(metavar="TEXT", help="The degrees, or the note; else what you like.")
    ] = "",
    on: Annotated[
        date | None,
        typer.Option(
            "--date", parser=a_day("--date"), metavar="DATE", help="Day of it. Default: today."
        ),
    ] = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take it back: of --date, else the last one.")
    ] = False,
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Tell of JAR what no photo shows: shaken, opened, moved.

    One line is added to diary.csv beside the register; the next scoring counts with it. A
    temperature in degrees Celsius, and notes, are kept, too.

    Exit codes: 0 done, 2 bad usage, 5 not writable.
    """
    from jarvision.register.diary import WORDS

    shelf = open_paperwork(register, needed=False)
    entry = _jar(jar, out, shelf)
    if not what:
        _list(entry.jar, shelf, as_json=as_json)
        return
    if what not in WORDS:
        near = did_you_mean(what, WORDS) or f"Say one of {', '.join(WORDS)}."
        raise UsageError(f"'{printable(what)}' is nothing that a diary holds", near)
    word = cast("DiaryWord", what)
    line = _undo(entry, word, on, shelf) if undo else _add(entry, word, more, on, shelf)
    if as_json:
        echo_json({**_document(line), "undone": undo})
    else:
        typer.echo(printable(f"{line.jar}, {line.day}: {_words(line)}{', undone' * undo}."))
    tell_lines(["Score the photos again to have it counted."], quiet=quiet)


def _jar(jar: str, out: Path, shelf: Shelf) -> JarEntry:
    """The line of a jar that is known by the register or by its photos.

    Raises
    ------
    UsageError
        Neither knows it.
    """
    jar = shelf.past.now(jar)
    if jar in shelf.register:
        return shelf.register[jar]
    result = last_scoring(out, shelf)
    photographed = {s.verdict.jar: s.history.entry for s in result.stories} if result else {}
    if jar not in photographed:
        raise UsageError(
            f"Jar '{printable(jar)}' is neither in the register nor was it scored",
            did_you_mean(jar, {**shelf.register, **photographed})
            or "Add it with jarvision jars add.",
        )
    return photographed[jar]


def _add(entry: JarEntry, what: DiaryWord, more: str, on: date | None, shelf: Shelf) -> DiaryLine:
    from jarvision.records import DiaryLine
    from jarvision.register.diary import COLDEST_C, WARMEST_C, add_line

    today, celsius, text = _today(), None, more.strip()
    if what == "temperature":
        degrees = a_number(
            "temperature", example="jarvision diary K08 temperature 21.5",
            least=COLDEST_C, most=WARMEST_C,
        )  # fmt: skip
        celsius, text = degrees(more), ""
    line = DiaryLine(entry.jar, what, on or today, celsius, text)
    add_line(shelf.diary_path, line, entry=entry, today=today)
    return line


def _today() -> date:
    return date.today()


def _undo(entry: JarEntry, what: DiaryWord, on: date | None, shelf: Shelf) -> DiaryLine:
    from jarvision.register.diary import undo_line

    return undo_line(shelf.diary_path, entry.jar, what, on, names=shelf.past.names)


def _list(jar: str, shelf: Shelf, *, as_json: bool) -> None:
    lines = shelf.diary.get(jar, ())
    if as_json:
        echo_json({"jar": jar, "diary": [_document(line) for line in lines]})
        return
    for line in lines:
        typer.echo(printable(f"{line.day}  {_words(line)}"))
    if not lines:
        tell_lines([f"Nothing is told of {jar}. {DIARY_EXAMPLE}"])


def _words(line: DiaryLine) -> str:
    warm = f" {line.celsius:g} C" if line.celsius is not None else ""
    return f"{line.what}{warm}" + (f": {line.text}" if line.text else "")


def _document(line: DiaryLine) -> dict[str, Any]:
    return {
        "jar": line.jar,
        "date": iso(line.day),
        "what": line.what,
        "celsius": line.celsius,
        "text": line.text,
    }
