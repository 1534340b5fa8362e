"""The plan as files: ``plan.csv``, and ``plan.ics`` for the calendar of a phone (RFC 5545)."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import Row, to_csv
from jarvision.base.days import days_after
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.version import __version__
from jarvision.report.words import tell_span
from jarvision.verdict.plan import Plan, PlanItem, Task

PLAN_COLUMNS: Final = ["date", "task", "jars", "urgency", "low", "high", "text"]

HEADINGS: Final[dict[Task, str]] = {
    "isolate": "Carry out",
    "overdue": "Overdue",
    "look": "Look at",
    "photo": "Photograph",
    "use": "Use as spawn",
    "fruit": "Fruiting conditions",
    "use-by": "Use by today",
    "ready": "Ready, rests now",
    "soak": "Soak substrate",
    "heat": "Drain and pasteurise",
    "pack": "Pack fruiting jars",
}
"""How a task is headed in a calendar and a table."""

_NAMESPACE: Final = uuid.UUID("2b0f3d1e-7f3c-5e0a-9a53-6a61727669ff")


def write_plan(plan: Plan, out: Path, *, shelf: str) -> tuple[Path, Path]:
    """Write ``plan.csv`` and ``plan.ics`` into ``out``.

    Parameters
    ----------
    shelf
        Name of the scored folder: it tells the events of several shelves apart.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    table = to_csv(PLAN_COLUMNS, (_row(item) for item in plan.items))
    return (
        write_whole(out / "plan.csv", table.encode("utf-8")),
        write_whole(out / "plan.ics", to_calendar(plan, shelf=shelf)),
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
    depends on the clock: DTSTAMP and SEQUENCE come from the plan's first day.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", f"-//jarvision//jarvision {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", f"Jars: {printable(shelf)}")
    for item in plan.items:
        event = Event()
        event.add("uid", _uid(item, shelf))
        event.add("dtstamp", datetime.combine(plan.first, time(), UTC))
        event.add("sequence", _sequence(plan.first))
        event.add("dtstart", item.day)
        event.add("dtend", days_after(item.day, 1))  # the end of an all-day event is outside
        event.add("summary", f"{HEADINGS[item.task]}: {jars_told(item.jars)}")
        event.add("description", _description(item))
        event.add("categories", [item.task])
        event.add("transp", "TRANSPARENT")  # work on a shelf does not block the day
        calendar.add_component(event)
    data: bytes = calendar.to_ical()
    return data


def _uid(item: PlanItem, shelf: str) -> str:
    key = "\n".join(printable(text) for text in (shelf, item.task, *item.jars))
    return f"{uuid.uuid5(_NAMESPACE, key)}@jarvision"


def _sequence(first: date) -> int:
    """Later plans have a higher number, as calendars expect of a moved event."""
    return (first - date(2000, 1, 1)).days


def _description(item: PlanItem) -> str:
    span = tell_span(item.low, item.high)
    return printable(item.text) + (f" 80 % interval: {span}." if span else "")
