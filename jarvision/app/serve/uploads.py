"""Photos come in: a file by its digest, whole or not at all, once however often it is sent."""

from __future__ import annotations

import asyncio
import hashlib
import os
from collections.abc import AsyncIterator
from contextlib import suppress
from http import HTTPStatus
from itertools import count
from pathlib import Path
from typing import Final, cast, get_args

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from jarvision.app.serve.answers import answer_part
from jarvision.app.serve.arrivals import Arrival
from jarvision.app.serve.keeper import check_jar_name
from jarvision.app.serve.naming import SHA, SIGNATURE_BYTES, suffix_of
from jarvision.app.serve.office import Office
from jarvision.app.serve.pages import (
    Fields,
    go_to,
    office_of,
    plain_answer,
    session_of,
    shows,
    takes,
    writes,
)
from jarvision.base.errors import JarvisionError
from jarvision.records import View

MOST_JAR_LETTERS: Final = 200
_NUMBERS: Final = count()


def upload_routes() -> list[Route]:
    """Routes of this page."""
    return [
        takes("/photos/{sha}", _take_in),
        shows("/photos/{sha}", _answer),
        writes("/photos/{sha}/jar", _say_jar),
        writes("/photos/{sha}/again", _again),
        writes("/photos/{sha}/drop", _drop),
    ]


async def _take_in(request: Request) -> Response:
    """Take a photo in; one that is known already is not sent again."""
    office, sha = office_of(request), str(request.path_params["sha"])
    if not SHA.fullmatch(sha):
        return plain_answer(HTTPStatus.NOT_FOUND)
    known = office.keeper.arrivals.get(sha)
    if known is not None:
        return JSONResponse({"state": known.state})
    refusal = _no_room(request, office)
    if refusal is not None:
        return refusal
    office.coming += 1
    try:
        return await _received(request, office, sha)
    finally:
        office.coming -= 1


def _no_room(request: Request, office: Office) -> Response | None:
    """Refuse a photo that is too large, comes too soon, or is one too many."""
    limits = office.limits
    told = request.headers.get("content-length", "")
    if not told.isdecimal():
        return plain_answer(HTTPStatus.LENGTH_REQUIRED)
    if not 0 < int(told) <= limits.photo_bytes:
        return plain_answer(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    if len(office.keeper.arrivals.waiting) >= limits.waiting_photos:
        return plain_answer(HTTPStatus.SERVICE_UNAVAILABLE, retry_s=30)
    if office.coming >= limits.uploads_at_once:
        return plain_answer(HTTPStatus.SERVICE_UNAVAILABLE, retry_s=2)
    session = session_of(request)
    if session is None or not office.uploads.take(session.token):
        return plain_answer(HTTPStatus.TOO_MANY_REQUESTS, retry_s=5)
    return None


async def _received(request: Request, office: Office, sha: str) -> Response:
    """Write a photo while it comes; keep it when it came whole and is the one that was meant."""
    arrivals, limits = office.keeper.arrivals, office.limits
    part = arrivals.part(next(_NUMBERS))
    try:
        try:
            async with asyncio.timeout(limits.body_s):
                digest, head = await _written(request, part, office)
        except TimeoutError:
            return plain_answer(HTTPStatus.REQUEST_TIMEOUT)
        except ClientDisconnect:
            return plain_answer(HTTPStatus.BAD_REQUEST)
        if digest is None:
            return plain_answer(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        if digest != sha:  # it came broken, or is another one: the phone sends it again
            return plain_answer(HTTPStatus.BAD_REQUEST)
        suffix = suffix_of(head)
        if not suffix:
            return plain_answer(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
        arrival = arrivals.get(sha) or arrivals.take(part, _told(request, sha, suffix))
        office.desk.put(lambda: settle_calmly(office, arrival.sha))
        return JSONResponse({"state": arrival.state}, HTTPStatus.ACCEPTED)
    except OSError as error:
        office.tell(f"A photo could not be written: {error.strerror}.")
        return plain_answer(HTTPStatus.INSUFFICIENT_STORAGE)
    finally:
        part.unlink(missing_ok=True)


async def _written(request: Request, part: Path, office: Office) -> tuple[str | None, bytes]:
    """Write the body; its digest and first bytes, no digest for one that is too large."""
    digest, head, size = hashlib.sha256(), b"", 0
    with part.open("xb") as file:
        async for chunk in _chunks(request, office.limits.chunk_s):
            size += len(chunk)
            if size > office.limits.photo_bytes:
                return None, head
            head = (head + chunk)[:SIGNATURE_BYTES] if len(head) < SIGNATURE_BYTES else head
            digest.update(chunk)
            file.write(chunk)
        file.flush()
        await asyncio.to_thread(os.fsync, file.fileno())  # a slow card must not stop other pages
    return digest.hexdigest(), head


async def _chunks(request: Request, patience_s: float) -> AsyncIterator[bytes]:
    """The body in pieces; a phone that sends nothing for long is given up."""
    stream = aiter(request.stream())
    while True:
        try:
            async with asyncio.timeout(patience_s):
                chunk = await anext(stream)
        except StopAsyncIteration:
            return
        yield chunk


def _told(request: Request, sha: str, suffix: str) -> Arrival:
    """What the phone says of a photo; whatever makes no sense is passed over."""
    asked = request.query_params
    view, taken = asked.get("view", ""), 0.0
    with suppress(ValueError):
        taken = float(asked.get("taken", "0"))
    return Arrival(
        sha,
        suffix,
        jar=asked.get("jar", "")[:MOST_JAR_LETTERS].strip(),
        view=cast(View, view) if view in get_args(View) else "front",
        hint_s=taken if 0.0 < taken < 1e11 else 0.0,
        came_s=office_of(request).clock(),
    )


def settle_calmly(office: Office, sha: str) -> None:
    """Read a photo at the desk; what goes wrong is told with it, and the photo is kept."""
    keeper = office.keeper
    try:
        arrival = keeper.settle(sha)
        if arrival is not None and arrival.state == "placed":
            office.changed()
    except JarvisionError as error:
        arrival = keeper.arrivals.get(sha)
        if arrival is not None:
            keeper.arrivals.note(arrival.failed(f"{error.message}. {error.remedy}"))
    except Exception as error:  # noqa: BLE001 - the photo is there, and may be tried again
        arrival = keeper.arrivals.get(sha)
        if arrival is not None:
            keeper.arrivals.note(arrival.failed("Something unexpected went wrong."))
        office.tell(f"A photo could not be read: {type(error).__name__}.")


# --------------------------------------------------------------------------- afterwards
async def _answer(request: Request) -> Response:
    """What is known of a photo by now, as a part of the page."""
    arrival = _arrival(request)
    if arrival is None:
        return plain_answer(HTTPStatus.NOT_FOUND)
    settled = arrival.state != "came" or bool(arrival.words)
    html = await answer_part(request, arrival) if settled else ""
    return JSONResponse({"state": arrival.state, "settled": settled, "html": html})


async def _say_jar(request: Request, fields: Fields) -> Response:
    """Take the grower's word for a jar."""
    office, arrival = office_of(request), _arrival(request)
    if arrival is None:
        return plain_answer(HTTPStatus.NOT_FOUND)
    jar = fields.get("jar", "")[:MOST_JAR_LETTERS].strip()

    def say() -> None:
        check_jar_name(jar, office.keeper.refresh())
        office.keeper.say_jar(arrival.sha, jar)
        office.changed()

    await office.desk.do(say)
    return go_to(f"/?shown={arrival.sha}")


async def _again(request: Request, _: Fields) -> Response:
    office, arrival = office_of(request), _arrival(request)
    if arrival is None:
        return plain_answer(HTTPStatus.NOT_FOUND)
    await office.desk.do(lambda: settle_calmly(office, arrival.sha))
    return go_to(f"/?shown={arrival.sha}")


async def _drop(request: Request, _: Fields) -> Response:
    """Throw a photo away that the grower does not want, before it has a place."""
    office, arrival = office_of(request), _arrival(request)
    if arrival is None or arrival.state != "asks":
        return plain_answer(HTTPStatus.NOT_FOUND)
    await office.desk.do(lambda: office.keeper.arrivals.forget(arrival))
    return go_to("/")


def _arrival(request: Request) -> Arrival | None:
    return office_of(request).keeper.arrivals.get(str(request.path_params["sha"]))
