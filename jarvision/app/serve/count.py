"""Counting points: one wall after another, blind, four answers, nothing lost when it is left."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from http import HTTPStatus
from typing import Any, Final, cast
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from jarvision.app.serve.office import Office
from jarvision.app.serve.pages import Fields, go_to, office_of, plain_answer, show, shows, writes
from jarvision.base.errors import PhotoRefusedError, UsageError
from jarvision.base.text import printable
from jarvision.register.counts import POINT_WORDS, read_counts
from jarvision.report.count_words import tell_shelf_counts
from jarvision.report.words import tell_day
from jarvision.run.count_pictures import (
    SHOWN_PX_PER_MM,
    CountingPicture,
    counting_picture,
    request_wall,
)
from jarvision.run.counting import (
    CountableWall,
    countable_walls,
    counts_path,
    points_left,
    record,
    shelf_counts,
    take_back,
)
from jarvision.run.lock import only_run
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.shelf import Shelf
from jarvision.run.store import Known, Store
from jarvision.truth.counted import first_counts, walls_of
from jarvision.truth.points import WallPoint

_LONGEST_NAME: Final = 60
_NONE_LEFT: Final = {
    "next": "Every wall that can be counted is counted. New photos bring new ones.",
    "again": "There is no counted wall that you have not counted twice. Count another one first.",
}
"""Why no wall comes up, by which button was pressed."""


@dataclass(frozen=True)
class _Table:
    """What can be counted, as store and register of ``stamp`` have it; made again with them."""

    stamp: tuple[object, ...]
    shelf: Shelf
    walls: Mapping[str, CountableWall]
    index: Mapping[str, Known]


def count_routes() -> list[Route]:
    """The routes of these pages."""
    return [
        shows("/count", _list),
        shows("/count/next", _next),
        shows("/count/wall", _wall),
        writes("/count/answer", _answer),
        writes("/count/undo", _undo),
    ]


# --------------------------------------------------------------------------- pages
async def _list(request: Request) -> Response:
    """How many walls are counted, and who counts."""
    return await office_of(request).desk.do(lambda: _show_list(request))


def _show_list(request: Request) -> Response:
    table = _table_of(request)
    counts = read_counts(counts_path(table.shelf))
    done = first_counts(walls_of(counts))
    with _store_of(office_of(request)) as store:
        told = tell_shelf_counts(shelf_counts(table.shelf, store))
    return show(
        request,
        "count.html.j2",
        who=request.query_params.get("who", ""),
        people=sorted({point.who for point in counts}),
        done=sum(content in done for content in table.walls),
        walls=len(table.walls),
        wanted=table.shelf.settings.count.least_walls,
        none_left=_NONE_LEFT.get(request.query_params.get("none", ""), ""),
        told=[printable(line) for line in told],
    )


async def _next(request: Request) -> Response:
    """Lead to the first wall in order that nobody has counted, or that this person has begun."""
    who = _name(request.query_params.get("who", ""))
    again = request.query_params.get("again") == "yes"
    wall = await office_of(request).desk.do(lambda: _next_wall(request, who, again=again))
    if wall is None:
        return go_to("/count?" + urlencode({"who": who, "none": "again" if again else "next"}))
    fields = {"photo": wall[0], "who": who, "round": wall[1]}
    return go_to("/count/wall?" + urlencode(fields))


def _next_wall(request: Request, who: str, *, again: bool) -> tuple[str, int] | None:
    """The wall to count, and for which time; ``again``: one that was counted, once more."""
    table = _table_of(request)
    counts = read_counts(counts_path(table.shelf))
    finished = walls_of(counts)
    done = first_counts(finished)
    for content, wall in table.walls.items():
        rounds = [count.round_ for count in finished if (count.photo, count.who) == (content, who)]
        if not again and content not in done:
            return content, 1
        fresh = max(rounds, default=0) + 1
        if again and content in done and fresh <= 2 and points_left(wall, counts, who, fresh):
            return content, fresh
    return None


async def _wall(request: Request) -> Response:
    """One wall, point by point."""
    return await office_of(request).desk.do(lambda: _show_wall(request))


def _show_wall(request: Request) -> Response:
    office, table = office_of(request), _table_of(request)
    asked = _asked(table, request.query_params)
    if asked is None:
        return plain_answer(HTTPStatus.NOT_FOUND)
    wall, who, round_ = asked
    counts = read_counts(counts_path(table.shelf))
    left = points_left(wall, counts, who, round_)
    picture = _drawn(office, table, wall)
    order = sorted(range(len(wall.points)), key=lambda at: wall.points[at] in left)
    points = [[*picture.places[at], *wall.points[at].place] for at in order]
    return show(
        request,
        "count_wall.html.j2",
        wall=wall,
        day=tell_day(wall.day, year=True),
        who=who,
        round_=round_,
        answers=tuple(POINT_WORDS.items()),
        picture=f"data:image/jpeg;base64,{b64encode(picture.jpeg).decode()}",
        px_per_mm=SHOWN_PX_PER_MM,
        width=picture.width,
        height=picture.height,
        points=json.dumps(points),
        done=len(wall.points) - len(left),
        after="/count/next?" + urlencode({"who": who}),
    )


def _drawn(office: Office, table: _Table, wall: CountableWall) -> CountingPicture:
    """The wall's picture, made in a worker: a photo is never decoded here."""
    asked = request_wall(table.shelf, wall, table.index)
    try:
        return office.guarded(partial(counting_picture, asked, wall.points))
    except PhotoRefusedError as refusal:
        raise UsageError(
            f"The photo of {printable(wall.jar)} cannot be shown again ({refusal.detail})",
            "Take it away on the jar's page, and count the next wall.",
        ) from refusal


# --------------------------------------------------------------------------- changes
async def _answer(request: Request, fields: Fields) -> Response:
    """Write one answer down."""
    return await office_of(request).desk.do(lambda: _write_answer(request, fields))


def _write_answer(request: Request, fields: Fields) -> Response:
    table = _table_of(request)
    asked, answer = _asked(table, fields), fields.get("answer", "")
    if asked is None or answer not in POINT_WORDS:
        return plain_answer(HTTPStatus.BAD_REQUEST)
    wall, who, round_ = asked
    try:
        place = WallPoint(float(fields["angle"]), float(fields["height"]))
    except (KeyError, ValueError):
        return plain_answer(HTTPStatus.BAD_REQUEST)
    record(table.shelf, wall, place, cast(Any, answer), who=who, now=datetime.now(), round_=round_)
    if not points_left(wall, read_counts(counts_path(table.shelf)), who, round_):
        _tell_all_jars(office_of(request), table)
    return JSONResponse({"saved": True})


async def _undo(request: Request, fields: Fields) -> Response:
    """Take the last answer back."""
    return await office_of(request).desk.do(lambda: _take_back(request, fields))


def _take_back(request: Request, fields: Fields) -> Response:
    table = _table_of(request)
    asked = _asked(table, fields)
    if asked is None:
        return plain_answer(HTTPStatus.BAD_REQUEST)
    wall, who, round_ = asked
    counts = read_counts(counts_path(table.shelf))
    if not points_left(wall, counts, who, round_):
        _tell_all_jars(office_of(request), table)
    back = take_back(table.shelf, wall, who=who, now=datetime.now(), round_=round_)
    return JSONResponse({"angle": back.angle_deg, "height": back.height_mm})


def _tell_all_jars(office: Office, table: _Table) -> None:
    """A wall was finished, or begun again: once enough are, it puts the readings of all right."""
    done = first_counts(walls_of(read_counts(counts_path(table.shelf))))
    office.changed(counts=len(done) >= table.shelf.settings.count.least_walls)


# --------------------------------------------------------------------------- what is on the table
def _asked(table: _Table, fields: Fields) -> tuple[CountableWall, str, int] | None:
    """The wall, person and round that a request is about; None where it names no such wall."""
    wall = table.walls.get(fields.get("photo", ""))
    round_ = fields.get("round", "1")
    if wall is None or round_ not in ("1", "2"):
        return None
    return wall, _name(fields.get("who", "")), int(round_)


def _name(who: str) -> str:
    """A person's name as it can stand on a line."""
    return "".join(letter for letter in who.strip() if letter.isprintable())[:_LONGEST_NAME]


def _table_of(request: Request) -> _Table:
    """What can be counted now; kept beside the office until the store changes.

    Raises
    ------
    UsageError
        Nothing was scored yet.
    """
    office, state = office_of(request), request.app.state
    path = office.out / STORE_NAME
    if not path.is_file():
        raise UsageError("Nothing was scored yet", "Take a photo first, or run jarvision score.")
    shelf = office.keeper.open()
    held: _Table | None = getattr(state, "countable", None)
    if held is not None and (
        held.stamp == _stamp(office, shelf) or office.refresher.running  # which is not ended for it
    ):
        return held
    with _store_of(office) as store:
        walls = {wall.content: wall for wall in countable_walls(shelf, store)}
        index = store.index()
    table = _Table(_stamp(office, shelf), shelf, walls, index)
    state.countable = table
    return table


@contextmanager
def _store_of(office: Office) -> Iterator[Store]:
    """The store, while no other run writes into it."""
    office.keeper.give_way()
    with only_run(office.out, tell=office.desk.hear), Store(office.out, tell=office.tell) as store:
        yield store


def _stamp(office: Office, shelf: Shelf) -> tuple[object, ...]:
    """What the table stands on: readings, the register's words and the settings."""
    register = shelf.register_path
    files = [office.out / STORE_NAME, *([register] if register.is_file() else [])]
    stats = [file.stat() for file in files]
    return (*((stat.st_mtime_ns, stat.st_size) for stat in stats), shelf.settings.digest())
