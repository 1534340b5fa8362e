"""What every page stands on: its template, its route, the form it gets, and who asks.

A page module has functions that take a request and answer it, and one that returns its routes:
``shows`` for what is only looked at, ``writes`` for what writes. Only routes that were made here
are served, so that no change is made without the session's token.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Mapping
from functools import cache, wraps
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Final, cast
from urllib.parse import parse_qsl

from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from jarvision.app.serve.security import STYLED_POLICY, words_of
from jarvision.app.serve.sessions import Session, is_token
from jarvision.base.errors import JarvisionError
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jinja2 import Environment

    from jarvision.app.serve.office import Office

CSRF_FIELD: Final = "csrf"
CSRF_HEADER: Final = "x-csrf"
Fields = Mapping[str, str]
Shown = Callable[[Request], Awaitable[Response]]
Changed = Callable[[Request, Fields], Awaitable[Response]]
_MOST_FIELDS: Final = 40


def office_of(request: Request) -> Office:
    """The shelf that is served, and all that works on it."""
    return cast("Office", request.app.state.office)


def session_of(request: Request) -> Session | None:
    """Who asks; None on the few pages that are open to all."""
    return cast("Session | None", request.scope.get("session_here"))


def shows(path: str, page: Shown) -> Route:
    """A route that is only looked at."""
    return Route(path, page, methods=["GET"])


def writes(path: str, change: Changed, *, open_to_all: bool = False) -> Route:
    """A route that takes a form and changes something, with the session's token alone.

    ``open_to_all`` for the door itself, where there is no session yet.
    """

    @wraps(change)
    async def guarded(request: Request) -> Response:
        fields = await form_of(request)
        if fields is None:
            return plain_answer(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        if not open_to_all and not brings_token(request, fields.get(CSRF_FIELD, "")):
            return plain_answer(HTTPStatus.FORBIDDEN)
        return await change(request, fields)

    return Route(path, guarded, methods=["POST"])


def takes(path: str, take: Shown) -> Route:
    """A route that a file is sent to, by a script that brings the session's token in a header."""

    @wraps(take)
    async def guarded(request: Request) -> Response:
        if not brings_token(request):
            return plain_answer(HTTPStatus.FORBIDDEN)
        return await take(request)

    return Route(path, guarded, methods=["PUT"])


def brings_token(request: Request, field: str = "") -> bool:
    """Whether a change brings its session's token, in a field of the form or in a header."""
    session = session_of(request)
    told = field or request.headers.get(CSRF_HEADER, "")
    return session is not None and is_token(session, told)


async def form_of(request: Request) -> dict[str, str] | None:
    """The fields of a form, each once; None for one that is too large or too slow."""
    limits = office_of(request).limits
    body = bytearray()
    stream = request.stream()
    try:
        async with asyncio.timeout(limits.chunk_s):
            async for chunk in stream:
                body += chunk
                if len(body) > limits.form_bytes:
                    return None
        pairs = parse_qsl(
            body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=_MOST_FIELDS
        )
    except (TimeoutError, ClientDisconnect, ValueError):
        return None
    return dict(pairs)


# --------------------------------------------------------------------------- answers
def show(
    request: Request,
    template: str,
    *,
    status: HTTPStatus = HTTPStatus.OK,
    styled: bool = False,
    **values: Any,
) -> HTMLResponse:
    """Lay a page out; every text in it is escaped.

    ``styled`` for pages with parts of the report (:data:`STYLED_POLICY`).
    """
    text = lay_out(request, template, notes=_notes_for(request), **values)
    headers = {"content-security-policy": STYLED_POLICY} if styled else None
    return HTMLResponse(text, status_code=status, headers=headers)


def note(request: Request, sentences: Iterable[str]) -> None:
    """Have the next page that this device opens tell it something, each without full stop."""
    session = session_of(request)
    if session is not None:
        session.notes = [f"{printable(sentence)}." for sentence in sentences]


def _notes_for(request: Request) -> list[str]:
    """What is to be told now, and not again."""
    session = session_of(request)
    if session is None:
        return []
    told, session.notes = session.notes, []
    return told


def lay_out(request: Request, template: str, **values: Any) -> str:
    """A page, or a part of one, as HTML; every text in it is escaped."""
    session, office = session_of(request), office_of(request)
    return (
        _templates()
        .get_template(template)
        .render(
            csrf=session.token if session else "",
            csrf_field=CSRF_FIELD,
            shelf_name=printable(office.folder.resolve().name),
            signed_in=session is not None,
            waiting_for=office.desk.waiting_for,
            counts_due=office.refresher.tell_counts() if session else "",
            report_age=office.refresher.tell_report() if session else "",
            **values,
        )
    )


def refused(request: Request, error: JarvisionError) -> HTMLResponse:
    """Say what could not be done and what to do, as the command line does."""
    message, remedy = printable(error.message), printable(error.remedy)
    return show(
        request, "refused.html.j2", status=HTTPStatus.UNPROCESSABLE_ENTITY,
        message=message, remedy=remedy,
    )  # fmt: skip


def go_to(path: str) -> RedirectResponse:
    """Lead on to another page after a change."""
    return RedirectResponse(path, status_code=HTTPStatus.SEE_OTHER)


def plain_answer(status: HTTPStatus, *, retry_s: int | None = None) -> Response:
    """Answer with a status and its words."""
    headers = {"retry-after": str(retry_s)} if retry_s else None
    return Response(words_of(status), status, headers, "text/plain")


@cache
def _templates() -> Environment:
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=ChoiceLoader([
            PackageLoader("jarvision.app.serve", "templates"),
            PackageLoader("jarvision.report", "templates"),
        ]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
