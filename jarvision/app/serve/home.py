"""The first page: photograph the next jar of the shelf."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jarvision.app.serve.naming import SHA
from jarvision.app.serve.pages import office_of, show, shows
from jarvision.app.serve.uploads import MOST_JAR_LETTERS
from jarvision.base.text import counted
from jarvision.records.flags import CAUTIONS


def home_routes() -> list[Route]:
    """Routes of this page."""
    return [shows("/", _photograph)]


async def _photograph(request: Request) -> Response:
    """Show which jar comes next, and the camera's button.

    ``jar`` names another one, ``by=tag`` lets the tags tell, ``shown`` is a photo to tell of.
    """
    office, asked = office_of(request), request.query_params
    now = await office.shelf_now()
    told = asked.get("jar", "")[:MOST_JAR_LETTERS]
    by_tag = asked.get("by") == "tag" or not now.walk.jars
    jar = "" if by_tag else told if now.is_jar(told) else now.walk.next_after()
    sha = asked.get("shown", "")
    waiting = [arrival.sha for arrival in office.keeper.arrivals.waiting]
    return show(
        request,
        "photograph.html.j2",
        jar=jar,
        walk=now.walk,
        left=counted(len(now.walk.left), "jar"),
        shown=[sha] if SHA.fullmatch(sha) else waiting,
        most_bytes=office.limits.photo_bytes,
        cautions=CAUTIONS,
    )
