"""``jarvision.toml``: what is written can be read, what is wrong is told with its line."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.errors import ExitCode, SettingsError
from jarvision.records import HALF_VIEW_DEG
from jarvision.settings.groups import Settings
from jarvision.settings.retired import RETIRED
from jarvision.settings.table import ORDERED, SettingField, sections
from jarvision.settings.toml import (
    SETTINGS_NAME,
    changes,
    find_settings,
    parse_settings,
    to_toml,
    with_values,
)

FIELDS = [field for section in sections().values() for field in section.fields.values()]
ONE_DAY = "[verdict]\nsure_days = 1\n"


def refusal(text: str) -> SettingsError:
    with pytest.raises(SettingsError) as caught:
        parse_settings(text)
    assert caught.value.exit_code == ExitCode.BAD_USAGE
    assert caught.value.remedy
    return caught.value


# --------------------------------------------------------------------------- what is read
def test_what_is_written_is_read_back_as_it_was() -> None:
    assert parse_settings(to_toml(Settings())) == Settings()
    assert changes(Settings()) == ()
    assert to_toml(Settings(), changed_only=True) == ""


def test_every_setting_but_the_unset_ones_is_written_as_toml() -> None:
    """Read by the standard library alone: the file holds no dialect of ours."""
    document = tomllib.loads(to_toml(Settings()))
    written = {(section, name) for section, table in document.items() for name in table}
    assert written == {(f.section, f.name) for f in FIELDS if f.default is not None}


def test_every_default_is_allowed() -> None:
    assert [
        f.name for f in FIELDS if f.default is not None and not f.limits.allows(f.default)
    ] == []


@pytest.mark.parametrize("field", FIELDS, ids=lambda field: f"{field.section}.{field.name}")
def test_every_setting_can_be_reached_by_section_and_name(field: SettingField) -> None:
    old = field.default
    new = 50 if old is None else next(v for v in nearby(old, field) if field.limits.allows(v))
    settings = parse_settings(f"[{field.section}]\n{field.name} = {new!r}\n")
    (change,) = changes(settings)
    assert (change.field, change.value) == (field, new)
    assert parse_settings(to_toml(settings)) == settings
    assert changes(parse_settings(to_toml(settings, changed_only=True))) == (change,)


def nearby(value: float, field: SettingField) -> list[float]:
    """Other values, close enough that no pair of settings changes places."""
    return [value + 2, value - 2] if field.whole else [value * 1.05 or 0.01, value * 0.95]


def test_the_stages_of_a_photo_get_their_part() -> None:
    settings = parse_settings("[jar]\nglass_mm = 4\n[verdict]\ngroove_height_mm = 110\n")
    assert settings.photo.jar.glass_mm == 4.0
    assert settings.verdict.groove_height_mm == 110.0


def test_dotted_keys_and_a_byte_order_mark_are_fine(tmp_path: Path) -> None:
    (tmp_path / SETTINGS_NAME).write_text("﻿verdict.sure_days = 4 # sure", encoding="utf-8")
    assert find_settings(tmp_path).verdict.sure_days == 4


# --------------------------------------------------------------------------- where it is found
def test_without_a_file_the_defaults_hold(tmp_path: Path) -> None:
    assert find_settings(tmp_path) == Settings()


def test_a_chosen_file_goes_before_the_one_in_the_folder(tmp_path: Path) -> None:
    (tmp_path / SETTINGS_NAME).write_text("[verdict]\nsure_days = 3")
    (tmp_path / "strict.toml").write_text("[verdict]\nsure_days = 5")
    assert find_settings(tmp_path).verdict.sure_days == 3
    assert find_settings(tmp_path, chosen=tmp_path / "strict.toml").verdict.sure_days == 5


def test_a_chosen_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"none\.toml cannot be read"):
        find_settings(tmp_path, chosen=tmp_path / "none.toml")


# --------------------------------------------------------------------------- what is gone
@pytest.mark.parametrize("key", RETIRED, ids=".".join)
def test_a_file_with_the_default_of_a_setting_that_is_gone_is_still_read(
    key: tuple[str, str],
) -> None:
    section, name = key
    text = f"[{section}]\n{name} = {RETIRED[key].held!r}\n[verdict]\nsure_days = 3\n"
    (change,) = changes(parse_settings(text))
    assert change.field.name == "sure_days"
    assert name not in sections()[section].fields


@pytest.mark.parametrize("value", ["30", "true", "'60'"])
def test_another_angle_for_the_judged_wall_is_refused_with_the_reason(value: str) -> None:
    error = refusal(f"[tracking]\n\nhalf_view_deg = {value}\n")
    assert "line 3" in error.message
    assert "no longer be set: every photo is judged to 60 degrees" in error.message
    assert RETIRED["tracking", "half_view_deg"].held == HALF_VIEW_DEG


# --------------------------------------------------------------------------- what is refused
@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ("\n[verdict]\n# days\nsure_day = 3", 4, "nearest is 'sure_days'"),
        ("[verdicts]\nsure_days = 3", 1, "nearest is 'verdict'"),
        ("[growth]\nsure_days = 3", 2, "belongs in [verdict]"),
        ("sure_days = 3", 1, "outside its section"),
        ("verdict = 3", 1, "is a section"),
        ("[verdict]\nsure_days = 2.5", 2, "whole number"),
        ("[verdict]\nsure_days = true", 2, "not true"),
        ("[verdict]\nsure_days = '3'", 2, "not '3'"),
        ("[verdict]\nlate_factor = nan", 2, "not nan"),
        ("[verdict]\nlate_factor = inf", 2, "not inf"),
        (f"[verdict]\nlate_factor = 1{'0' * 400}", 2, "late_factor must be"),
        ("[tracking]\ntrend_days = 0", 2, "1 to 3650"),
        ("[jar]\nclose_px = 8", 2, "odd"),
        ("[jar]\nsmooth_px = 99999999", 2, "above 0 up to 100"),
        ("[jar]\n[jar.x]\ny = 1", 1, "no setting 'x'"),
        ("[jar]\n'radius_min_mm' = 80", 2, "above radius_max_mm"),
        ("[verdict]\nsure_days = \n", 2, "not TOML"),
    ],
)
def test_a_wrong_line_is_named_and_what_to_write_is_told(text: str, line: int, told: str) -> None:
    error = refusal(text)
    assert error.message.startswith(f"{SETTINGS_NAME}, line {line}")
    assert told in error.message


def test_a_doubtful_jar_cannot_be_talked_into_a_go() -> None:
    """One day is never enough, and no spot of half a square centimetre goes unseen."""
    refusal(ONE_DAY)
    refusal("[verdict]\noff_colour_check_cm2 = 0.6")
    refusal("[verdict]\nmin_seen_for_go_percent = 5")


@pytest.mark.parametrize(("section", "lower", "higher"), ORDERED)
def test_a_pair_in_the_wrong_order_is_refused(section: str, lower: str, higher: str) -> None:
    fields = sections()[section].fields
    low, high = fields[lower].default, fields[higher].default
    assert low is not None and high is not None and low <= high
    limit = fields[lower].limits.high
    too_low = min(high, limit or high) * 0.999 if not fields[higher].whole else 1
    text = f"[{section}]\n{higher} = {too_low / 2 if not fields[higher].whole else 1}\n"
    text += f"{lower} = {too_low if not fields[lower].whole else 2}\n"
    assert f"{lower} (" in refusal(text).message


@given(st.text())
def test_no_text_breaks_the_reader(text: str) -> None:
    try:
        assert isinstance(parse_settings(text), Settings)
    except SettingsError as error:
        assert error.message.startswith(SETTINGS_NAME)


def test_a_deeply_nested_file_is_refused_like_any_other() -> None:
    refusal(f"x = {'[' * 5000}")
    refusal(f"x = {'1' * 5000}")


def test_a_picture_is_no_settings_file(tmp_path: Path) -> None:
    (tmp_path / SETTINGS_NAME).write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(SettingsError, match="UTF-8"):
        find_settings(tmp_path)


def test_chosen_values_leave_all_others_alone() -> None:
    settings = with_values({"jar": {"glass_mm": 4.0}})
    assert [c.field.name for c in changes(settings)] == ["glass_mm"]
