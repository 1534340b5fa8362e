"""A browser's part in the tests of the server: requests to the application, without a network."""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import AsyncIterator, Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlencode, urlsplit

from starlette.applications import Starlette
from starlette.routing import Route

from jarvision.app.serve.arrivals import ARRIVALS, Inbox
from jarvision.app.serve.desk import Desk
from jarvision.app.serve.keeper import Keeper
from jarvision.app.serve.limits import SERVE_LIMITS, ServeLimits
from jarvision.app.serve.office import Office
from jarvision.app.serve.refresh import Refresher
from jarvision.app.serve.security import Guard
from jarvision.app.serve.sessions import Doors
from jarvision.app.serve.site import build_site
from jarvision.run.jobs import Fleet, PhotoReader
from jarvision.run.workers import local_fleet

Done = TypeVar("Done")
TODAY = date(2026, 3, 10)
HOST = "127.0.0.1:8765"


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")


@dataclass
class Browser:
    """A browser on one device: it keeps its cookie, and says where its requests come from."""

    site: Guard
    cookie: str = ""
    token: str = ""
    client: str = "192.0.2.9"

    def get(self, path: str, **given: Any) -> Answer:
        return self.ask("GET", path, **given)

    def post(self, path: str, fields: dict[str, str] | None = None, **given: Any) -> Answer:
        """Send a form of a page of the server, with its token."""
        told = {"csrf": self.token, **(fields or {})}
        body = urlencode(told).encode()
        return self.ask("POST", path, body=body, **given)

    def ask(self, method: str, path: str, **given: Any) -> Answer:
        return asyncio.run(self.asked(method, path, **given))

    async def asked(
        self,
        method: str,
        path: str,
        *,
        body: bytes | Iterable[bytes] | AsyncIterator[bytes] = b"",
        headers: dict[str, str | None] | None = None,
    ) -> Answer:
        """Ask; a header of None is left out."""
        parts = urlsplit(path)
        told: dict[str, str | None] = {"host": HOST, "accept": "text/html"}
        if self.cookie:
            told["cookie"] = self.cookie
        if method not in ("GET", "HEAD"):
            told |= {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
        told |= headers or {}
        sent = [(k.encode(), v.encode("utf-8")) for k, v in told.items() if v is not None]
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method,
            "scheme": "http", "path": parts.path, "raw_path": parts.path.encode(), "root_path": "",
            "query_string": parts.query.encode(), "headers": sent,
            "client": (self.client, 5000), "server": ("127.0.0.1", 8765),
        }  # fmt: skip
        chunks = _chunks(body)
        came: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            try:
                return {"type": "http.request", "body": await anext(chunks), "more_body": True}
            except StopAsyncIteration:
                return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: dict[str, Any]) -> None:
            came.append(message)

        await self.site(scope, receive, send)  # type: ignore[arg-type]
        found = {k.decode().lower(): v.decode("latin-1") for k, v in came[0]["headers"]}
        answer = Answer(came[0]["status"], found, b"".join(m.get("body", b"") for m in came[1:]))
        if "set-cookie" in found:
            self.cookie = found["set-cookie"].split(";")[0]
        return answer

    def come_in(self) -> None:
        """Open the door with a fresh code, and learn the token from a page."""
        answer = self.post("/enter", {"code": self.site.doors.new_code()})
        assert answer.status == 303, answer
        found = re.search(r'name="csrf" content="([^"]+)"', self.get("/device").text)
        assert found is not None
        self.token = found[1]


async def _chunks(body: bytes | Iterable[bytes] | AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    if isinstance(body, AsyncIterator):
        async for chunk in body:
            yield chunk
        return
    for chunk in [body] if isinstance(body, bytes) else body:
        yield chunk


def routes_of(site: Guard) -> list[Route]:
    """All routes that are served."""
    pages = site.pages
    assert isinstance(pages, Starlette)
    return [route for route in pages.routes if isinstance(route, Route)]


class NoRun:
    """Stands in for a scoring of the whole folder that never comes to its end."""

    def __init__(self) -> None:
        self._ended = threading.Event()

    def end(self) -> None:
        self._ended.set()

    def wait(self) -> bool:
        self._ended.wait()
        return False


def at_once(work: Callable[[], Done]) -> Done:
    """Stands in for the worker process: does it here."""
    return work()


def an_office(
    folder: Path,
    out: Path,
    *,
    limits: ServeLimits = SERVE_LIMITS,
    read: PhotoReader | None = None,
    fleet: Fleet | None = None,
    today: date = TODAY,
) -> Office:
    """A shelf that is served; ``read`` stands in for the package's reader."""
    desk, said = Desk(), []
    keeper = Keeper(
        folder=folder, out=out, fleet=fleet or local_fleet(1), arrivals=Inbox(out / ARRIVALS),
        hear=desk.hear, read=read, today=lambda: today,
    )  # fmt: skip
    return Office(
        folder=folder, out=out, desk=desk, keeper=keeper, doors=Doors(limits),
        address=f"http://{HOST}", guarded=at_once,
        refresher=Refresher(out, NoRun, limits.rest_s), limits=limits, tell=said.append,
        clock=lambda: datetime.combine(today, time(9)).timestamp(),
    )  # fmt: skip


def a_browser(office: Office, *, inside: bool = True) -> Browser:
    browser = Browser(build_site(office, hosts=(HOST, "localhost:8765")))
    if inside:
        browser.come_in()
    return browser
