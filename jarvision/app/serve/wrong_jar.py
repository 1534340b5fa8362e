"""The page of one photo: it shows another jar, or should not be there, or is to come back."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus
from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jarvision.app.serve.answers import PICTURE_PX
from jarvision.app.serve.arrivals import Arrival
from jarvision.app.serve.keeper import ShelfNow, check_jar_name
from jarvision.app.serve.misplaced import (
    FoundPhoto,
    bring_back,
    find_photo,
    move_to,
    set_aside,
)
from jarvision.app.serve.naming import SHA, clock_in
from jarvision.app.serve.office import Office
from jarvision.app.serve.pages import (
    Fields,
    go_to,
    note,
    office_of,
    plain_answer,
    show,
    shows,
    writes,
)
from jarvision.app.serve.uploads import MOST_JAR_LETTERS
from jarvision.base.text import printable
from jarvision.records import Reading
from jarvision.register.photo_names import picture_name
from jarvision.report.pictures import inline
from jarvision.report.words import tell_day
from jarvision.run.aside import ASIDE_FOLDER, photos_aside

_MOST_SHOWN: Final = 6
_TAG_SAYS: Final = (
    "The tag in the photo says another jar, and goes before what you say: take the photo away, and "
    "photograph the jar with its own tag"
)


@dataclass(frozen=True)
class LastPhoto:
    """A line of a list of photos; ``sha`` leads to the photo's page."""

    sha: str
    when: str
    gave: str


def wrong_jar_routes() -> list[Route]:
    """Routes of this page."""
    return [
        shows("/photos/{sha}/wrong", _wrong),
        writes("/photos/{sha}/move", _move),
        writes("/photos/{sha}/away", _away),
        writes("/photos/{sha}/back", _back),
    ]


def last_photos(jar: str, now: ShelfNow) -> tuple[LastPhoto, ...]:
    """The newest photos of a jar that are in the folder, usable or not."""
    own = sorted(
        (r for r in now.alive.readings if r.jar == jar and r.photo in now.contents),
        key=lambda r: r.taken_at,
        reverse=True,
    )
    return tuple(LastPhoto(now.contents[r.photo], _taken(r), _gave(r)) for r in own[:_MOST_SHOWN])


def taken_away(now: ShelfNow, jar: str = "") -> tuple[LastPhoto, ...]:
    """Photos that were taken away, of one jar or all, the newest first."""
    return tuple(
        LastPhoto(one.content, printable(one.photo), printable(one.jar))
        for one in photos_aside(now.shelf.folder)
        if not jar or now.shelf.past.now(one.jar) == jar
    )


def _taken(reading: Reading) -> str:
    """Day and time of a photo; a name without a time tells the day alone."""
    by_itself = f"{reading.taken_at:%H:%M}" if reading.time_source == "exif" else ""
    clock = by_itself or clock_in(reading.photo)
    return ", ".join(filter(None, (tell_day(reading.taken_at.date()), clock)))


def _gave(reading: Reading) -> str:
    return f"{reading.coverage.percent:.0f} %" if reading.coverage else "not used"


# --------------------------------------------------------------------------- the page
async def _wrong(request: Request) -> Response:
    office, sha = office_of(request), _sha(request)
    now = await office.shelf_now()
    found = await asyncio.to_thread(find_photo, now, sha)
    if found is None:
        return plain_answer(HTTPStatus.NOT_FOUND)
    known = office.keeper.arrivals.get(sha)
    was = known.was if known else ""
    overlay = found.reading.overlay if found.reading else f"overlays/{picture_name(found.name)}"
    picture = await asyncio.to_thread(
        inline, office.out, overlay, PICTURE_PX, "What was seen in the photo"
    )
    return show(
        request,
        "wrong_jar.html.j2",
        photo=found,
        file=printable(found.name),
        when=_when(found),
        gave=_gave(found.reading) if found.reading else "",
        picture=picture,
        was=was if was != found.jar and now.is_jar(was) else "",
        choices=_choices(found, now),
        place=_place(office, found),
        folder=ASIDE_FOLDER,
    )


def _when(found: FoundPhoto) -> str:
    """When a photo was taken, or taken away."""
    if found.reading is not None:
        return _taken(found.reading)
    return printable(f"taken away {found.aside.set_aside_at[:10]}") if found.aside else ""


def _choices(found: FoundPhoto, now: ShelfNow) -> Iterable[str]:
    return tuple(jar for jar in now.walk.jars if jar != found.jar)


def _place(office: Office, found: FoundPhoto) -> str:
    """Where a photo lies that was taken away."""
    if found.aside is None:
        return ""
    return printable(f"{office.folder.resolve().name}/{ASIDE_FOLDER}/{found.aside.file}")


def _sha(request: Request) -> str:
    """The digest that a request is about; empty for what is none."""
    sha = str(request.path_params["sha"])
    return sha if SHA.fullmatch(sha) else ""


# --------------------------------------------------------------------------- changes
async def _move(request: Request, fields: Fields) -> Response:
    """Have a photo show another jar; one that was taken away is put back first."""
    office, sha = office_of(request), _sha(request)
    typed = fields.get("jar", "")[:MOST_JAR_LETTERS].strip()

    def move() -> tuple[str, str, Arrival | None]:
        keeper = office.keeper
        now = keeper.refresh()
        jar = now.shelf.past.now(typed)
        check_jar_name(jar, now)
        found = find_photo(now, sha)
        arrival = None
        if found is not None and found.aside is not None:
            arrival = bring_back(keeper, sha)
        if found is None or found.aside is None or found.jar != jar:
            arrival = move_to(keeper, sha, jar)
        office.changed()
        return (found.jar if found else ""), jar, arrival

    before, jar, arrival = await office.desk.do(move)
    no_longer = f", no longer of {before}" if before not in ("", jar) else ""
    told = f"The photo is now of {jar}{no_longer}" if _is_taken(arrival, jar) else _TAG_SAYS
    note(request, [told])
    return go_to(f"/?shown={sha}")


def _is_taken(arrival: Arrival | None, jar: str) -> bool:
    """Whether a photo counts for the jar that it was moved to; its tag goes before."""
    reading = arrival.reading if arrival else None
    return reading is None or (reading.jar == jar and reading.reason != "jar_mismatch")


async def _away(request: Request, _: Fields) -> Response:
    """Take a photo away; its page then offers to put it back."""
    office, sha = office_of(request), _sha(request)

    def away() -> str:
        one = set_aside(office.keeper, sha)
        office.changed()
        return one.jar

    jar = await office.desk.do(away)
    note(request, [f"The photo was taken away{f' from {jar}' if jar else ''}; nothing is deleted"])
    return go_to(f"/photos/{sha}/wrong")


async def _back(request: Request, _: Fields) -> Response:
    """Put a photo back that was taken away."""
    office, sha = office_of(request), _sha(request)

    def back() -> None:
        bring_back(office.keeper, sha)
        office.changed()

    await office.desk.do(back)
    note(request, ["The photo is back in its place"])
    return go_to(f"/?shown={sha}")
