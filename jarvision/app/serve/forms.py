"""Forms: an outcome, an event of the diary, a look, a line of the register.

Each is written by the function that the command line calls, and the jar's story told anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from functools import partial
from typing import Final, cast
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jarvision.app.serve.keeper import Keeper, ShelfNow, check_jar_name
from jarvision.app.serve.office import Office
from jarvision.app.serve.pages import Fields, go_to, note, office_of, writes
from jarvision.base.days import read_day
from jarvision.base.errors import UsageError
from jarvision.base.text import did_you_mean, printable
from jarvision.records import DiaryLine, DiaryWord, JarEntry
from jarvision.register.amend import set_cells
from jarvision.register.diary import COLDEST_C, WARMEST_C, WORDS, add_line, undo_line
from jarvision.register.edit import add_jars, new_register
from jarvision.register.jars import TOLD_COLUMNS
from jarvision.register.looks import add_looks
from jarvision.register.outcomes import (
    OUTCOMES,
    Outcome,
    OutcomeWord,
    add_outcome,
    undo_outcome,
    verdict_before,
)
from jarvision.verdict.kin import doubts_about
from jarvision.verdict.settled import looks_at

_MOST_GRAMS: Final = 1_000_000.0
_MOST_LETTERS: Final = 500
_DONE: Final = "Written down"
Written = Callable[[Keeper, ShelfNow, str, Fields], Iterable[str] | None]
"""Writes something of a jar, and may say what to think about."""


def form_routes() -> list[Route]:
    """Routes of the forms of one jar, and of a new one."""
    forms: dict[str, Written] = {
        "/jar/outcome": _outcome,
        "/jar/outcome/undo": _undo_outcome,
        "/jar/event": _event,
        "/jar/event/undo": _undo_event,
        "/jar/seen": _seen,
        "/jar/register": _register,
    }
    return [
        writes("/jars", _new_jar),
        *(writes(path, partial(_of_jar, write)) for path, write in forms.items()),
    ]


async def _of_jar(write: Written, request: Request, fields: Fields) -> Response:
    """Write something of a jar that is there, at the desk."""
    office = office_of(request)
    jar, thoughts = await office.desk.do(lambda: _written(write, office, fields))
    note(request, [_DONE, *thoughts])
    return go_to(f"/jar?name={quote(jar, safe='')}")


def _written(write: Written, office: Office, fields: Fields) -> tuple[str, list[str]]:
    """The jar that something was written of, and what to think about."""
    keeper = office.keeper
    now = keeper.refresh()
    jar = now.shelf.past.now(_text(fields, "name"))
    check_jar_name(jar, now)
    thoughts = list(write(keeper, now, jar, fields) or ())
    keeper.retell(jar)
    office.changed()
    return jar, thoughts


async def _new_jar(request: Request, fields: Fields) -> Response:
    """Write a new jar into the register; start one where there is none."""
    office, jar = office_of(request), _text(fields, "jar")
    keeper = office.keeper

    def write() -> list[str]:
        shelf = keeper.open()
        if not shelf.register_path.exists():
            new_register(shelf.register_path)
        cells = {name: _text(fields, name) for name in TOLD_COLUMNS}
        added = add_jars(shelf.register_path, [jar], cells, is_known_species=shelf.species.knows)
        fed_by, now = added.entry.parent, keeper.refresh()
        doubts = doubts_about(fed_by, now.alive, shelf.outcomes.get(fed_by))
        keeper.retell(jar)
        office.changed()
        return [*added.warnings, *doubts]

    note(request, [_DONE, *await office.desk.do(write)])
    return go_to(f"/jar?name={quote(jar, safe='')}")


# --------------------------------------------------------------------------- what is written
def _outcome(keeper: Keeper, now: ShelfNow, jar: str, fields: Fields) -> None:
    shelf, word = now.shelf, _text(fields, "outcome")
    if word not in OUTCOMES:
        raise UsageError(f"'{printable(word)}' is no outcome", f"Pick one: {', '.join(OUTCOMES)}.")
    day = _day(fields, keeper.today())
    verdict, verdict_date = verdict_before(now.alive, jar, day)
    line = Outcome(
        jar,
        cast(OutcomeWord, word),
        day,
        _number(fields, "grams", 0.0, _MOST_GRAMS),
        _number(fields, "dry_grams", 0.0, _MOST_GRAMS),
        _text(fields, "note"),
        verdict,
        verdict_date,
    )
    entry = _registered(now, jar)
    add_outcome(
        shelf.outcomes_path, line, entry=entry, today=keeper.today(), names=shelf.past.names
    )


def _undo_outcome(_: Keeper, now: ShelfNow, jar: str, fields: Fields) -> None:
    day = _day(fields, None)
    undo_outcome(now.shelf.outcomes_path, jar, day, names=now.shelf.past.names)


def _event(keeper: Keeper, now: ShelfNow, jar: str, fields: Fields) -> None:
    word, text = _what(fields), _text(fields, "text")
    celsius = None
    if word == "temperature":
        celsius, text = _number(fields, "text", COLDEST_C, WARMEST_C), ""
        if celsius is None:
            raise UsageError("The degrees are missing", "Write them as text, such as 21.5.")
    line = DiaryLine(jar, word, _day(fields, keeper.today()), celsius, text)
    add_line(now.shelf.diary_path, line, entry=_entry(now, jar), today=keeper.today())


def _undo_event(_: Keeper, now: ShelfNow, jar: str, fields: Fields) -> None:
    undo_line(
        now.shelf.diary_path, jar, _what(fields), _day(fields, None), names=now.shelf.past.names
    )


def _seen(keeper: Keeper, now: ShelfNow, jar: str, fields: Fields) -> None:
    """Somebody looked at a jar and found it fine."""
    story, note = now.story(jar), _text(fields, "note")
    if not note.isprintable():
        raise UsageError("The note holds a line break or the like", "Write it on one line.")
    if story is None or story.verdict.verdict != "check":
        raise UsageError(
            f"'{printable(jar)}' has no doubt that a look settles", "Only a check asks for a look."
        )
    looks = looks_at(story.verdict, day=keeper.today(), note=note)
    if not looks:
        first = story.verdict.findings[0].sentence
        raise UsageError(
            f"What '{printable(jar)}' is in doubt for is not settled by a look: {first}",
            "What settles it stands with its reason.",
        )
    add_looks(now.shelf.looks_path, looks)


def _register(keeper: Keeper, now: ShelfNow, jar: str, fields: Fields) -> tuple[str, ...]:
    """Put a jar's line right; cells that were not changed stay as the grower wrote them."""
    entry = _registered(now, jar)
    sent = {name: _text(fields, name) for name in TOLD_COLUMNS if name in fields}
    cells = {name: text for name, text in sent.items() if text != str(getattr(entry, name) or "")}
    if not cells:
        return ()
    (done,) = set_cells(
        now.shelf.register_path,
        [jar],
        cells,
        today=keeper.today(),
        is_known_species=now.shelf.species.knows,
    )
    fed_by = done.entry.parent if "parent" in cells else ""
    return (*done.warnings, *doubts_about(fed_by, now.alive, now.shelf.outcomes.get(fed_by)))


# --------------------------------------------------------------------------- what was typed
def _registered(now: ShelfNow, jar: str) -> JarEntry:
    if jar not in now.shelf.register:
        raise UsageError(
            f"Jar '{printable(jar)}' is not in the register",
            did_you_mean(jar, now.shelf.register) or "Write it into the register on the page Jars.",
        )
    return now.shelf.register[jar]


def _entry(now: ShelfNow, jar: str) -> JarEntry:
    """The jar's line, or one of its photos alone."""
    return now.shelf.register.get(jar) or JarEntry(jar, registered=False)


def _text(fields: Fields, name: str) -> str:
    """What was typed, on one line."""
    typed = fields.get(name, "").strip()
    if len(typed) > _MOST_LETTERS:
        raise UsageError("That is too long", f"Write at most {_MOST_LETTERS} letters.")
    return typed


def _what(fields: Fields) -> DiaryWord:
    word = _text(fields, "what")
    if word not in WORDS:
        raise UsageError(
            f"'{printable(word)}' is nothing that a diary holds", f"Pick one: {', '.join(WORDS)}."
        )
    return cast(DiaryWord, word)


def _day(fields: Fields, default: date | None) -> date:
    """The day that was typed.

    Raises
    ------
    UsageError
        None was, and there is no default, or it is no certain day.
    """
    typed = _text(fields, "date")
    if not typed and default is not None:
        return default
    try:
        return read_day(typed)
    except ValueError:
        raise UsageError(
            f"'{printable(typed)}' is not a date", "Write year, month and day: 2026-03-09."
        ) from None


def _number(fields: Fields, name: str, least: float, most: float) -> float | None:
    typed = _text(fields, name).replace(",", ".")
    if not typed:
        return None
    try:
        number = float(typed)
    except ValueError:
        number = float("nan")
    if not least <= number <= most:
        raise UsageError(
            f"'{printable(typed)}' is no number between {least:g} and {most:g}",
            "Write it without a unit, such as 84.5.",
        )
    return number
