"""Today's list, all jars, and one jar, as the report shows them."""

from __future__ import annotations

import asyncio
import threading
from dataclasses import replace
from http import HTTPStatus
from pathlib import Path
from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jarvision.app.serve.keeper import ShelfNow, check_jar_name
from jarvision.app.serve.pages import office_of, show, shows
from jarvision.app.serve.wrong_jar import last_photos, taken_away
from jarvision.base.text import printable
from jarvision.records import JarEntry, JarStory
from jarvision.records.flags import CAUTIONS
from jarvision.register.diary import WORDS
from jarvision.register.jars import KINDS
from jarvision.register.outcomes import OUTCOMES
from jarvision.report.cards import JarCard, build_card
from jarvision.report.charts import draw_curve
from jarvision.report.page import Group, surroundings_of, verdict_groups
from jarvision.report.pictures import detail_for
from jarvision.report.refusals import Refusal, build_refusal
from jarvision.report.words import VERDICT_WORDS, by_urgency, tell_day, tell_diary

_DRAWING: Final = threading.Lock()  # charts are drawn one at a time
_NEVER: Final = "no photo yet"


def shelf_routes() -> list[Route]:
    """Routes of these pages."""
    return [shows("/today", _today), shows("/jars", _jars), shows("/jar", _jar)]


async def _today(request: Request) -> Response:
    office = office_of(request)
    now = await office.shelf_now()
    groups = await asyncio.to_thread(_groups, now, office.out)
    return show(
        request,
        "today.html.j2",
        groups=groups,
        jars={name: jar for group, lines in groups for name, jar in lines},
        day=tell_day(now.alive.scored_on, year=True) if now.alive.readings else "",
        days_old=(office.keeper.today() - now.alive.scored_on).days if now.alive.readings else 0,
        left=now.walk.left,
        finished=[(printable(f.jar), printable(f.ending.tell())) for f in now.alive.finished],
        cautions=CAUTIONS,
    )


def _groups(now: ShelfNow, out: Path) -> list[tuple[Group, list[tuple[str, object]]]]:
    """The report's groups of jars, each line with the jar's own name for its link."""
    stories = by_urgency(now.alive.stories)
    around = surroundings_of(now.alive, stories, out, now.shelf.register)
    names = {around.anchors[story.verdict.jar]: story.verdict.jar for story in stories}
    return [
        (group, [(names[line.anchor], line) for line in group.jars])
        for group in verdict_groups(stories, around)
    ]


async def _jars(request: Request) -> Response:
    """All jars, and the form for a new one."""
    now = await office_of(request).shelf_now()
    over = {f.jar: f.ending.tell() for f in now.alive.finished}
    rows = []
    for jar in dict.fromkeys((*now.walk.jars, *now.shelf.register, *over)):
        story = now.story(jar)
        entry = now.shelf.register.get(jar) or JarEntry(jar, registered=False)
        said = over.get(jar) or (VERDICT_WORDS[story.verdict.verdict].short if story else _NEVER)
        verdict = story.verdict.verdict if story and jar not in over else ""
        about = " · ".join(filter(None, (entry.kind, entry.species, entry.substrate)))
        rows.append((jar, verdict, printable(said), printable(about)))
    away = await asyncio.to_thread(taken_away, now)
    return show(request, "jars.html.j2", rows=rows, kinds=KINDS, away=away)


async def _jar(request: Request) -> Response:
    """One jar: what the report shows of it, and the forms."""
    office = office_of(request)
    now = await office.shelf_now()
    jar = now.shelf.past.now(request.query_params.get("name", ""))
    check_jar_name(jar, now)
    story = now.story(jar)
    card, refusals = await asyncio.to_thread(_card, story, now, office.out)
    entry = now.shelf.register.get(jar) or JarEntry(jar, registered=False)
    outcome = now.shelf.outcomes.get(jar)
    ending = next((f.ending.tell() for f in now.alive.finished if f.jar == jar), "")
    return show(
        request,
        "jar_page.html.j2",
        status=HTTPStatus.OK,
        styled=True,
        name=jar,
        card=card,
        refusals=refusals,
        entry=entry,
        kinds=KINDS,
        events=WORDS,
        outcomes=OUTCOMES,
        outcome=outcome,
        outcome_day=tell_day(outcome.day, year=True) if outcome else "",
        ending=printable(ending),
        photos=last_photos(jar, now),
        away=await asyncio.to_thread(taken_away, now, jar),
        told=tell_diary(now.shelf.diary.get(jar, ())),
        asks_for_a_look=story is not None and story.verdict.verdict == "check" and not ending,
        today=office.keeper.today().isoformat(),
        cautions=CAUTIONS,
    )


def _card(
    story: JarStory | None, now: ShelfNow, out: Path
) -> tuple[JarCard | None, tuple[Refusal, ...]]:
    """The report's card of a jar, without links to jars that this page does not show."""
    if story is None:
        return None, ()
    others = [other for other in now.alive.stories if other.verdict.jar != story.verdict.jar]
    around = surroundings_of(now.alive, [story, *others], out, now.shelf.register)
    jar = story.verdict.jar
    around = replace(around, anchors={jar: around.anchors[jar]}, detail=detail_for(1))
    with _DRAWING:
        percent = story.profile.ready_percent
        curve = draw_curve(story, ready_percent=percent, key="curve")
        card = build_card(story, curve, around)
    refused = tuple(build_refusal(r) for r in story.history.refused)
    return replace(card, refusals=()), refused
