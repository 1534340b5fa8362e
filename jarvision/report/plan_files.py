"""The plan as files: ``plan.csv``, and ``plan.ics`` for the calendar of a phone (RFC 5545)."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

from jarvision.base.csv_text import Row, to_csv
from jarvision.base.days import days_after
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.version import __version__
from jarvision.records.parts import MadeAnew, Parts
from jarvision.report.kept import WHOLE_SHELF
from jarvision.report.words import tell_span
from jarvision.verdict.plan import Plan, PlanItem, Task

if TYPE_CHECKING:
    from icalendar import Alarm

PLAN_COLUMNS: Final = ["date", "task", "jars", "urgency", "low", "high", "text"]

HEADINGS: Final[dict[Task, str]] = {
    "isolate": "Carry out",
    "overdue": "Overdue",
    "look": "Look at",
    "photo": "Photograph",
    "use": "Use as spawn",
    "fruit": "Fruiting conditions",
    "use-by": "Last day to use",
    "ready": "Ready, rests now",
    "soak": "Soak substrate",
    "heat": "Drain and pasteurise",
    "pack": "Pack fruiting jars",
    "moisten": "Moisten",
    "drain": "Tip off water",
    "unhood": "Take the hood off",
    "harvest": "Cut",
    "flush": "Next flush",
}
"""How a task is headed in a calendar and a table."""

NO_REMINDER: Final = frozenset({"ready", "flush"})
"""Tasks that ask for nothing on their day."""

_NAMESPACE: Final = uuid.UUID("2b0f3d1e-7f3c-5e0a-9a53-6a61727669ff")


def write_plan(
    plan: Plan, out: Path, *, shelf: str, parts: Parts | None = None
) -> tuple[Path, Path]:
    """Write ``plan.csv`` and ``plan.ics`` into ``out``.

    Parameters
    ----------
    shelf
        Name of the scored folder: it tells the events of several shelves apart.
    parts
        Keep the calendar, whose events take a millisecond each; None: it is made anew.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    table = to_csv(PLAN_COLUMNS, (_row(item) for item in plan.items))
    calendar = (parts or MadeAnew()).text(
        "plan.ics", WHOLE_SHELF, (plan, shelf), lambda: to_calendar(plan, shelf=shelf).decode()
    )
    return (
        write_whole(out / "plan.csv", table.encode("utf-8")),
        write_whole(out / "plan.ics", calendar.encode()),
    )


def jars_told(jars: Iterable[str]) -> str:
    """Names of jars in one cell or line."""
    return ", ".join(printable(jar) for jar in jars)


def _row(item: PlanItem) -> Row:
    ends = (day.isoformat() if day else "" for day in (item.low, item.high))
    return (
        item.day.isoformat(),
        item.task,
        jars_told(item.jars),
        item.urgency,
        *ends,
        item.text,
    )


def to_calendar(plan: Plan, *, shelf: str) -> bytes:
    """Return the plan as an iCalendar stream (RFC 5545): one all-day event for each item.

    The same task of the same jars keeps its UID, so that a later import moves the event. Nothing
    depends on the clock: DTSTAMP and SEQUENCE come from the plan's first day. The first event of
    each day that asks for something reminds of all that is to be done on it, once.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", f"-//jarvision//jarvision {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", f"Jars: {printable(shelf)}")
    reminders = _reminders(plan)
    for item in plan.items:
        event = Event()
        event.add("uid", _uid(item, shelf))
        event.add("dtstamp", datetime.combine(plan.first, time(), UTC))
        event.add("sequence", _sequence(plan.first))
        event.add("dtstart", item.day)
        event.add("dtend", days_after(item.day, 1))  # the end of an all-day event is outside
        event.add("summary", _summary(item))
        event.add("description", _description(item))
        event.add("categories", [item.task])
        event.add("transp", "TRANSPARENT")  # work on a shelf does not block the day
        if item in reminders:
            event.add_component(_alarm(reminders[item], hour=plan.reminder_hour))
        calendar.add_component(event)
    data: bytes = calendar.to_ical()
    return data


def _summary(item: PlanItem) -> str:
    return f"{HEADINGS[item.task]}: {jars_told(item.jars)}"


def _reminders(plan: Plan) -> Mapping[PlanItem, str]:
    """What to remind of, by the item that does: the first of its day that asks for something."""
    due: dict[date, list[PlanItem]] = {}
    for item in plan.items:
        if item.task not in NO_REMINDER:
            due.setdefault(item.day, []).append(item)
    return {items[0]: _todo(items) for items in due.values()}


def _todo(items: Iterable[PlanItem]) -> str:
    """What is due on one day, each task once with all its jars."""
    jars: dict[Task, list[str]] = {}
    for item in items:
        jars.setdefault(item.task, []).extend(item.jars)
    return "; ".join(f"{HEADINGS[task]}: {jars_told(names)}" for task, names in jars.items())


def _alarm(text: str, *, hour: int) -> Alarm:
    """A reminder (RFC 5545, 3.6.6); an all-day event begins at midnight of the reader's clock."""
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", text)
    alarm.add("trigger", timedelta(hours=hour))
    return alarm


def _uid(item: PlanItem, shelf: str) -> str:
    key = "\n".join(printable(text) for text in (shelf, item.task, *item.jars))
    return f"{uuid.uuid5(_NAMESPACE, key)}@jarvision"


def _sequence(first: date) -> int:
    """Later plans have a higher number, as calendars expect of a moved event."""
    return (first - date(2000, 1, 1)).days


def _description(item: PlanItem) -> str:
    span = tell_span(item.low, item.high)
    return printable(item.text) + (f" 80 % interval: {span}." if span else "")
