"""What a person found fine is no doubt any more, until it grows; what ends a jar stays."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from judging import healthy, with_patches
from shelves import day, oyster, patch, refused

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import Reading, Verdict
from jarvision.records.flags import FINDINGS
from jarvision.records.settling import SETTLED, about, what_settles
from jarvision.register.looks import SeenFine
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.verdict.decide import decide
from jarvision.verdict.settled import looks_at

VERDICT = Path(__file__).parents[2] / "jarvision" / "verdict"
GROWTH = VERDICT.parent / "growth"


def judged(
    readings: Sequence[Reading], looks: Sequence[SeenFine] = (), *, today: int | None = None
) -> tuple[Verdict, dict[str, str]]:
    history = build_history(readings, oyster())
    now = history.days[-1].day if today is None else day(today)
    profile = find_profile("oyster")
    growth = fit_growth(history, profile, today=now)
    verdict, flags = decide(history, growth, profile, today=now, looks=tuple(looks))
    return verdict, {flag.flag: flag.message for flag in flags}


def found_fine(readings: Sequence[Reading], *, on: int | None = None) -> tuple[SeenFine, ...]:
    verdict, _ = judged(readings)
    assert verdict.verdict == "check"
    last = max(r.taken_at.date() for r in readings)
    return looks_at(verdict, day=last if on is None else day(on), note="smells fresh")


def spotted(area_cm2: float = 0.2) -> list[Reading]:
    readings = healthy(17).readings()
    readings[12] = replace(readings[12], patches=(patch("green", area_cm2, 30, 40),))
    return readings


def test_a_doubt_that_was_found_fine_is_settled_and_told() -> None:
    looks = found_fine(spotted())
    assert [(look.finding, look.note) for look in looks] == [("perhaps_mould", "smells fresh")]
    verdict, flags = judged(spotted(), looks)
    assert verdict.verdict == "go"
    assert "perhaps green growth" in flags["found_fine"]
    assert "smells fresh" in flags["found_fine"]


def test_a_spot_that_is_seen_again_is_a_doubt_again_or_mould() -> None:
    looks = found_fine(spotted())
    again = spotted()
    again[16] = replace(again[16], patches=(patch("green", 0.2, 30, 40),))
    assert judged(again, looks)[0].verdict == "check"
    again[16] = replace(again[16], patches=(patch("green", 2.5, 30, 40),))
    assert judged(again, looks)[0].verdict == "no-go"


def test_another_spot_is_not_settled_by_the_look_at_one() -> None:
    looks = found_fine(spotted())
    other = healthy(17).readings()
    other[14] = replace(other[14], patches=(patch("green", 0.2, 30, 40),))
    assert judged(other, looks)[0].verdict == "check"


def test_mould_is_settled_by_no_look() -> None:
    mouldy = with_patches(healthy(17), [patch("green", 1.0, 10, 40)], since=14)
    verdict, _ = judged(mouldy)
    assert verdict.verdict == "no-go"
    assert looks_at(verdict, day=day(16)) == ()
    forged = SeenFine("J01", day(16), "mould", "", 99.0)
    assert judged(mouldy, [forged])[0].verdict == "no-go"


@pytest.mark.parametrize(("area_cm2", "verdict"), [(1.2, "wait"), (1.4, "check"), (6.5, "no-go")])
def test_a_wet_area_is_settled_until_it_has_grown(area_cm2: float, verdict: str) -> None:
    looks = found_fine(with_patches(healthy(9), [patch("wet", 1.0)], since=8))
    grown = healthy(10, patches={8: [patch("wet", 1.0)], 9: [patch("wet", area_cm2)]}).readings()
    assert judged(grown, looks)[0].verdict == verdict


def test_what_time_makes_worse_is_asked_for_again() -> None:
    overdue = healthy(27).readings()
    looks = found_fine(overdue)
    assert judged(overdue, looks)[0].verdict == "go"
    holds = Settings().verdict.look_holds_days
    later = healthy(27 + holds + 1).readings()
    assert judged(later[:-1], looks)[0].verdict == "go"
    assert judged(later, looks)[0].verdict == "check"


def test_what_better_photos_settle_is_settled_by_no_look() -> None:
    readings = [*healthy(17).readings(), refused(17)]
    verdict, _ = judged(readings, today=17)
    assert [f.word for f in verdict.findings] == ["newer_refused"]
    assert looks_at(verdict, day=day(17)) == ()
    forged = SeenFine("J01", day(17), "newer_refused")
    assert judged(readings, [forged], today=17)[0].verdict == "check"


def test_a_look_settles_its_own_finding_and_leaves_the_others() -> None:
    both = with_patches(healthy(9), [patch("wet", 1.0), patch("green", 0.2, 40, 70)], since=8)
    verdict, _ = judged(both)
    assert {f.word for f in verdict.findings} == {"wet", "perhaps_mould"}
    wet = [look for look in looks_at(verdict, day=day(8)) if look.finding == "wet"]
    after, flags = judged(both, wet)
    assert [f.word for f in after.findings] == ["perhaps_mould"]
    assert "wet" in flags["found_fine"]


# --------------------------------------------------------------------------- every check
def checks() -> set[str]:
    """Words of all findings that the code may make a check of."""
    found = set()
    for module in (*VERDICT.glob("*.py"), *GROWTH.glob("*.py")):
        for call in ast.walk(ast.parse(module.read_text("utf-8"))):
            if isinstance(call, ast.Call) and getattr(call.func, "attr", "") == "of":
                words = [a.value for a in ast.walk(call.args[0]) if isinstance(a, ast.Constant)]
                asked = ast.unparse(call.args[1]) if len(call.args) > 1 else ""
                growing = module.parent == GROWTH
                if growing or asked not in ("", "'wait'", "'go'", "'no-go'"):
                    found |= set(map(str, words))
    return found


def test_every_finding_that_asks_for_a_look_says_what_settles_it() -> None:
    words = checks() & set(FINDINGS)
    assert {"overdue", "stall", "perhaps_mould", "dated_ahead"} <= words
    assert words <= set(SETTLED) | {"mould"} | {w for w in words if w.startswith(("spawn", "fru"))}
    assert set(SETTLED) <= set(FINDINGS)


def test_what_settles_a_finding_is_told_with_the_command_where_a_look_does() -> None:
    verdict, _ = judged(spotted())
    told = what_settles(verdict.findings[0], "J01")
    assert told.startswith("Settled by more photos of the same side")
    assert "jarvision jars seen J01 --fine" in told
    assert about(verdict.findings[0]) == f"green-1 {day(12)}"
    photo, _ = judged([*healthy(17).readings(), refused(17)], today=17)
    assert what_settles(photo.findings[0], "J01") == "Settled by another photo of today."
