"""All pages put together, behind the guard."""

from __future__ import annotations

from functools import cache
from http import HTTPStatus
from importlib.resources import files
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from jarvision.app.serve.count import count_routes
from jarvision.app.serve.door import door_routes
from jarvision.app.serve.forms import form_routes
from jarvision.app.serve.home import home_routes
from jarvision.app.serve.office import Office
from jarvision.app.serve.pages import plain_answer, refused, shows
from jarvision.app.serve.security import Guard
from jarvision.app.serve.shelf_pages import shelf_routes
from jarvision.app.serve.uploads import upload_routes
from jarvision.app.serve.wrong_jar import wrong_jar_routes
from jarvision.base.errors import JarvisionError

_ASSETS: Final = {
    "/serve.css": ("jarvision.app.serve", "assets/serve.css", "text/css"),
    "/serve.js": ("jarvision.app.serve", "assets/serve.js", "text/javascript"),
    "/queue.js": ("jarvision.app.serve", "assets/queue.js", "text/javascript"),
    "/sha256.js": ("jarvision.app.serve", "assets/sha256.js", "text/javascript"),
    "/count.css": ("jarvision.app.serve", "assets/count.css", "text/css"),
    "/count.js": ("jarvision.app.serve", "assets/count.js", "text/javascript"),
    "/page.css": ("jarvision.report", "templates/page.css", "text/css"),
}
"""The files that are served, each by a path of its own: no path of a request becomes one here."""


def build_site(office: Office, *, hosts: tuple[str, ...]) -> Guard:
    """The application; ``hosts`` as for :class:`Guard`."""
    routes = [
        *(shows(path, _asset) for path in _ASSETS),
        *door_routes(),
        *home_routes(),
        *upload_routes(),
        *shelf_routes(),
        *form_routes(),
        *count_routes(),
        *wrong_jar_routes(),
    ]
    pages = Starlette(
        routes=routes, exception_handlers={JarvisionError: _refused, HTTPException: _no_page}
    )
    pages.state.office = office
    return Guard(pages, office.doors, hosts)


async def _asset(request: Request) -> Response:
    package, name, kind = _ASSETS[request.url.path]
    return Response(_bytes_of(package, name), media_type=kind)


@cache
def _bytes_of(package: str, name: str) -> bytes:
    return files(package).joinpath(name).read_bytes()


async def _no_page(_: Request, error: Exception) -> Response:
    """Answer to an address, or a way of asking, that there is not."""
    assert isinstance(error, HTTPException)
    return plain_answer(HTTPStatus(error.status_code))


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, JarvisionError)
    return refused(request, error)
