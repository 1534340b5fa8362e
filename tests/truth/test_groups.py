"""Contamination and yield of groups of jars, against numbers worked out by hand."""

from __future__ import annotations

from datetime import date

import pytest

from jarvision.app.cli.batch_words import tell_groups
from jarvision.records import JarEntry
from jarvision.register.outcomes import JarOutcome, OutcomeWord
from jarvision.truth.groups import group_all, group_by, mean

MARCH, APRIL = date(2026, 3, 1), date(2026, 4, 1)


def jar(name: str, word: OutcomeWord, *grams: float, dry: float | None = None) -> JarOutcome:
    flushes = tuple((APRIL, weight) for weight in grams)
    return JarOutcome(name, word, APRIL, flushes, dry, None, None)


REGISTER = {
    "A": JarEntry("A", species="Oyster", substrate="rye", started=MARCH, parent="M"),
    "B": JarEntry("B", species="oyster", substrate="Rye", started=MARCH, parent="M"),
    "C": JarEntry("C", species="oyster", substrate="rye", started=APRIL, parent="N"),
    "D": JarEntry("D", species="reishi", substrate="", started=None),
    "E": JarEntry("E", "fruiting", "oyster", "rye", MARCH, "A"),
}
JARS = (
    jar("A", "clean"),
    jar("B", "contaminated"),
    jar("C", "contaminated"),
    jar("D", "discarded"),
    jar("E", "harvested", 60.0, 30.0, dry=100.0),
    jar("stranger", "harvested", 50.0),
)


def test_jars_are_parted_by_what_the_register_says_of_them() -> None:
    groups = group_by(JARS, REGISTER)
    names = {grouping: {g.name: g.jars for g in own} for grouping, own in groups.items()}
    assert names == {
        "batch": {
            "2026-03-01, fruiting oyster rye": ("E",),
            "2026-03-01, spawn oyster rye": ("A", "B"),
            "2026-04-01, spawn oyster rye": ("C",),
        },
        "spawn source": {"A": ("E",), "M": ("A", "B"), "N": ("C",)},
        "substrate": {"rye": ("A", "B", "C", "E")},
        "species": {"oyster": ("A", "B", "C", "E"), "reishi": ("D",)},
    }


def test_shares_count_those_that_were_looked_into() -> None:
    whole = group_all(JARS)
    assert (whole.contaminated.count, whole.contaminated.of, whole.discarded) == (2, 5, 1)
    reishi = group_by(JARS, REGISTER)["species"][1]
    assert (reishi.contaminated.of, reishi.contaminated.percent, reishi.discarded) == (0, None, 1)


def test_the_interval_of_a_share_is_that_of_wilson() -> None:
    """10 of 20: the ends solve (p - q)^2 = z^2 q (1 - q) / n, worked out by its closed form."""
    many = [jar(f"J{n}", "contaminated" if n < 10 else "clean") for n in range(20)]
    found = group_all(many).contaminated
    z2 = 1.959964**2
    half = (z2 / 20 * (0.25 + z2 / 80)) ** 0.5 / (1 + z2 / 20)
    assert found.low_percent == pytest.approx(100 * (0.5 - half), abs=0.01)
    assert found.high_percent == pytest.approx(100 * (0.5 + half), abs=0.01)


def test_a_mean_has_the_interval_of_student_and_no_weight_below_nought() -> None:
    """84, 90, 96: standard deviation 6, t of two degrees of freedom 4.303."""
    found = mean([84.0, 90.0, 96.0])
    assert found is not None
    assert (found.of, found.value) == (3, 90.0)
    assert found.low == pytest.approx(90 - 4.3027 * 6 / 3**0.5, abs=0.01)
    assert found.high == pytest.approx(90 + 4.3027 * 6 / 3**0.5, abs=0.01)
    wide = mean([1.0, 99.0])
    assert wide is not None
    assert wide.low == 0.0
    one = mean([5.0])
    assert one is not None
    assert (one.low, mean([])) == (None, None)


def test_yield_is_told_a_jar_with_its_interval() -> None:
    twins = (jar("A", "harvested", 80.0, dry=100.0), jar("B", "harvested", 100.0, dry=100.0))
    (line,) = (text for text in tell_groups(group_all(twins), {}) if text)
    assert "90 g a jar (95 % interval 0 to 217 g, 2 jars)" in line
    assert "biological efficiency 90 % (95 % interval 0 to 217 %, 2 jars)" in line


def test_few_jars_are_told_in_plain_words() -> None:
    lines = list(tell_groups(group_all(JARS), group_by(JARS, REGISTER)))
    assert "  M: 1 of 2 jars contaminated, too few to say more (anything from 9 to 91 %)." in lines
    assert any("reishi: 0 of 0 jars contaminated; 1 thrown out without a look." in x for x in lines)
    assert any("by chance alone" in line for line in lines)
    assert "By substrate:" not in lines  # rye is the only one
    whole = lines[1]
    assert whole.startswith("all jars: 2 of 5 jars contaminated, 40 % (95 % interval 12 to 77 %);")


def test_nothing_is_told_without_an_outcome() -> None:
    assert list(tell_groups(group_all(()), group_by((), REGISTER))) == []
