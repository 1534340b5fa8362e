"""What does not fit together: each doubt is raised by what asks for it, and by nothing near it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest
from shelves import day, kjma, reading

from jarvision.history.build import build_histories
from jarvision.records import JarEntry, Reading
from jarvision.register.jars import Register
from jarvision.register.species.profiles import package_book
from jarvision.run.doubts import doubt_photos, doubt_start, tell_doubts, tell_unnamed
from jarvision.settings.groups import Settings
from jarvision.verdict.assess import tell_stories

NONE = Register()


def doubts(readings: list[Reading], register: Register = NONE) -> list[str]:
    settings = Settings()
    histories = build_histories(readings, register, settings=settings)
    today = max(r.taken_at.date() for r in readings)
    stories = tell_stories(
        histories, register, today=today, settings=settings, species=package_book()
    )
    by_jar: dict[str, list[Reading]] = {}
    for shown in readings:
        by_jar.setdefault(shown.jar, []).append(shown)
    photos = {jar: doubt_photos(own) for jar, own in by_jar.items()}
    starts = [doubt_start(story, settings.growth) for story in stories]
    return tell_doubts(photos, starts, register)


def named(photo: str, taken: datetime, percent: float = 50.0, jar: str = "K07") -> Reading:
    return reading(1, percent, jar=jar, photo=photo, taken_at=taken)


MORNING = datetime(2026, 3, 1, 9)


def test_a_shelf_in_order_raises_no_doubt() -> None:
    shelf = [reading(n, p) for n, p in enumerate((5.0, 12.0, 30.0, 55.0, 70.0))]
    register = Register({"J1": JarEntry("J1", species="oyster", started=day(-4))})
    assert doubts(shelf) == []
    assert doubts(shelf, register) == []


def test_kind_and_species_are_asked_for_in_one_line_with_the_command_for_all_jars() -> None:
    shelf = [reading(n, 20.0, jar=f"K{k}") for k in range(5) for n in range(3)]
    shelf += [reading(n, 20.0, jar="my jar") for n in range(3)]
    histories = build_histories(shelf, NONE)
    register = Register({h.entry.jar: h.entry for h in histories})

    def asked(known: Register, *, there: bool = True) -> list[str]:
        told = [replace(h, entry=known.entry(h.entry.jar)) for h in histories]
        stories = tell_stories(
            told, known, today=day(3), settings=Settings(), species=package_book()
        )
        return tell_unnamed(stories, with_register=there)

    (line,) = asked(NONE)
    assert line.startswith("kind and species are not known of K0, K1, K2 and 3 more:")
    assert line.endswith("jarvision jars add K0..K4 'my jar' --kind spawn --species oyster")
    (line,) = asked(NONE, there=False)
    assert "once: jarvision jars new; jarvision jars add K0..K4 'my jar' --kind spawn" in line
    named = {jar: JarEntry(jar, species="oyster") for jar in register}
    assert asked(Register(named)) == []
    (line,) = asked(Register({**named, "K3": JarEntry("K3")}))
    assert line.startswith("the species is not known of K3:")
    assert line.endswith("jarvision jars set K3 --species oyster")
    both = {jar: e for jar, e in {**named, "K3": JarEntry("K3")}.items() if jar != "K4"}
    assert len(asked(Register(both))) == 2


def test_a_wrong_mark_of_the_view_is_told_once_for_all_photos() -> None:
    odd = [
        named("K07_2026-03-01-b.jpg", MORNING),
        named("K07_2026-03-02-b.jpg", datetime(2026, 3, 2)),
    ]
    (told,) = doubts(odd)
    assert told.startswith("K07_2026-03-01-b.jpg and 1 photo more: '-b' at the end")
    assert "_a, _b, _c or _d" in told


@pytest.mark.parametrize(("taken", "told"), [(1, 0), (2, 0), (3, 1), (9, 1)])
def test_a_name_that_says_another_day_than_the_photo_is_told(taken: int, told: int) -> None:
    found = doubts([named("K07_2026-03-01.jpg", datetime(2026, 3, taken, 0, 20))])
    assert len(found) == told
    assert all(f"2026-03-0{taken}, which counts" in text for text in found)


def test_only_the_day_in_exif_can_differ_from_the_name() -> None:
    copied = replace(named("K07_2026-03-01.jpg", datetime(2026, 4, 1)), time_source="file")
    assert doubts([copied]) == []


@pytest.mark.parametrize(("second", "told"), [(52.0, 0), (58.0, 0), (62.0, 1), (100.0, 1)])
def test_two_photos_of_one_side_that_differ_are_told(second: float, told: int) -> None:
    pair = [
        named("K07_2026-03-01.jpg", MORNING, 50.0),
        named("K07_2026-03-01_2.jpg", MORNING, second),
    ]
    assert len(doubts(pair)) == told


def test_two_sides_may_differ_and_a_wide_interval_differs_from_nothing() -> None:
    one, two = named("K07_1.jpg", MORNING, 50.0), named("K07_2.jpg", MORNING, 100.0)
    assert doubts([one, replace(two, view="b")]) == []
    assert doubts([one, replace(two, taken_at=datetime(2026, 3, 2))]) == []
    unsure = reading(0, 100.0, jar="K07", photo="K07_3.jpg", taken_at=MORNING, half_width=60.0)
    assert doubts([one, unsure]) == []


@pytest.mark.parametrize(("radius_mm", "told"), [(40.0, 0), (44.0, 0), (46.0, 1), (34.0, 1)])
def test_a_photo_of_another_glass_is_told(radius_mm: float, told: int) -> None:
    shelf = [reading(n, 40.0 + n, radius_mm=r) for n, r in enumerate((40.0, 39.0, 41.0, 40.0))]
    found = doubts([*shelf, reading(4, 44.0, radius_mm=radius_mm)])
    assert len(found) == told
    assert all(f"a glass {2 * radius_mm:.0f} mm wide" in text and "80 mm" in text for text in found)


def test_two_photos_do_not_tell_which_of_them_shows_another_glass() -> None:
    assert doubts([reading(n, 50.0, radius_mm=r) for n, r in enumerate((40.0, 50.0))]) == []


def test_jars_that_the_register_lacks_are_told_with_the_name_that_was_meant() -> None:
    shelf = [reading(1, 50.0, jar=jar) for jar in ("SL01", "sl 02", "SL03", "Kitchen")]
    register = Register({jar: JarEntry(jar) for jar in ("SL01", "SL02", "SL00")})
    assert doubts(shelf, register) == [
        "sl 02 has photos but is not in the register. Did you mean SL02?",
        "with photos but not in the register: Kitchen, SL03",
    ]
    assert doubts(shelf) == []


def test_jars_that_differ_in_capitals_only_are_told() -> None:
    (told,) = doubts([reading(1, 50.0, jar=jar) for jar in ("K7", "k7", "K8")])
    assert told == "photos name K7 and k7, which count as 2 jars"


def test_a_start_that_no_curve_can_follow_is_told() -> None:
    percent = [25.5, 37.6, 50.1, 60.7, 69.0, 77.0, 85.0, 90.0]
    shelf = [reading(n, p) for n, p in enumerate(percent)]

    def told(started: date) -> list[str]:
        entry = JarEntry("J1", species="oyster", started=started)
        return [text for text in doubts(shelf, Register({"J1": entry})) if "started" in text]

    assert told(day(-5)) == []
    (text,) = told(day(-90))
    assert text.startswith(f"J1: a curve from its start on {day(-90)} lies ")


@pytest.mark.parametrize(
    ("age_days", "bare", "last", "told"),
    [(9, 0.0, 80.0, 0), (10, 0.0, 80.0, 1), (10, 8.1, 80.0, 0), (10, 0.0, 51.0, 0)],
    ids=["within its lag", "longer", "begun to grow", "not grown"],
)
def test_a_jar_that_was_bare_when_it_should_have_begun_has_a_wrong_start(
    age_days: int, bare: float, last: float, told: int
) -> None:
    percent = [0.0, bare, 25.0, 45.0, last]
    shelf = [reading(2 * n, p) for n, p in enumerate(percent)]
    register = Register({"J1": JarEntry("J1", species="oyster", started=day(2 - age_days))})
    found = [text for text in doubts(shelf, register) if "still bare" in text]
    assert len(found) == told
    start = f"J1 was still bare on {day(2)}, 10 days after its start on {day(-8)}"
    assert all(text.startswith(f"{start}, and half grown 6 days later") for text in found)
    assert all("shows growth by day 10 and takes up to 21 days in all" in text for text in found)


def test_a_jar_that_is_slow_all_along_is_no_wrong_start() -> None:
    for days, told in ((1, 1), (5, 0)):
        percent = [0.0, 0.0, 20.0, 40.0, 55.0, 75.0]
        shelf = [reading(days * n, p) for n, p in enumerate(percent)]
        register = Register({"J1": JarEntry("J1", species="oyster", started=day(days - 12))})
        assert sum("still bare" in text for text in doubts(shelf, register)) == told


def test_a_shaken_jar_is_no_wrong_start() -> None:
    grown = [float(p) for p in kjma(np.arange(4.0, 10.0))]
    shelf = [reading(n, p) for n, p in enumerate([*grown, 20.0, 35.0, 55.0, 75.0, 90.0])]
    register = Register({"J1": JarEntry("J1", species="oyster", started=day(-4))})
    assert [text for text in doubts(shelf, register) if "started" in text] == []


def test_a_jar_that_stands_still_is_no_wrong_start() -> None:
    percent = [10.0, 25.0, 45.0, 62.0, 63.0, 62.0, 63.0, 62.0, 63.0]
    shelf = [reading(n, p) for n, p in enumerate(percent)]
    register = Register({"J1": JarEntry("J1", species="oyster", started=day(-4))})
    assert [text for text in doubts(shelf, register) if "started" in text] == []
