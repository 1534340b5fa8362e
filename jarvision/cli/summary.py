"""The verdict table: one screen, 80 columns, and the line on refused photos."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text

from jarvision.flags import PHOTO_REASONS
from jarvision.identity import printable
from jarvision.records import JarStory, ShelfResult, VerdictWord
from jarvision.report.words import VERDICT_WORDS, by_urgency, tell_day

if TYPE_CHECKING:
    from rich.console import Console

MOST_JARS = 40  # more do not fit a screen; the report and verdicts.csv hold all

_STYLES: dict[VerdictWord, str] = {
    "no-go": "bold red",
    "check": "bold yellow",
    "go": "bold green",
    "wait": "blue",
}


def print_summary(console: Console, result: ShelfResult) -> None:
    """Print the jars by urgency, with coverage, ready date and first reason."""
    stories = by_urgency(result.stories)
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), expand=False)
    table.add_column("jar", max_width=14, overflow="ellipsis", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("covered %", no_wrap=True, justify="right")
    table.add_column("ready", no_wrap=True)
    table.add_column("why", overflow="fold")
    for story in stories[:MOST_JARS]:
        table.add_row(*_row(story))
    console.print(f"{printable(result.folder)}, {tell_day(result.scored_on, year=True)}")
    console.print(table)
    if len(stories) > MOST_JARS:
        console.print(f"... and {len(stories) - MOST_JARS} jars more in verdicts.csv")
    counts = Counter(story.verdict.verdict for story in stories)
    told = (f"{counts[word]} {word}" for word in VERDICT_WORDS if counts[word])
    console.print(", ".join(told) or "No jar could be told apart.")


def tell_refused(result: ShelfResult) -> list[str]:
    """One line for each reason that photos were refused for, with what to do about it."""
    refused = Counter(r.reason for r in result.readings if r.status == "unusable")
    lines = []
    for word, count in refused.most_common():
        reason = PHOTO_REASONS.get(word)
        photos = "1 photo" if count == 1 else f"{count} photos"
        meaning = f"{reason.meaning}. {reason.remedy}" if reason else word
        lines.append(f"{photos} not used: {meaning}")
    return lines


def _row(story: JarStory) -> tuple[Text, ...]:
    verdict, cover = story.verdict, story.verdict.coverage
    words = VERDICT_WORDS[verdict.verdict]
    percent = f"{cover.percent:.0f} ({cover.low:.0f}-{cover.high:.0f})" if cover else "-"
    ready = story.growth.ready_date
    told = verdict.verdict in ("wait", "go") and ready is not None
    return (
        Text(printable(verdict.jar)),
        Text(f"{words.symbol} {verdict.verdict}", style=_STYLES[verdict.verdict]),
        Text(percent),
        Text(f"{ready.day} {ready:%b}" if told and ready else "-"),
        Text(printable(verdict.reasons[0]) if verdict.reasons else ""),
    )
