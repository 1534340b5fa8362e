"""What became of the jars and of their kin, added to what their photos say."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from fake_shelf import TODAY, fake_shelf, fake_story

from jarvision.records import Finding, Flag, JarEntry, JarStory, ShelfResult, VerdictWord
from jarvision.records.settling import what_settles
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome, OutcomeWord
from jarvision.verdict.lives import with_lives
from jarvision.verdict.settled import looks_at

READY = {"percent": 98.0, "low": 96.0, "high": 100.0, "rested_days": 4.0}
GO = Finding.of("spawn_ready", "go", day=TODAY, since=TODAY, shown_since=TODAY, **READY)
GREEN = Finding.of("told", "no-go", text="Green.")
WET = Finding.of("told", "check", text="Wet.")
GROWS = Finding.of("told", "wait", text="Grows.")
SAYS: dict[VerdictWord, Finding] = {"go": GO, "no-go": GREEN, "check": WET, "wait": GROWS}

FAMILY = {
    "G": "", "M": "G", "A": "M", "B": "M", "A1": "A", "A2": "A", "A11": "A1", "Z": "",
}  # fmt: skip


def register(parents: dict[str, str], started: date | None = None) -> Register:
    return Register(
        {jar: JarEntry(jar, parent=parent, started=started) for jar, parent in parents.items()}
    )


def photos(**says: VerdictWord) -> ShelfResult:
    stories = tuple(fake_story(jar, word, (SAYS[word],)) for jar, word in says.items())
    return replace(fake_shelf(), stories=stories)


def became(**words: OutcomeWord) -> dict[str, JarOutcome]:
    return {jar: JarOutcome(jar, word, TODAY, (), None, None, None) for jar, word in words.items()}


def told(result: ShelfResult) -> dict[str, str]:
    return {s.verdict.jar: s.verdict.verdict for s in result.stories}


def story(result: ShelfResult, jar: str) -> JarStory:
    return next(s for s in result.stories if s.verdict.jar == jar)


# --------------------------------------------------------------------------- bad kin
@pytest.mark.parametrize(
    ("good", "bad", "kinship"),
    [
        ("A", "B", "same spawn"),
        ("B", "M", "its own spawn"),
        ("A1", "M", "further up its line"),
        ("A11", "M", "further up its line"),
        ("Z", "A", ""),
        ("B", "A1", ""),
        ("A2", "B", ""),
    ],
)
def test_a_jar_whose_kin_turned_bad_is_looked_at_and_says_why(
    good: str, bad: str, kinship: str
) -> None:
    """Its parent, the line above it, and those of the same spawn; no aunts, nephews, strangers."""
    only = {jar: parent for jar, parent in FAMILY.items() if parent != good}  # not used up
    for result, outcomes in (
        (photos(**{good: "go"}), became(**{bad: "contaminated"})),
        (photos(**{good: "go", bad: "no-go"}), {}),
    ):
        found = story(with_lives(result, register(only | {good: FAMILY[good]}), outcomes), good)
        assert found.verdict.verdict == ("check" if kinship else "go")
        assert ("bad_kin" in {f.flag for f in found.flags}) is bool(kinship)
        if kinship:
            (reason,) = found.verdict.reasons
            assert reason.startswith(f"Of its kin, {bad} ({kinship}) turned bad.")
            assert "98 %" in reason and "rested 4 days" in reason
            assert "use as spawn" not in reason


def test_spawn_whose_child_turned_bad_before_its_story_is_over_is_looked_at() -> None:
    """A child that is only planned has used nothing up; a bad one tells of its spawn anyway."""
    tomorrow = TODAY + timedelta(days=1)
    lines = {"M": JarEntry("M"), "C": JarEntry("C", parent="M", started=tomorrow)}
    result = with_lives(photos(M="go", C="no-go"), Register(lines), {})
    assert told(result) == {"M": "check", "C": "no-go"}
    assert "C (fed from it)" in story(result, "M").verdict.reasons[0]


def test_a_jar_that_waits_goes_on_waiting_and_is_told() -> None:
    plain = register({"A": "M", "B": "M", "M": ""})
    waits = story(with_lives(photos(A="wait", B="no-go"), plain, {}), "A")
    assert (waits.verdict.verdict, waits.verdict.findings) == ("wait", (GROWS,))
    (flag,) = waits.flags
    assert (flag.flag, flag.message) == ("bad_kin", "Of its kin, B (same spawn) turned bad.")


def test_a_doubt_of_its_own_comes_first_and_a_jar_that_must_go_is_told_nothing_more() -> None:
    plain = register({"A": "M", "B": "M", "C": "M", "M": ""})
    result = with_lives(photos(A="check", B="no-go", C="no-go"), plain, {})
    doubted = story(result, "A").verdict
    assert doubted.verdict == "check"
    assert doubted.reasons == ("Wet.", "Of its kin, B (same spawn), C (same spawn) turned bad.")
    assert story(result, "B").flags == ()


def test_a_look_settles_the_kin_that_was_bad_then_until_another_turns_bad() -> None:
    plain = register({"A": "M", "B": "M", "C": "M", "D": "M", "M": ""})
    first = with_lives(photos(A="go", B="no-go"), plain, became(C="contaminated"))
    doubted = story(first, "A").verdict
    assert doubted.verdict == "check"
    assert "jarvision jars seen A --fine" in what_settles(doubted.findings[0], "A")
    looks = {"A": looks_at(doubted, day=TODAY, note="smells fresh")}
    now = story(with_lives(photos(A="go", B="no-go"), plain, {}, looks=looks), "A")
    assert (now.verdict.verdict, now.verdict.findings) == ("go", (GO,))
    (flag,) = now.flags
    assert (flag.flag, flag.finding.verdict) == ("kin_fine", None)
    assert "B (same spawn)" in flag.message and "smells fresh" in flag.message
    more = with_lives(photos(A="go", B="no-go", D="no-go"), plain, {}, looks=looks)
    assert told(more)["A"] == "check"
    assert told(with_lives(photos(A="no-go", B="no-go"), plain, {}, looks=looks))["A"] == "no-go"


def test_a_look_at_kin_settles_nothing_else_and_no_other_jar() -> None:
    plain = register({"A": "M", "B": "M", "M": ""})
    doubted = story(with_lives(photos(A="go", B="no-go"), plain, {}), "A").verdict
    looks = looks_at(doubted, day=TODAY)
    assert [look.about for look in looks] == ["B"]
    own = with_lives(photos(A="check", B="no-go"), plain, {}, looks={"A": looks})
    assert (told(own)["A"], story(own, "A").verdict.reasons) == ("check", ("Wet.",))
    others = with_lives(photos(A="go", B="no-go"), plain, {}, looks={"B": looks})
    assert told(others)["A"] == "check"


def test_many_bad_kin_are_counted_and_few_named() -> None:
    many = {"A": "M", "M": "", **{f"K{n}": "M" for n in range(7)}}
    outcomes = became(**{f"K{n}": "contaminated" for n in range(7)})
    (reason,) = story(with_lives(photos(A="go"), register(many), outcomes), "A").verdict.reasons
    assert reason.startswith("Of its kin, K0 (same spawn), K1 (same spawn) and 5 more turned bad.")


@pytest.mark.parametrize(
    ("word", "verdict"),
    [("contaminated", "check"), ("discarded", "check"), ("clean", "go"), ("harvested", "go")],
)
def test_what_was_found_in_a_jar_goes_before_what_its_photos_said(
    word: OutcomeWord, verdict: str
) -> None:
    """A jar thrown out unseen stays as bad as it looked; a clean one takes nobody along."""
    plain = register({"A": "M", "B": "M", "M": ""})
    result = with_lives(photos(A="go", B="no-go"), plain, became(B=word))
    assert told(result) == {"A": verdict}
    fine = with_lives(photos(A="go", B="wait"), plain, became(B=word))
    assert told(fine) == {"A": "check" if word == "contaminated" else "go"}


def test_doubt_does_not_spread_from_jar_to_jar() -> None:
    """A jar that is only looked at for its kin makes no kin of its own suspect."""
    line = register({"M": "", "A": "M", "B": "M", "N": "", "C": "N"})
    lines = {**line, "C": JarEntry("C", parent="A", started=TODAY + timedelta(days=9))}
    result = with_lives(photos(A="go", B="no-go", C="go"), Register(lines), {})
    assert told(result) == {"A": "check", "B": "no-go", "C": "go"}


def test_a_change_of_mind_ends_in_the_doubt() -> None:
    mind = Finding.of(
        "changed_mind", seen_on=TODAY, was="no-go", was_why="wet", now="go", now_why="fine"
    )
    one = photos(A="go", B="no-go")
    turned = replace(one.stories[0], flags=(Flag("A", TODAY, "changed_mind", mind),))
    plain = register({"A": "M", "B": "M", "M": ""})
    result = with_lives(replace(one, stories=(turned, one.stories[1])), plain, {})
    (changed, _) = story(result, "A").flags
    assert changed.message.endswith("Now it is check: of its kin, B (same spawn) turned bad.")


# --------------------------------------------------------------------------- finished jars
@pytest.mark.parametrize("word", ["clean", "contaminated", "harvested", "discarded"])
def test_a_jar_with_an_outcome_leaves_the_shelf_whatever_its_verdict(word: OutcomeWord) -> None:
    for verdict in SAYS:
        result = with_lives(photos(A=verdict, Z="go"), register(FAMILY), became(A=word))
        assert set(told(result)) == {"Z"}
        (done,) = result.finished
        assert (done.jar, done.ending.word, done.ending.day) == ("A", word, TODAY)
        assert done.story.verdict.findings == (SAYS[verdict],)
        assert result.verdict_of("A") == verdict


def test_a_jar_that_was_fed_from_is_used_up_and_says_for_what() -> None:
    fed = register({"M": "", "A": "M", "B": "M"}, started=TODAY)
    result = with_lives(photos(M="go", A="wait"), fed, {})
    assert told(result) == {"A": "wait"}
    assert result.finished[0].ending.tell() == f"Used up: its spawn went into A, B on {TODAY}."


def test_a_used_up_jar_that_must_go_stays_until_it_is_recorded() -> None:
    fed = register({"M": "", "A": "M"}, started=TODAY)
    result = with_lives(photos(M="no-go", A="go"), fed, {})
    assert (told(result), result.finished) == ({"M": "no-go", "A": "check"}, ())
    result = with_lives(photos(M="no-go", A="go"), fed, became(M="discarded"))
    assert told(result) == {"A": "check"}


def test_a_jar_that_is_only_planned_has_used_nothing_up() -> None:
    later = {"M": JarEntry("M"), "A": JarEntry("A", parent="M", started=TODAY + timedelta(days=2))}
    now = with_lives(photos(M="go"), Register(later), {}, today=TODAY + timedelta(days=1))
    then = with_lives(photos(M="go"), Register(later), {}, today=TODAY + timedelta(days=2))
    assert (set(told(now)), set(told(then))) == ({"M"}, set())


def test_outcomes_that_are_taken_back_leave_the_photos_verdicts_as_they_were() -> None:
    one = photos(A="go", B="go", Z="wait")
    plain = register({"A": "M", "B": "M", "M": "", "Z": ""})
    assert told(with_lives(one, plain, became(B="contaminated"))) == {"A": "check", "Z": "wait"}
    assert with_lives(one, plain, {}).stories == one.stories
