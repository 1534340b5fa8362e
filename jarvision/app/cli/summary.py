"""The verdict table: one screen, 80 columns or less, and the line on refused photos."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD
from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from jarvision.base.text import counted, printable
from jarvision.records import Coverage, JarStory, ShelfResult, VerdictWord
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.report.words import VERDICT_WORDS, by_urgency, tell_age, tell_day

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

MOST_JARS = 40  # more do not fit a screen; the report and verdicts.csv hold all
NARROW = 72  # columns; below it the reasons would stand a word to a line beside the numbers
_NAME_WIDTH = 14
_VERDICT_WIDTH = 7
_INDENT = 4
_NOTHING = "-"
_MOST_NAMED = 3

_STYLES: dict[VerdictWord, str] = {
    "no-go": "bold red",
    "check": "bold yellow",
    "go": "bold green",
    "wait": "blue",
}


def print_summary(console: Console, result: ShelfResult) -> None:
    """Print the jars by urgency, with coverage, ready date and first reason.

    On a narrow screen the reason stands below its jar instead of beside it.
    """
    stories = by_urgency(result.stories)
    shown = stories[:MOST_JARS]
    console.print(f"{printable(result.folder)}, {tell_day(result.scored_on, year=True)}\n")
    if age := tell_age(result):
        console.print(f"{age}\n")
    console.print(_narrow(shown) if console.width < NARROW else _wide(shown))
    if len(stories) > MOST_JARS:
        console.print(f"... and {len(stories) - MOST_JARS} jars more in verdicts.csv")
    counts = Counter(story.verdict.verdict for story in stories)
    told = (f"{counts[word]} {word}" for word in VERDICT_WORDS if counts[word])
    nothing = "No jar is left on the shelf." if result.finished else "No jar could be told apart."
    console.print(f"\n{', '.join(told) or nothing}")
    if result.finished:
        console.print(f"{counted(len(result.finished), 'jar')} finished: jarvision jars list")


def tell_refused(result: ShelfResult, *, only: str = "") -> list[str]:
    """One line for each reason that photos were refused for, with which, and what to do about it.

    The newest photos are named: they are those that can be taken again. Those of finished jars are
    told no more. ``only`` is the one reason that is to be told; empty: all.
    """
    over = {done.jar for done in result.finished}
    going = (r for r in result.readings if r.jar not in over)
    refused = [r for r in going if r.status == "unusable" and only in ("", r.reason)]
    lines = []
    for word, count in Counter(r.reason for r in refused).most_common():
        reason = PHOTO_REASONS.get(word)
        meaning = f"{reason.meaning}. {reason.remedy}" if reason else word
        photos = sorted((r for r in refused if r.reason == word), key=lambda r: r.taken_at)[::-1]
        named = ", ".join(r.photo for r in photos[:_MOST_NAMED])
        more = f" and {count - _MOST_NAMED} more" if count > _MOST_NAMED else ""
        lines.append(f"{counted(count, 'photo')} not used ({named}{more}): {meaning}")
    return lines


# --------------------------------------------------------------------------- layouts
def _wide(stories: Sequence[JarStory]) -> RenderableType:
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("jar", max_width=_NAME_WIDTH, overflow="ellipsis", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("covered %", no_wrap=True, justify="right")
    table.add_column("ready", no_wrap=True)
    table.add_column("why", overflow="fold")
    for story in stories:
        table.add_row(*_cells(story), _why(story))
    return table


def _narrow(stories: Sequence[JarStory]) -> RenderableType:
    parts: list[RenderableType] = []
    for story in stories:
        name, verdict, percent, ready = _cells(story)
        name.truncate(_NAME_WIDTH, overflow="ellipsis", pad=True)
        verdict.truncate(_VERDICT_WIDTH, pad=True)
        line = Text("  ").join((name, verdict, _with_unit(percent), ready))
        line.no_wrap, line.overflow = True, "ellipsis"
        parts += [line, Padding(_why(story), (0, 0, 0, _INDENT))]
    return Group(*parts)


def _with_unit(percent: Text) -> Text:
    """The wide layout has the unit in its heading."""
    return percent if percent.plain == _NOTHING else Text(f"{percent} %")


def _cells(story: JarStory) -> tuple[Text, Text, Text, Text]:
    verdict, cover = story.verdict, story.verdict.coverage
    words = VERDICT_WORDS[verdict.verdict]
    percent = _percent(cover) if cover else _NOTHING
    ready = story.growth.ready_date
    told = verdict.verdict in ("wait", "go") and ready is not None
    return (
        Text(printable(verdict.jar)),
        Text(f"{words.symbol} {verdict.verdict}", style=_STYLES[verdict.verdict]),
        Text(percent),
        Text(f"{ready.day} {ready:%b}" if told and ready else _NOTHING),
    )


def _percent(cover: Coverage) -> str:
    """``82 (79-84)``, or ``27-85`` where no number is told."""
    ends = f"{cover.low:.0f}-{cover.high:.0f}"
    return f"{cover.percent:.0f} ({ends})" if cover.is_told else ends


def _why(story: JarStory) -> Text:
    reasons = story.verdict.reasons
    return Text(printable(reasons[0]) if reasons else "")
