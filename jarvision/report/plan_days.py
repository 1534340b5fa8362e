"""The next days on the page: what is due on each, a task of many jars on one line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from typing import Final

from jarvision.base.text import printable
from jarvision.report.plan_files import HEADINGS, jars_told
from jarvision.report.words import tell_day, tell_span
from jarvision.verdict.plan import Plan, PlanItem

TODAYS_TASKS: Final = (
    "isolate", "overdue", "look", "photo", "use", "fruit", "moisten", "drain", "unhood", "harvest",
)  # fmt: skip
"""What today's list says already, if it is due today."""

AMOUNTS: Final = ("soak", "pack")
"""What these tasks say is of all their jars together: two of them never share one line."""

FEW_NAMES: Final = 4
"""The names of more jars stand in a fold: what is due and for how many is read at a glance."""


@dataclass(frozen=True)
class TaskLine:
    """Jars with one task of which one thing is said; ``span`` is the 80 % interval of its day.

    ``together``: what is said is of these jars together, such as an amount for all of them.
    """

    heading: str
    jars: tuple[str, ...]
    texts: tuple[str, ...]
    span: str
    together: bool = False

    @property
    def told(self) -> str:
        """Names of the jars."""
        return jars_told(self.jars)

    @property
    def text(self) -> str:
        """All that is said of them."""
        return " ".join(self.texts)


@dataclass(frozen=True)
class Fold:
    """One line for many jars: ``title`` and how many they are; ``parts`` open below it.

    ``texts`` is what is said of all of them.
    """

    title: str
    number: int
    parts: tuple[TaskLine, ...]
    texts: tuple[str, ...] = ()
    together: bool = False

    @property
    def text(self) -> str:
        """All that is said of all of them."""
        return " ".join(self.texts)


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
        lines = tuple(_told_once(line, told) for line in grouped(map(_task, due)))
        days.append(Day(_tell_when(day, plan.first), lines))
    return NextDays(
        tuple(days),
        _named("Later than that", plan.later),
        _named("Growing, without a date yet", plan.undated),
    )


def grouped(tasks: Iterable[TaskLine]) -> tuple[TaskLine | Fold, ...]:
    """Tasks of one day: one line for those that differ in their jars alone, a fold for many."""
    found: dict[str, list[TaskLine]] = {}
    for task in tasks:
        found.setdefault(task.heading, []).append(task)
    lines: list[TaskLine | Fold] = []
    for heading, own in found.items():
        number = sum(len(task.jars) for task in own)
        if number > FEW_NAMES:
            lines.append(_folded(heading, number, own))
        else:
            lines += own if own[0].together else _joined(own, by_text=False)
    return tuple(lines)


def _folded(heading: str, number: int, tasks: Sequence[TaskLine]) -> Fold:
    """A fold of many jars; what is said of all of them stands outside of it."""
    together = tasks[0].together
    if together and len(tasks) > 1:
        return Fold(heading, number, tuple(tasks), together=True)
    texts = tuple(dict.fromkeys(text for task in tasks for text in task.texts))
    if len(texts) != 1:
        return Fold(heading, number, _joined(tasks, by_text=True))
    parts = _joined([replace(task, texts=()) for task in tasks], by_text=True)
    return Fold(heading, number, parts, texts, together)


def _joined(tasks: Sequence[TaskLine], *, by_text: bool) -> tuple[TaskLine, ...]:
    """One line for all jars with the same interval, and with ``by_text`` the same words."""
    found: dict[tuple[str, tuple[str, ...]], list[TaskLine]] = {}
    for task in tasks:
        found.setdefault((task.span, task.texts if by_text else ()), []).append(task)
    return tuple(
        TaskLine(
            same[0].heading,
            tuple(jar for task in same for jar in task.jars),
            tuple(dict.fromkeys(text for task in same for text in task.texts)),
            same[0].span,
        )
        for same in found.values()
    )


def _told_once(line: TaskLine | Fold, told: set[str]) -> TaskLine | Fold:
    """The line without what an earlier one has told; what its fold holds stays."""
    if line.together:
        return line
    new = tuple(text for text in line.texts if text not in told)
    told.update(line.texts)
    return replace(line, texts=new)


def _named(title: str, jars: tuple[str, ...]) -> TaskLine | Fold | None:
    """Jars without a day, under the words that say why; None without any."""
    if not jars:
        return None
    line = TaskLine(title, jars, (), "")
    return line if len(jars) <= FEW_NAMES else Fold(title, len(jars), (line,))


def _tell_when(day: date, today: date) -> str:
    names = {0: "Today", 1: "Tomorrow"}
    return names.get((day - today).days) or tell_day(day)


def _task(item: PlanItem) -> TaskLine:
    texts = () if item.task == "use-by" else (printable(item.text),)
    span = tell_span(item.low, item.high)
    return TaskLine(HEADINGS[item.task], item.jars, texts, span, item.task in AMOUNTS)
