"""What every request passes: its host, its origin, its session, its rate; what every answer bears.

A page of another site cannot act here: its requests bear its own origin or none, the cookie stays
away from them (SameSite=Strict), and no change is made without the session's token. A name that is
pointed at this machine (DNS rebinding) is no host of it.
"""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Collection, MutableMapping
from dataclasses import dataclass, field
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final
from urllib.parse import quote

from jarvision.app.serve.limits import Bucket
from jarvision.app.serve.sessions import Doors, Session
from jarvision.base.text import printable

_LOG: Final = logging.getLogger("jarvision.serve")

COOKIE: Final = "jarvision"
OPEN_PATHS: Final = frozenset({"/enter", "/serve.css", "/page.css", "/serve.js"})
"""What is answered to a device that was not let in yet; nothing of the shelf is in it."""

SAFE_METHODS: Final = frozenset({"GET", "HEAD"})
_STRICT: Final = (
    "default-src 'none'; img-src 'self' data: blob:; style-src 'self'; script-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
STYLED_POLICY: Final = (
    "default-src 'none'; img-src data:; style-src 'self' 'unsafe-inline'; script-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""For pages with parts of the report, whose places on pictures are styles of their own."""

_WAYS_OUT: Final = {
    HTTPStatus.UNAUTHORIZED: "Come in with a new code: open /enter here.",
    HTTPStatus.FORBIDDEN: "Open the page anew, and send it from there.",
    HTTPStatus.NOT_FOUND: "Go back, or open the first page.",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "Go back, and send less, or sooner.",
    HTTPStatus.MISDIRECTED_REQUEST: "Open the address that the terminal shows.",
    HTTPStatus.TOO_MANY_REQUESTS: "Wait some seconds, and try again.",
}

_HEADERS: Final = (
    (b"x-content-type-options", b"nosniff"),
    # not no-referrer, under which browsers send forms with the origin "null"
    (b"referrer-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
)

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]


@dataclass
class Guard:
    """Stands before the pages; an ASGI application around another.

    Attributes
    ----------
    hosts
        What may stand in ``Host``: this machine's names, with the port.
    """

    pages: Application
    doors: Doors
    hosts: Collection[str]
    asked: Bucket = field(default_factory=lambda: Bucket(300.0, 30.0))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or let through with the session in ``scope["session_here"]``."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.pages(scope, receive, send)
            return
        send = _with_headers(send)
        refusal = self._refusal(scope)
        if refusal is not None:
            await answer_plainly(send, *refusal)
            return
        try:
            await self.pages(scope, receive, send)
        except Exception as error:  # noqa: BLE001 - the page has said so; the log gets no traceback
            _LOG.error("%s: %s", _shown(scope), type(error).__name__)

    def _refusal(self, scope: Scope) -> tuple[HTTPStatus, list[tuple[bytes, bytes]]] | None:
        """Why a request goes no further; None when it does."""
        told = _headers(scope)
        if told.get("host", "") not in self.hosts:
            return HTTPStatus.MISDIRECTED_REQUEST, []
        client = scope.get("client") or ("",)
        if not self.asked.take(str(client[0])):
            return HTTPStatus.TOO_MANY_REQUESTS, [(b"retry-after", b"5")]
        if scope["method"] not in SAFE_METHODS and not _is_own(told):
            return HTTPStatus.FORBIDDEN, []
        session = self._session(told)
        if session is None and scope["path"] not in OPEN_PATHS:
            if scope["method"] in SAFE_METHODS and "text/html" in told.get("accept", ""):
                return HTTPStatus.SEE_OTHER, [(b"location", b"/enter")]
            return HTTPStatus.UNAUTHORIZED, []
        scope["session_here"] = session
        return None

    def _session(self, told: dict[str, str]) -> Session | None:
        secret = cookie_of(told.get("cookie", ""))
        return self.doors.session(secret) if secret else None


def _shown(scope: Scope) -> str:
    """A request for the log, on one line; without its query, where a name may stand."""
    return printable(f"{scope['method']} {scope['path']}")


def _is_own(told: dict[str, str]) -> bool:
    """Whether a change was asked for by a page of this server."""
    site = told.get("sec-fetch-site", "same-origin")
    return told.get("origin", "") == f"http://{told['host']}" and site == "same-origin"


def cookie_of(header: str) -> str:
    """The session's secret in a ``Cookie`` header; empty for none."""
    try:
        found = SimpleCookie(header).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


def cookie_line(secret: str, *, seconds: float) -> str:
    """A ``Set-Cookie`` header that scripts cannot read and other sites cannot send."""
    life = f"Max-Age={int(seconds)}"
    return f"{COOKIE}={quote(secret)}; {life}; Path=/; HttpOnly; SameSite=Strict"


def words_of(status: HTTPStatus) -> str:
    """A status in words, with the way out where a person may come to see it."""
    return " ".join(filter(None, (f"{status.phrase}.", _WAYS_OUT.get(status, "")))) + "\n"


async def answer_plainly(
    send: Send, status: HTTPStatus, headers: list[tuple[bytes, bytes]] | None = None
) -> None:
    """Answer with a status and its words."""
    body = words_of(status).encode()
    plain = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", b"%d" % len(body)),
    ]
    start = {"type": "http.response.start", "status": int(status)}
    await send({**start, "headers": [*plain, *(headers or [])]})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    """Add to every answer what browsers must know; a page may bring a policy of its own."""

    async def sends(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = list(message.get("headers", []))
            more = list(_HEADERS)
            if not any(name.lower() == b"content-security-policy" for name, _ in own):
                more.append((b"content-security-policy", _STRICT.encode()))
            message = {**message, "headers": [*own, *more]}
        await send(message)

    return sends


def _headers(scope: Scope) -> dict[str, str]:
    """Headers by their names in small letters; one that stands twice counts as none."""
    found: dict[str, str] = {}
    twice: set[str] = set()
    for raw, value in scope["headers"]:
        name = raw.decode("latin-1").lower()
        twice |= {name} & set(found)
        found[name] = value.decode("latin-1")
    return {name: value for name, value in found.items() if name not in twice}
