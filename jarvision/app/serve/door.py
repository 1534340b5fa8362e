"""The door: a code from the terminal or another device lets a phone in, once."""

from __future__ import annotations

from http import HTTPStatus

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jarvision.app.serve.pages import Fields, changes, go_to, office_of, plain_answer, show, shows
from jarvision.app.serve.qr import qr_svg
from jarvision.app.serve.security import cookie_line, cookie_of


def door_routes() -> list[Route]:
    """Routes of this page."""
    return [
        shows("/enter", _enter),
        changes("/enter", _let_in, open_to_all=True),
        shows("/device", _device),
        changes("/leave", _leave),
    ]


def door_address(address: str, code: str) -> str:
    """Address that brings a code along behind ``#``, which browsers send to no server."""
    return f"{address}/enter#{code}"


async def _enter(request: Request) -> Response:
    return show(request, "enter.html.j2", wrong=False)


async def _let_in(request: Request, fields: Fields) -> Response:
    office = office_of(request)
    if not office.tries.take(request.client.host if request.client else ""):
        return plain_answer(HTTPStatus.TOO_MANY_REQUESTS, retry_s=10)
    secret = office.doors.enter(fields.get("code", ""))
    if secret is None:
        return show(request, "enter.html.j2", status=HTTPStatus.FORBIDDEN, wrong=True)
    answer = go_to("/")
    answer.headers["set-cookie"] = cookie_line(secret, seconds=office.limits.session_s)
    office.tell("A device was let in.")
    return answer


async def _device(request: Request) -> Response:
    """A code for one more device, as a picture that its camera reads."""
    office = office_of(request)
    code = office.doors.new_code()
    return show(
        request, "device.html.j2", code=code, address=office.address, lan=office.lan,
        picture=qr_svg(door_address(office.address, code)),
    )  # fmt: skip


async def _leave(request: Request, _: Fields) -> Response:
    office_of(request).doors.leave(cookie_of(request.headers.get("cookie", "")))
    answer = go_to("/enter")
    answer.headers["set-cookie"] = cookie_line("", seconds=0)
    return answer
