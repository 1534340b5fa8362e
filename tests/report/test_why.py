"""Reasons on the page: short lines, plain sentences, what to do."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from fake_shelf import FIRST, TODAY, fake_story

from jarvision.records import Finding, JarStory, VerdictWord
from jarvision.report.why import reasons_of, short_why

PLACE = {"angle_deg": -15.0, "height_mm": 40.0}
GREEN = {**PLACE, "kind": "green", "patch": "green-1", "area_cm2": 2.54, "seen_on": TODAY}


def story_of(finding: Finding, verdict: VerdictWord = "check") -> JarStory:
    return fake_story("J1", verdict, (finding,))


@pytest.mark.parametrize(
    ("finding", "line"),
    [
        (Finding.of("mould", "no-go", **GREEN), "green growth, 2.5 cm²"),
        (Finding.of("mould", "no-go", **GREEN, earlier=FIRST), "green growth, 2.5 cm² on 3 Mar"),
        (Finding.of("perhaps_mould", "check", **GREEN), "perhaps green growth, 2.5 cm²"),
        (Finding.of("odd_stain", "check", area_cm2=2.0), "perhaps odd staining, 2.0 cm²"),
        (Finding.of("wet", "no-go", area_cm2=6.3), "wet at the glass, 6.3 cm²"),
        (Finding.of("dead_patch", "no-go", area_cm2=3.3), "bare area stays open, 3.3 cm²"),
        (Finding.of("stall", "check", percent=71.0, days=5), "stands still at 71 % for 5 days"),
        (Finding.of("old_photo", "check", last=FIRST), "last usable photo on Tue 3 Mar"),
        (Finding.of("overdue", "check", since=FIRST), "ready since 3 Mar, does not keep longer"),
        (Finding.of("growing", "wait", ready=TODAY), "growing, ready about Tue 10 Mar"),
        (Finding.of("growing_undated", "wait"), "growing; too early for a date"),
        (Finding.of("resting", "wait", shown_since=FIRST), "covered since 3 Mar, resting"),
        (Finding.of("spawn_ready", "go", shown_since=FIRST), "covered since 3 Mar, rested"),
        (Finding.of("no_photo", "check"), "no photo could be used"),
        (Finding.of("late", "check", age_days=31, percent=70.0), "31 days old and 70 % covered"),
    ],
    ids=lambda value: value.word if isinstance(value, Finding) else "",
)
def test_the_short_line_names_what_decides_with_its_number(finding: Finding, line: str) -> None:
    story = replace_findings(fake_story("J1", finding.verdict or "check", ()), finding)
    assert short_why(story) == line


def replace_findings(story: JarStory, *findings: Finding) -> JarStory:
    return replace(story, verdict=replace(story.verdict, findings=findings))


def test_reasons_are_told_as_people_write() -> None:
    finding = Finding.of(
        "dead_patch", "check", patch="bare-1", area_cm2=3.3, days=4, rest_percent=97.0, **PLACE
    )
    (reason,) = reasons_of(story_of(finding))
    assert reason.text == (
        "Bare area bare-1 of 3.3 cm² (15 degrees to the left, 40 mm up) has not closed for 4 days "
        "while the rest is 97 % covered."
    )


def test_every_reason_is_told_once_and_doomed_jars_get_one_thing_to_do() -> None:
    facts = {**GREEN, "seen_days": 1, "photo_days": 4}
    more = {**facts, "seen_on": TODAY - timedelta(days=1)}
    moulds = tuple(Finding.of("perhaps_mould", "check", **each) for each in (facts, more))
    flags = (*(("off_colour", mould.sentence) for mould in moulds), ("unregistered", "A note."))
    check = reasons_of(fake_story("J1", "check", moulds, flags=flags))
    assert [r.text[:7] for r in check] == ["Perhaps", "Perhaps", "A note."]
    assert [r.decides for r in check] == [True, True, False]
    assert check[0].remedy == "" and "Keep the jar closed" in check[1].remedy
    out = reasons_of(fake_story("J1", "no-go", moulds, flags=flags))
    assert [bool(r.remedy) for r in out] == [False, False, True]


def test_a_check_says_what_settles_each_of_its_reasons_and_nothing_else_does() -> None:
    spot, old = (
        Finding.of("perhaps_mould", "check", seen_days=1, photo_days=9, **GREEN),
        Finding.of("old_photo", "check", last=FIRST, age_days=4, most_days=2),
    )
    told = [reason.settled for reason in reasons_of(replace_findings(story_of(spot), spot, old))]
    assert "more photos of the same side" in told[0]
    assert "jarvision jars seen J1 --fine" in told[0]
    assert told[1] == "Settled by a new photo."
    mould = Finding.of("mould", "no-go", photos=2, out_cm2=0.3, **GREEN)
    doomed = replace_findings(fake_story("J1", "no-go", ()), mould, spot)
    assert not any(reason.settled for reason in reasons_of(doomed))


def test_a_normal_stain_asks_for_nothing_and_a_refused_photo_stands_elsewhere() -> None:
    flags = (("stain", "Stain."), ("photo_refused", "J1.jpg: blurred."))
    told = reasons_of(fake_story("J1", "go", ("Ready.",), flags=flags))
    assert [(r.text, r.remedy) for r in told] == [("Ready.", ""), ("Stain.", "")]
