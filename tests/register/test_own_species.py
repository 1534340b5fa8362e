"""The folder ``species`` beside the photos: profiles of the grower's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from jarvision.base.errors import ExitCode, SettingsError
from jarvision.register.species import DEFAULT_PROFILE, find_profile, load_profiles, load_species
from jarvision.register.species.own import OWN_SOURCE

SETTINGS_PAGE = Path(__file__).parents[2] / "docs" / "settings.md"


def own(folder: Path, name: str, text: str) -> Path:
    (folder / "species").mkdir(exist_ok=True)
    (folder / "species" / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def refusal(folder: Path) -> SettingsError:
    with pytest.raises(SettingsError) as caught:
        load_species(folder)
    assert caught.value.exit_code == ExitCode.BAD_USAGE
    assert caught.value.remedy
    return caught.value


def test_without_a_folder_the_package_knows_its_species(tmp_path: Path) -> None:
    assert load_species(tmp_path).profiles == load_profiles()


def test_what_a_profile_leaves_out_comes_from_the_species_it_is_like(tmp_path: Path) -> None:
    book = load_species(own(tmp_path, "blue", 'like = "Oyster"\nready_percent = 92'))
    blue, oyster = book.find("Blue, jar 3"), find_profile("oyster")
    assert (blue.name, blue.ready_percent) == ("blue", 92.0)
    assert blue.spawn_run_days == oyster.spawn_run_days
    assert blue.sources["ready_percent"] == OWN_SOURCE
    assert blue.sources["look"] == oyster.sources["look"]
    assert book.find("oyster") == oyster


def test_without_like_the_rest_is_cautious(tmp_path: Path) -> None:
    book = load_species(own(tmp_path, "almond", 'common = ["almond mushroom"]\nkeeps_days = 9'))
    almond = book.find("almond mushroom")
    assert (almond.keeps_days, almond.normal_kinds) == (9, DEFAULT_PROFILE.normal_kinds)
    assert almond.ready_percent == DEFAULT_PROFILE.ready_percent


def test_a_profile_named_like_one_of_the_package_takes_its_place(tmp_path: Path) -> None:
    book = load_species(own(tmp_path, "oyster", "keeps_days = 6"))
    for name in ("oyster", "Pleurotus ostreatus", "grey oyster"):
        assert book.find(name).keeps_days == 6
    assert find_profile("oyster").keeps_days != 6


def test_an_empty_name_does_not_make_a_profile_that_of_every_jar(tmp_path: Path) -> None:
    assert load_species(own(tmp_path, "x", 'common = [""]')).find("") == DEFAULT_PROFILE


def test_a_value_may_be_written_as_in_the_package(tmp_path: Path) -> None:
    text = 'spawn_run_days = { value = [9, 12], unit = "days", source = "my log" }'
    profile = load_species(own(tmp_path, "fast", text)).find("fast")
    assert profile.spawn_run_days == (9.0, 12.0)
    assert profile.sources["spawn_run_days"] == "my log"


def test_the_example_shown_to_growers_is_read(tmp_path: Path) -> None:
    (text,) = re.findall(r"```toml\n(like.*?)```", SETTINGS_PAGE.read_text("utf-8"), re.DOTALL)
    assert load_species(own(tmp_path, "blue", text)).find("strain 12").ready_percent == 92.0


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ('\nlike = "oister"', 2, "nearest is 'oyster'"),
        ("ready_percnt = 92", 1, "nearest is 'ready_percent'"),
        ("ready_percent = 45", 1, "from 50"),
        ("ready_percent = '92'", 1, "from 50"),
        ("keeps_days = 3\nspawn_run_days = [12]", 2, "[low, high]"),
        ("spawn_run_days = [21, 12]", 1, "[low, high]"),
        ('normal_kinds = ["green"]', 1, "may call only"),
        ("keeps_days = 2.5", 1, "whole days"),
        ('keeps_days = { value = 1, unit = "weeks" }', 1, "not in 'weeks'"),
        ("common = 'blue'", 1, "list of names"),
        ("pins_in_jar = true", 1, "one of"),
    ],
)
def test_a_wrong_profile_is_told_with_file_and_line(
    text: str, line: int, told: str, tmp_path: Path
) -> None:
    error = refusal(own(tmp_path, "blue", text))
    assert error.message.startswith(f"species/blue.toml, line {line}: ")
    assert told in error.message


def test_what_is_not_toml_is_told(tmp_path: Path) -> None:
    assert "species/blue.toml is not TOML" in refusal(own(tmp_path, "blue", "like = ")).message


def test_two_profiles_of_one_name_are_told(tmp_path: Path) -> None:
    own(tmp_path, "blue", 'common = ["strain 12"]')
    own(tmp_path, "old", 'common = ["Strain 12"]')
    assert "both mean 'strain 12'" in refusal(tmp_path).message
