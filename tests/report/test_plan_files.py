"""``plan.csv`` and ``plan.ics``: read back by other libraries, held to RFC 5545."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from datetime import UTC, date, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from fake_shelf import TODAY, fake_shelf

from jarvision.report.plan_files import HEADINGS, PLAN_COLUMNS, to_calendar, write_plan
from jarvision.settings.plan import PlanSettings
from jarvision.verdict.plan import TASKS, Plan, PlanItem, make_plan

ODD = "=SUM(A1);x,y\\z"


@pytest.fixture
def plan() -> Plan:
    made = make_plan(fake_shelf())
    odd = PlanItem(TODAY, "look", (ODD, "Ä" * 60), 'Say "ah"; then\\wait, ' * 6 + "Ω.", "look")
    return replace(made, items=(*made.items, odd))


def events(data: bytes) -> list[Any]:
    """Events as ``vobject`` reads them, a library that did not write them."""
    (calendar,) = list(vobject.readComponents(data.decode("utf-8")))
    return list(calendar.vevent_list)


def test_another_library_reads_every_event_as_it_was_planned(plan: Plan) -> None:
    found = events(to_calendar(plan, shelf="shelf-a"))
    assert len(found) == len(plan.items) > 5
    for event, item in zip(found, plan.items, strict=True):
        assert event.dtstart.value == item.day
        assert event.dtend.value == item.day + timedelta(days=1)
        assert event.summary.value == f"{HEADINGS[item.task]}: {', '.join(item.jars)}"
        assert event.description.value.startswith(item.text)
        assert event.categories.value == [item.task]


def test_each_day_reminds_once_of_all_that_asks_for_something(plan: Plan) -> None:
    found = events(to_calendar(replace(plan, reminder_hour=7), shelf="s"))
    told: dict[date, list[str]] = {}
    for event, item in zip(found, plan.items, strict=True):
        for alarm in getattr(event, "valarm_list", []):
            assert alarm.action.value == "DISPLAY"
            assert alarm.trigger.value == timedelta(hours=7)  # after midnight, where it begins
            assert item.task != "ready"
            told.setdefault(item.day, []).append(alarm.description.value)
    asking = [item for item in plan.items if item.task != "ready"]
    assert set(told) == {item.day for item in asking}
    assert len(asking) > len(told) > 2
    for day, (text,) in told.items():
        due = [item for item in asking if item.day == day]
        parts = dict(part.split(": ", 1) for part in text.split("; "))
        assert list(parts) == list(dict.fromkeys(HEADINGS[item.task] for item in due))
        for heading, jars in parts.items():
            named = [jar for item in due if HEADINGS[item.task] == heading for jar in item.jars]
            assert jars == ", ".join(named)


def test_the_hour_of_the_reminder_is_a_setting() -> None:
    made = make_plan(fake_shelf(), settings=PlanSettings(reminder_hour=19))
    assert b"TRIGGER:PT19H" in to_calendar(made, shelf="s")
    assert b"TRIGGER:PT8H" in to_calendar(make_plan(fake_shelf()), shelf="s")


def test_the_stream_keeps_to_rfc_5545(plan: Plan) -> None:
    """Sections 3.1 (lines), 3.6 (components), 3.6.1 (events), 3.7 (calendar properties)."""
    data = to_calendar(plan, shelf="shelf-a")
    text = data.decode("utf-8")
    assert text.endswith("\r\n")
    assert re.findall(r"(?<!\r)\n|\r(?!\n)", text) == []
    assert max(len(line.encode("utf-8")) for line in text.split("\r\n")) <= 75
    unfolded = re.sub(r"\r\n[ \t]", "", text).split("\r\n")
    assert unfolded[0] == "BEGIN:VCALENDAR" and unfolded[-2] == "END:VCALENDAR"
    assert unfolded.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in unfolded) == 1
    for event in text.split("BEGIN:VEVENT")[1:]:
        for once in ("UID", "DTSTAMP", "DTSTART"):
            assert len(re.findall(rf"^{once}[;:]", event, re.MULTILINE)) == 1
        assert re.search(r"^DTSTAMP:\d{8}T000000Z\r$", event, re.MULTILINE)
        assert re.search(r"^DTSTART;VALUE=DATE:\d{8}\r$", event, re.MULTILINE)


def test_no_two_events_share_a_uid_and_a_moved_event_keeps_its_own(plan: Plan) -> None:
    before = events(to_calendar(plan, shelf="shelf-a"))
    moved = tuple(replace(i, day=i.day + timedelta(days=1)) for i in plan.items)
    later = replace(plan, first=plan.first + timedelta(days=1), items=moved)
    after = events(to_calendar(later, shelf="shelf-a"))
    uids = [event.uid.value for event in before]
    assert len(set(uids)) == len(uids)
    assert [event.uid.value for event in after] == uids
    assert all(
        int(b.sequence.value) > int(a.sequence.value) for a, b in zip(before, after, strict=True)
    )
    elsewhere = events(to_calendar(plan, shelf="shelf-b"))
    assert not {event.uid.value for event in elsewhere} & set(uids)


def test_the_same_plan_gives_the_same_bytes(plan: Plan, tmp_path: Path) -> None:
    first = [path.read_bytes() for path in write_plan(plan, tmp_path / "a", shelf="s")]
    assert first == [path.read_bytes() for path in write_plan(plan, tmp_path / "b", shelf="s")]
    stamp = events(first[1])[0].dtstamp.value
    assert (stamp.date(), stamp.tzinfo is not None) == (plan.first, True)
    assert stamp.astimezone(UTC).hour == 0


def test_an_empty_plan_is_a_calendar_and_a_table_all_the_same(tmp_path: Path) -> None:
    table, calendar = write_plan(Plan(TODAY, TODAY), tmp_path, shelf="s")
    assert table.read_text("utf-8").splitlines() == [",".join(PLAN_COLUMNS)]
    assert b"VEVENT" not in calendar.read_bytes()


def test_the_table_holds_every_item_and_no_formula(plan: Plan, tmp_path: Path) -> None:
    table, _ = write_plan(plan, tmp_path, shelf="s")
    rows = list(csv.DictReader(io.StringIO(table.read_text("utf-8"))))
    assert [date.fromisoformat(row["date"]) for row in rows] == [i.day for i in plan.items]
    assert rows[-1]["jars"].startswith(f"'{ODD}")
    ready = next(row for row in rows if row["task"] == "ready")
    assert ready["low"] <= ready["date"] <= ready["high"]


def test_every_task_has_its_heading() -> None:
    assert set(HEADINGS) == set(TASKS)
