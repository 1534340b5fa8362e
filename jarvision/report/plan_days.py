"""The next days on the page: what is due on each, a task of many jars on one line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Final

from jarvision.base.text import printable
from jarvision.report.plan_files import HEADINGS, jars_told
from jarvision.report.words import tell_day, tell_span
from jarvision.verdict.plan import Plan, PlanItem

TODAYS_TASKS: Final = ("isolate", "overdue", "look", "photo", "use", "fruit")
"""What today's list says already, if it is due today."""

MOST_NAMES: Final = 6
"""The names of more jars stand in a fold: what is due and for how many is read at a glance."""


@dataclass(frozen=True)
class TaskLine:
    """Jars with one task of which one thing is said; ``span`` is the 80 % interval of its day."""

    heading: str
    jars: tuple[str, ...]
    text: str
    span: str

    @property
    def told(self) -> str:
        """Names of the jars."""
        return jars_told(self.jars)


@dataclass(frozen=True)
class Fold:
    """One line for many jars: ``title`` and how many they are; ``parts`` open below it.

    ``text`` is what is said of all of them.
    """

    title: str
    number: int
    parts: tuple[TaskLine, ...]
    text: str = ""


@dataclass(frozen=True)
class Day:
    """What is due on one day."""

    day: str
    tasks: tuple[TaskLine | Fold, ...]


@dataclass(frozen=True)
class NextDays:
    """The plan as the page tells it; ``later`` and ``undated`` are jars that have no day in it."""

    days: tuple[Day, ...] = ()
    later: TaskLine | Fold | None = None
    undated: TaskLine | Fold | None = None


def next_days(plan: Plan | None) -> NextDays:
    """Sort the plan by days, without what today's list says already.

    The same words for the same kind of task are told once, at its first day.
    """
    if plan is None:
        return NextDays()
    items = [i for i in plan.items if i.day > plan.first or i.task not in TODAYS_TASKS]
    told: set[str] = set()
    days = []
    for day, due in groupby(items, key=lambda item: item.day):
        tasks = []
        for item in due:
            tasks.append(_task(item, with_text=item.text not in told and item.task != "use-by"))
            told.add(item.text)
        days.append(Day(_tell_when(day, plan.first), grouped(tasks)))
    return NextDays(
        tuple(days),
        _named("Later than that", plan.later),
        _named("Growing, too early for a date", plan.undated),
    )


def grouped(tasks: Iterable[TaskLine]) -> tuple[TaskLine | Fold, ...]:
    """Tasks of one day: one line for those that differ in their jars alone, a fold for many."""
    found: dict[str, list[TaskLine]] = {}
    for task in tasks:
        found.setdefault(task.heading, []).append(task)
    lines: list[TaskLine | Fold] = []
    for heading, own in found.items():
        number = sum(len(task.jars) for task in own)
        if number <= MOST_NAMES:
            lines += _joined(own)
            continue
        texts = list(dict.fromkeys(task.text for task in own if task.text))
        if len(texts) == 1:  # said of the first jar, meant for all
            own = [TaskLine(heading, task.jars, "", task.span) for task in own]
        parts = _joined(own, by_text=True)
        lines.append(Fold(heading, number, parts, texts[0] if len(texts) == 1 else ""))
    return tuple(lines)


def _joined(tasks: Sequence[TaskLine], *, by_text: bool = False) -> tuple[TaskLine, ...]:
    """One line for all jars with the same interval, and with ``by_text`` the same words."""
    found: dict[tuple[str, str], list[TaskLine]] = {}
    for task in tasks:
        found.setdefault((task.span, task.text if by_text else ""), []).append(task)
    return tuple(
        TaskLine(
            same[0].heading,
            tuple(jar for task in same for jar in task.jars),
            " ".join(dict.fromkeys(filter(None, (task.text for task in same)))),
            same[0].span,
        )
        for same in found.values()
    )


def _named(title: str, jars: tuple[str, ...]) -> TaskLine | Fold | None:
    """Jars without a day, under the words that say why; None without any."""
    if not jars:
        return None
    line = TaskLine(title, jars, "", "")
    return line if len(jars) <= MOST_NAMES else Fold(title, len(jars), (line,))


def _tell_when(day: date, today: date) -> str:
    names = {0: "Today", 1: "Tomorrow"}
    return names.get((day - today).days) or tell_day(day)


def _task(item: PlanItem, *, with_text: bool) -> TaskLine:
    return TaskLine(
        HEADINGS[item.task],
        item.jars,
        printable(item.text) if with_text else "",
        tell_span(item.low, item.high),
    )
