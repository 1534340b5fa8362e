"""Whose kin is in doubt, and which doubt a jar's own clean days settle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import pytest
from fake_shelf import TODAY, fake_shelf, fake_story

from jarvision.records import Finding, JarEntry, JarStory, ShelfResult, TrackedPatch, VerdictWord
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome, OutcomeWord
from jarvision.settings.verdict import VerdictSettings
from jarvision.verdict.lives import with_lives

READY = {"percent": 98.0, "low": 96.0, "high": 100.0, "rested_days": 4.0}
GO = Finding.of("spawn_ready", "go", day=TODAY, since=TODAY, shown_since=TODAY, **READY)
WAIT = Finding.of("told", "wait", text="Grows.")
CLEAR = VerdictSettings().kin_clear_days
LATE_CLEAR = VerdictSettings().kin_late_clear_days


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def mould(day: date = TODAY, verdict: VerdictWord = "no-go") -> Finding:
    """Mould that was seen last today, whenever its area was seen first."""
    word = "mould" if verdict == "no-go" else "perhaps_mould"
    return Finding.of(
        word, verdict, day=day, patch="green-1", kind="green", area_cm2=2.0, seen_on=day,
        angle_deg=1.0, height_mm=30.0, photos=3.0, out_cm2=0.3, seen_days=1.0, photo_days=9.0,
    )  # fmt: skip


def jar(name: str, finding: Finding, *, last: date = TODAY, first: date | None = None) -> JarStory:
    """A jar with a photo on every day up to ``last``; ``first``: since when its area is there."""
    assert finding.verdict is not None
    story = fake_story(name, finding.verdict, (finding,))
    kind = "wet" if finding.word == "wet" else "green"
    area = TrackedPatch(f"{kind}-1", kind, 2.0, 1.0, 30.0, "growing")
    days = tuple(
        replace(
            story.history.days[-1],
            day=(day := last - timedelta(days=back)),
            patches=(area,) if first is not None and day >= first else (),
        )
        for back in reversed(range(40))
    )
    return replace(story, history=replace(story.history, days=days))


def kept(
    *stories: JarStory,
    parents: Mapping[str, str],
    starts: Mapping[str, date] | None = None,
    outcomes: Mapping[str, JarOutcome] | None = None,
) -> ShelfResult:
    begun = starts or {}
    lines = {j: JarEntry(j, parent=p, started=begun.get(j)) for j, p in parents.items()}
    by_photos = replace(fake_shelf(), stories=tuple(with_entry(s, lines) for s in stories))
    return with_lives(by_photos, Register(lines), outcomes or {})


def with_entry(story: JarStory, lines: Mapping[str, JarEntry]) -> JarStory:
    return replace(story, history=replace(story.history, entry=lines[story.verdict.jar]))


def said_of(result: ShelfResult, name: str) -> tuple[str, set[str]]:
    story = next(s for s in result.stories if s.verdict.jar == name)
    return story.verdict.verdict, {flag.flag for flag in story.flags}


def ended(name: str, word: OutcomeWord, day: date) -> JarOutcome:
    return JarOutcome(name, word, day, (), None, None, None)


SIX = {"M": "", "A": "M", "B": "M", "C": "M", "D": "M", "E": "M", "F": "M"}
NO_MOULD = (
    Finding.of("stall", "no-go", day=TODAY, days=9.0, percent=60.0, percent_per_day=0.0,
               expected_percent_per_day=6.0),
    Finding.of("dead_patch", "no-go", day=TODAY, patch="bare-1", area_cm2=3.0, days=9.0,
               rest_percent=97.0, angle_deg=1.0, height_mm=30.0),
    Finding.of("late", "check", age_days=60.0, percent=70.0, most_days=20.0),
    mould(verdict="check"),
    Finding.of("wet", "check", day=TODAY, area_cm2=2.0, look_cm2=0.5, out_cm2=6.0),
)  # fmt: skip


@pytest.mark.parametrize("finding", NO_MOULD, ids=lambda f: f.word)
def test_only_what_spoils_a_jar_for_certain_takes_its_kin_along(finding: Finding) -> None:
    for thrown in ({}, {"B": ended("B", "discarded", TODAY)}):
        result = kept(jar("A", GO), jar("B", finding), parents=SIX, outcomes=thrown)
        assert said_of(result, "A") == ("go", set())


@pytest.mark.parametrize(
    "finding",
    [mould(), Finding.of("wet", "no-go", day=TODAY, area_cm2=9.0, look_cm2=0.5, out_cm2=6.0)],
    ids=lambda f: f.word,
)
def test_mould_and_rot_do_and_time_settles_it(finding: Finding) -> None:
    """The days count from the first sight of the area, though it is seen again every day."""
    for days, verdict, flag in ((CLEAR - 1, "check", "bad_kin"), (CLEAR, "go", "kin_clean")):
        result = kept(jar("A", GO), jar("B", finding, first=ago(days)), parents=SIX)
        assert said_of(result, "A") == (verdict, {flag})
    told = next(f for s in result.stories for f in s.flags if f.flag == "kin_clean")
    assert f"turned bad on {ago(CLEAR)}" in told.message and f"{CLEAR} days later" in told.message


def test_days_without_a_photo_prove_nothing() -> None:
    bad = jar("B", mould(), first=ago(CLEAR))
    assert said_of(kept(jar("A", GO, last=ago(1)), bad, parents=SIX), "A")[0] == "check"


def test_a_photo_whose_date_lies_ahead_settles_nothing() -> None:
    bad = jar("B", mould(), first=ago(1))
    ahead = jar("A", GO, last=ago(-CLEAR))
    assert said_of(kept(ahead, bad, parents=SIX), "A")[0] == "check"


def test_what_was_found_on_opening_counts_from_that_day() -> None:
    for days, verdict in ((CLEAR - 1, "check"), (CLEAR, "go")):
        found = {"B": ended("B", "contaminated", ago(days))}
        for stories in ((jar("A", GO),), (jar("A", GO), jar("B", GO))):
            assert said_of(kept(*stories, parents=SIX, outcomes=found), "A")[0] == verdict
    seen_before = jar("B", mould(), first=ago(CLEAR))
    found = {"B": ended("B", "contaminated", TODAY)}
    assert said_of(kept(jar("A", GO), seen_before, parents=SIX, outcomes=found), "A")[0] == "go"


def test_a_younger_jar_has_had_less_time() -> None:
    bad = jar("B", mould(), first=ago(CLEAR + 3))
    for younger, verdict in ((3, "go"), (4, "check"), (-9, "go")):
        starts = {"A": ago(20 - younger), "B": ago(20)}
        assert said_of(kept(jar("A", GO), bad, parents=SIX, starts=starts), "A")[0] == verdict


def test_a_fault_that_shows_late_did_not_come_with_the_spawn() -> None:
    """Nor do several of them; each asks for as long as young mould is white."""
    shows = VerdictSettings().spawn_shows_days
    for days, verdict in ((LATE_CLEAR - 1, "check"), (LATE_CLEAR, "go")):
        for number in (1, 3):
            bad = [jar(name, mould(), first=ago(days)) for name in "BCD"[:number]]
            starts = dict.fromkeys(SIX, ago(days + shows + 1))
            result = kept(jar("A", GO), *bad, parents=SIX, starts=starts)
            assert said_of(result, "A")[0] == verdict
    told = next(f for s in result.stories for f in s.flags if f.flag == "kin_clean")
    assert "later than what comes with spawn shows" in told.message


def test_a_day_sooner_it_may_be_the_spawns() -> None:
    bad = jar("B", mould(), first=ago(LATE_CLEAR))
    starts = dict.fromkeys(SIX, ago(LATE_CLEAR + VerdictSettings().spawn_shows_days))
    assert said_of(kept(jar("A", GO), bad, parents=SIX, starts=starts), "A")[0] == "check"


def test_where_several_of_one_spawn_turned_bad_it_is_the_spawn() -> None:
    """Two of six; of a dozen it takes three."""
    dozen = {"M": "", **dict.fromkeys("ABCDEFGHIJKL", "M")}
    for family, number, verdict in ((SIX, 1, "go"), (SIX, 2, "check"), (dozen, 2, "go"),
                                    (dozen, 3, "check")):  # fmt: skip
        bad = [jar(name, mould(), first=ago(30)) for name in "BCD"[:number]]
        assert said_of(kept(jar("A", GO), *bad, parents=family), "A")[0] == verdict


@pytest.mark.parametrize(
    ("good", "bad", "verdict"), [("B", "M", "check"), ("A1", "M", "go"), ("M", "B", "go")]
)
def test_what_was_in_its_own_spawn_is_in_the_jar_whatever_the_time(
    good: str, bad: str, verdict: str
) -> None:
    """Further up its line, and in what it fed, a fault need not be the jar's."""
    family = {"M": "", "A": "M", "B": "M", "A1": "A"}
    parents = {name: parent for name, parent in family.items() if parent != good or name == bad}
    planned = {name: TODAY + timedelta(days=3) for name in parents if parents[name] == good}
    bad_one = jar(bad, mould(), first=ago(30))
    assert (
        said_of(kept(jar(good, GO), bad_one, parents=parents, starts=planned), good)[0] == verdict
    )


def test_a_jar_that_waits_is_told_either_way() -> None:
    for days, flag in ((1, "bad_kin"), (CLEAR, "kin_clean")):
        result = kept(jar("A", WAIT), jar("B", mould(), first=ago(days)), parents=SIX)
        assert said_of(result, "A") == ("wait", {flag})


def test_how_long_it_takes_and_what_is_the_spawns_are_settings() -> None:
    lines = {j: JarEntry(j, parent=p) for j, p in SIX.items()}
    stories = [jar("A", GO), jar("B", mould(), first=ago(3)), jar("C", mould(), first=ago(3))]
    by_photos = replace(fake_shelf(), stories=tuple(with_entry(s, lines) for s in stories))
    quick = VerdictSettings(kin_clear_days=3, spawn_fault_share=0.5)
    found = with_lives(by_photos, Register(lines), {}, limits=quick)
    assert said_of(found, "A")[0] == "go"
    assert said_of(with_lives(by_photos, Register(lines), {}), "A")[0] == "check"
