"""The charts of all jars, one after the other; those of jars that are as they were are kept."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from functools import partial

from jarvision.records import JarStory
from jarvision.records.parts import MadeAnew, Parts
from jarvision.report.charts import Sheet, curve_sheet, draw_curve


def draw_curves(
    stories: Sequence[JarStory], parts: Parts | None = None
) -> Iterator[tuple[str, str]]:
    """Draw the curves one after the other: name of the jar, and SVG text, empty without a curve.

    A chart that ``parts`` has is not drawn again.
    """
    sheets: list[Sheet] = []
    for story in stories:
        jar = story.verdict.jar
        key = f"curve-{hashlib.sha256(jar.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"
        draw = partial(_drawn, story, key, sheets)
        made_of = (story.verdict.verdict, story.flags, story.profile, story.history.diary)
        yield jar, (parts or MadeAnew()).text("curve", jar, made_of, draw)


def _drawn(story: JarStory, key: str, sheets: list[Sheet]) -> str:
    if not sheets:
        sheets.append(curve_sheet())  # axes and their ticks take half the time of a chart
    percent = story.profile.ready_percent
    return draw_curve(story, ready_percent=percent, key=key, sheet=sheets[0])
