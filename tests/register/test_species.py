from __future__ import annotations

import pytest

from jarvision.base.errors import UsageError
from jarvision.records import OFF_COLOUR_KINDS
from jarvision.register.species import DEFAULT_PROFILE, find_profile, is_known, load_profiles
from jarvision.register.species.profiles import MAY_BE_NORMAL, UNITS, parse_profile

# Spawn run in days and C, fruiting in C. Stamets 2000, Growing Gourmet and Medicinal Mushrooms,
# growth parameters, as quoted by secondary pages or from memory (bulk substrate; Fahrenheit
# limits rounded to whole C). The oyster and shiitake pages print the table without a source.
HANDBOOK = {
    "Pleurotus ostreatus": ((12, 21), (24, 24), (10, 21)),
    "Pleurotus eryngii": ((12, 16), (24, 24), (15, 21)),
    "Cyclocybe aegerita": ((20, 28), (21, 27), (13, 18)),
    "Hericium erinaceus": ((10, 14), (21, 24), (18, 24)),
    "Lentinula edodes": ((35, 70), (21, 27), (10, 21)),
    "Flammulina velutipes": ((14, 18), (21, 24), (10, 16)),
    "Stropharia rugosoannulata": ((25, 45), (21, 27), (16, 21)),
    "Ganoderma lucidum": ((10, 20), (21, 27), (21, 27)),
}

# Temperature of fastest growth, C, from abstracts of the named papers.
OPTIMA = {
    "Hericium erinaceus": 26,  # Grigansky, Solomko & Kirchhoff 1999, Int. J. Med. Mushr. 1(1):81-87
    "Stropharia rugosoannulata": 25,  # Bonenfant-Magne et al. 1997, C. R. Acad. Sci. III 320:917
    "Pholiota adiposa": 26,  # Mushroom Sci. Biotechnol. 2003 11(4):183-192
}


@pytest.mark.parametrize(("latin", "values"), HANDBOOK.items(), ids=HANDBOOK.keys())
def test_spawn_run_and_fruiting_agree_with_the_handbook(
    latin: str, values: tuple[tuple[int, int], ...]
) -> None:
    profile = find_profile(latin)
    days, run_c, fruiting_c = values
    assert profile.spawn_run_days == days
    assert profile.spawn_run_c[0] <= run_c[0] <= run_c[1] <= profile.spawn_run_c[1]
    assert profile.fruiting_c == fruiting_c


@pytest.mark.parametrize(("latin", "optimum_c"), OPTIMA.items(), ids=OPTIMA.keys())
def test_spawn_run_temperature_holds_the_published_optimum(latin: str, optimum_c: int) -> None:
    low, high = find_profile(latin).spawn_run_c
    assert low <= optimum_c <= high


def test_oyster_front_speed_holds_the_speeds_measured_in_grain_columns() -> None:
    # 56.9 and 52.4 mm in 20 days on sorghum and wheat (publisher's summary of "Substrate
    # Influence on Growth and Spawn Quality of Oyster Mushroom").
    low, high = find_profile("oyster").front_mm_per_day
    assert low <= 52.4 / 20 <= 56.9 / 20 <= high


def test_there_are_at_least_ten_species_each_with_a_source_for_every_value() -> None:
    profiles = load_profiles()
    assert len(profiles) >= 10
    for profile in profiles.values():
        assert profile.sources.keys() == UNITS.keys()
        assert all(len(text) > 5 for text in profile.sources.values())


def test_no_name_belongs_to_two_species() -> None:
    names = [n.casefold() for p in load_profiles().values() for n in (p.latin, *p.common)]
    assert len(names) == len(set(names))


def test_species_that_brown_are_not_taken_for_mouldy() -> None:
    for name in ("shiitake", "pioppino", "reishi", "enoki"):
        assert "stain" in find_profile(name).normal_kinds


def test_thin_species_are_ready_at_a_lower_coverage_than_oyster() -> None:
    for name in ("lion's mane", "wine cap"):
        assert find_profile(name).ready_percent < find_profile("oyster").ready_percent


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Oyster", "oyster"),
        ("  oyster MUSHROOM ", "oyster"),
        ("Pleurotus ostreatus", "oyster"),
        ("P. ostreatus", "oyster"),
        ("pleurotus ostreatus 'Blue'", "oyster"),
        ("oyster, strain 3", "oyster"),
        ("King Oyster", "king-oyster"),
        ("lion's mane", "lions-mane"),
        ("Lion’s Mane", "lions-mane"),
        ("lions-mane", "lions-mane"),
        ("Agrocybe aegerita", "pioppino"),
        ("wine_cap", "wine-cap"),
        ("Austernseitling", "oyster"),
        ("Kra\u0308uterseitling", "king-oyster"),
        ("Kraeuter-Seitling", "king-oyster"),
        ("SAMTFUSSRÜBLING", "enoki"),
        ("Igel-Stachelbart (Zucht 2)", "lions-mane"),
        ("Ganoderma lingzhi", "reishi"),
        ("oysters of the sea", "default"),
        ("", "default"),
    ],
)
def test_a_species_is_found_by_any_of_its_names_and_by_no_other(written: str, name: str) -> None:
    assert find_profile(written).name == name
    assert is_known(written) == (name != "default")


def test_the_default_is_never_less_cautious_than_a_known_species() -> None:
    for profile in load_profiles().values():
        assert DEFAULT_PROFILE.ready_percent >= profile.ready_percent
        assert DEFAULT_PROFILE.keeps_days <= max(profile.keeps_days, 7)
    assert DEFAULT_PROFILE.normal_kinds == ()


GOOD = "\n".join(
    [
        'latin = "Testus exemplaris"',
        'common = ["example"]',
        'spawn_run_days = { value = [10, 20], unit = "days", source = "test" }',
        'spawn_run_c = { value = [20, 24], unit = "C", source = "test" }',
        'fruiting_c = { value = [10, 18], unit = "C", source = "test" }',
        'look = { value = "white", source = "test" }',
        'normal_kinds = { value = ["stain"], source = "test" }',
        'ready_percent = { value = 95, unit = "percent", source = "test" }',
        'consolidation_days = { value = 3, unit = "days", source = "test" }',
        'keeps_days = { value = 9, unit = "days", source = "test" }',
        'pins_in_jar = { value = "often", source = "test" }',
        'front_mm_per_day = { value = [1, 4], unit = "mm/day", source = "test" }',
    ]
)


NEVER_NORMAL = sorted({*OFF_COLOUR_KINDS, "bare", "wet"} - MAY_BE_NORMAL)


def test_a_profile_written_by_hand_is_read() -> None:
    assert parse_profile("example", GOOD).spawn_run_days == (10.0, 20.0)


@pytest.mark.parametrize(
    ("old", "new"),
    [('["stain"]', f'["{kind}"]') for kind in NEVER_NORMAL]
    + [
        ("[10, 20]", "[20, 10]"),
        ('unit = "C"', 'unit = "F"'),
        ("value = 95", "value = 101"),
        ('"often"', '"daily"'),
        ('unit = "percent", source = "test"', 'unit = "percent"'),
        ("keeps_days", "keep_days"),
        ("value = 3", "value = 0"),
        ("latin = ", "latin "),
        ('latin = "Testus exemplaris"', ""),
    ],
)
def test_a_slip_in_a_profile_is_refused_by_name(old: str, new: str) -> None:
    assert old in GOOD
    with pytest.raises(UsageError, match="'example'"):
        parse_profile("example", GOOD.replace(old, new))
