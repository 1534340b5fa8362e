"""Yields of a grower's own jars: by flush, beside their like, and what they prove."""

from __future__ import annotations

import math
from datetime import date

import pytest
from scipy.stats import t
from tops import a_fruiting_run, day, fruiting_jar

from jarvision.app.cli.yield_words import tell_among_like, tell_flushes, tell_together
from jarvision.records import JarEntry
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome, Outcome, taken_together
from jarvision.register.species import SpeciesBook
from jarvision.register.species.profiles import load_profiles
from jarvision.settings.groups import Settings
from jarvision.truth.yields import (
    Together,
    _together,
    among_its_like,
    flushes_of,
    go_together,
    mean_by_flush,
)
from jarvision.verdict.assess import tell_stories


def gave(
    jar: str, *grams: float, days: tuple[int, ...] = (1, 12), dry: float = 100.0
) -> JarOutcome:
    lines = [
        Outcome(jar, "harvested", date(2026, 3, day), weight, dry)
        for day, weight in zip(days, grams, strict=False)
    ]
    return taken_together(lines)[jar]


def test_pickings_of_a_few_days_are_one_flush() -> None:
    jar = gave("A", 40.0, 30.0, 20.0, 25.0, days=(1, 3, 6, 16))
    assert [(f.number, f.grams) for f in flushes_of(jar)] == [(1, 90.0), (2, 25.0)]
    assert flushes_of(jar)[0].first == date(2026, 3, 1)
    assert flushes_of(jar)[0].last == date(2026, 3, 6)


def test_flushes_are_averaged_over_the_jars_that_gave_one() -> None:
    means = mean_by_flush([gave("A", 90.0, 40.0), gave("B", 110.0)])
    assert {number: (m.of, m.value) for number, m in means.items()} == {1: (2, 100.0), 2: (1, 40.0)}
    assert list(tell_flushes(means))[-1] == "Flush 2: 40 g (1 jar)."


def test_a_jar_is_held_against_the_next_one_that_its_like_let_expect() -> None:
    """The interval of one more draw: mean and t quantile times s times sqrt(1 + 1/n)."""
    jars = [gave(name, grams) for name, grams in zip("ABCDE", (80, 90, 100, 110, 20), strict=True)]
    register = {name: JarEntry(name, "fruiting", "oyster", "straw") for name in "ABCDE"}
    odd = next(jar for jar in among_its_like(jars, register) if jar.jar == "E")
    half = t.ppf(0.975, 3) * math.sqrt(500 / 3) * math.sqrt(1.25)
    assert odd.others_percent == pytest.approx(95.0)
    assert odd.low_percent == pytest.approx(95.0 - half)
    assert "less than usual" in list(tell_among_like([odd]))[-1]


def test_jars_of_another_species_or_substrate_are_not_its_like() -> None:
    jars = [gave(name, 80.0) for name in "ABC"]
    register = {
        "A": JarEntry("A", "fruiting", "oyster", "straw"),
        "B": JarEntry("B", "fruiting", "oyster", "sawdust"),
        "C": JarEntry("C", "fruiting", "shiitake", "straw"),
    }
    assert [jar.others for jar in among_its_like(jars, register)] == [0, 0, 0]


def test_a_correlation_has_the_interval_of_bonett_and_wright() -> None:
    """Ranks 1 to 10 against 2, 1, 4, 3, ...: Spearman's rho is 1 - 6 * 10 / (10 * 99)."""
    pairs = [(float(x), float(x + 1 if x % 2 else x - 1)) for x in range(1, 11)]
    found = _together("x", pairs)
    rho = 1 - 60 / 990
    half = 1.959964 * math.sqrt((1 + rho**2 / 2) / 7)
    assert found.rho == pytest.approx(rho)
    assert found.low == pytest.approx(math.tanh(math.atanh(rho) - half), abs=1e-6)
    assert found.proven


def test_few_or_equal_jars_prove_nothing_and_the_words_say_so() -> None:
    assert _together("x", [(1.0, 2.0)] * 20).rho is None
    assert _together("x", [(1.0, 2.0), (2.0, 3.0)]).rho is None
    loose = _together("x", [(1, 3), (2, 1), (3, 5), (4, 2), (5, 4)])
    assert not loose.proven
    assert "prove nothing" in list(tell_together([loose]))[-1]
    assert (
        "no proof that one makes the other"
        in list(tell_together([Together("x", 9, 0.9, 0.5, 0.98)]))[-1]
    )


def test_yields_are_held_against_what_the_jars_showed() -> None:
    history = fruiting_jar(a_fruiting_run(), diary={8: "fruiting"})
    (story,) = tell_stories(
        [history],
        Register({"F01": history.entry}),
        today=day(18),
        settings=Settings(),
        species=SpeciesBook(load_profiles()),
    )
    told = go_together([story], {"F01": gave("F01", 100.0)})
    assert {t.what: t.jars for t in told} == {
        "surface covered before fruiting": 1,
        "wall covered before pins": 0,
        "days of rest before fruiting": 1,
        "share of days moist enough": 1,
    }
