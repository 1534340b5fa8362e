"""``jarvision settings``, and ``--settings`` of the commands that read photos."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from fake_shelf import fake_reading
from scoring import fake_reader, score_folder
from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.base.errors import ExitCode, SettingsError
from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.report.tables import READINGS
from jarvision.run.jobs import Job
from jarvision.settings.groups import Settings
from jarvision.settings.toml import parse_settings


def run(*args: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(main.app, [*map(str, args)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Photos whose reading is faked: each says which glass its settings were for."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for day in (1, 2):
        (folder / f"J1_2026-03-0{day}.jpg").write_bytes(b"x")

    def read(job: Job) -> Reading:
        day = read_name(job.name).day
        assert day is not None
        return fake_reading("J1", day, 10.0 * job.settings.jar.glass_mm)

    fake_reader(monkeypatch, read)
    return folder


def test_all_defaults_come_out_as_a_settings_file() -> None:
    code, text, talk = run("settings")
    assert code == ExitCode.DONE
    assert parse_settings(text) == Settings()
    assert "jarvision.toml" in talk
    assert max(map(len, text.splitlines())) <= 100


def test_only_what_differs_is_shown_on_request(tmp_path: Path) -> None:
    (tmp_path / "jarvision.toml").write_text("[verdict]\nsure_days = 3\nlate_factor = 1.5\n")
    _, text, _ = run("settings", tmp_path, "--changed")
    assert tomllib.loads(text) == {"verdict": {"sure_days": 3}}
    _, text, talk = run("settings", "--changed")
    assert (text, talk.strip()) == ("", "Every setting has its default.")
    assert run("settings", "--changed", "--quiet")[1:] == ("", "")


def test_json_holds_unit_range_and_reason(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("[jar]\nglass_mm = 4\n")
    document = json.loads(run("settings", "--settings", file, "--changed", "--json")[1])
    (setting,) = document["settings"]
    assert (setting["value"], setting["default"], setting["unit"]) == (4.0, 3.0, "mm")
    assert setting["allowed"] and setting["reason"]
    assert document["settings_digest"] == parse_settings(file.read_text()).digest()


def test_the_profiles_in_the_folder_are_checked_and_named(tmp_path: Path) -> None:
    (tmp_path / "species").mkdir()
    (tmp_path / "species" / "blue.toml").write_text('like = "oyster"')
    assert "blue" in run("settings", tmp_path, "--changed")[2]
    (tmp_path / "species" / "blue.toml").write_text('like = "stone"')
    with pytest.raises(SettingsError, match=r"species/blue\.toml, line 1"):
        run("settings", tmp_path)


def test_settings_reach_the_workers_and_go_with_the_results(shelf: Path, tmp_path: Path) -> None:
    (shelf / "jarvision.toml").write_text("[jar]\nglass_mm = 4\n")
    out = tmp_path / "out"
    code, text, talk = run("score", shelf, "--out", out, "--json", "--jobs", 1)
    document = json.loads(text)
    assert code == ExitCode.DONE
    assert document["jars"][0]["coverage_percent"] == 40.0
    assert document["settings_digest"] == find_digest(glass_mm=4)
    assert document["settings_digest"] != Settings().digest()
    assert "jar.glass_mm = 4.0 (default 3.0)" in talk
    row = (out / "readings.csv").read_text().splitlines()[1].split(",")
    assert dict(zip(READINGS, row, strict=True))["settings"] == document["settings_digest"]


def test_a_chosen_settings_file_goes_before_the_folders_own(shelf: Path, tmp_path: Path) -> None:
    (shelf / "jarvision.toml").write_text("[jar]\nglass_mm = 4\n")
    (tmp_path / "mine.toml").write_text("[jar]\nglass_mm = 5\n")
    args = ("score", shelf, "--out", tmp_path / "out", "--json", "--jobs", 1)
    text = run(*args, "--settings", tmp_path / "mine.toml")[1]
    assert json.loads(text)["jars"][0]["coverage_percent"] == 50.0


def test_wrong_settings_stop_the_run_before_anything_is_written(
    shelf: Path, tmp_path: Path
) -> None:
    (shelf / "jarvision.toml").write_text("[jar]\nglas_mm = 4\n")
    with pytest.raises(SettingsError, match=r"line 2.*nearest is 'glass_mm'"):
        run("score", shelf, "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_profile_of_the_growers_own_decides_when_a_jar_is_ready(
    shelf: Path, tmp_path: Path
) -> None:
    (shelf / "jars.csv").write_text("jar,species\nJ1,quick\n")
    args = ("score", shelf, "--out", tmp_path / "out", "--jobs", 1)
    assert "has no profile" in run(*args)[2]
    (shelf / "species").mkdir()
    (shelf / "species" / "quick.toml").write_text('like = "oyster"\nready_percent = 60')
    assert "has no profile" not in run(*args)[2]
    result = score_folder(shelf, out=tmp_path / "out")
    assert result.stories[0].profile.ready_percent == 60.0


def find_digest(*, glass_mm: int) -> str:
    return parse_settings(f"[jar]\nglass_mm = {glass_mm}").digest()
