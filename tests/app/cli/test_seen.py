"""``jarvision jars seen``: from a check to a settled one, as the shell runs it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from fake_shelf import fake_reading
from scoring import fake_reader
from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.app.cli.places import find_story, needed_scoring
from jarvision.base.errors import UsageError
from jarvision.records import Patch, Reading
from jarvision.register.looks import read_looks
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.shelf import open_shelf


@pytest.fixture
def photos(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a jar that shows a wet area, one that shows mould, and one in order."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for jar in ("Wet", "Mould", "Fine"):
        for day in range(1, 6):
            (folder / f"{jar}_2026-03-0{day}.jpg").write_bytes(b"x")

    def read(job: Job) -> Reading:
        parts = read_name(job.name)
        assert parts.day is not None
        told = fake_reading(parts.jar, parts.day, 10.0 * parts.day.day)
        kind = {"Wet": "wet", "Mould": "green"}.get(parts.jar)
        spots = (Patch(kind, 1.0, 5.0, 40.0, 0.9),) if kind and parts.day.day > 3 else ()
        return replace(told, photo=job.name, patches=spots)

    fake_reader(monkeypatch, read)
    return folder


def call(*args: object) -> str:
    result = CliRunner().invoke(main.app, [*map(str, args)])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0
    return result.stdout


def verdicts(photos: Path) -> dict[str, str]:
    out = photos.parent / "out"
    document = json.loads(call("score", photos, "--out", out, "--jobs", 1, "--json", "-q"))
    return {jar["jar"]: jar["verdict"] for jar in document["jars"]}


def seen(photos: Path, jar: str, *more: str) -> str:
    out, register = photos.parent / "out", photos / "jars.csv"
    return call("jars", "seen", jar, *more, "--out", out, "--register", register)


def explained(photos: Path, jar: str) -> str:
    out, register = photos.parent / "out", photos / "jars.csv"
    return " ".join(call("explain", jar, "--out", out, "--register", register).split())


def last_flags(photos: Path, jar: str) -> list[str]:
    """What the last scoring tells beside a jar's verdict."""
    result = needed_scoring(photos.parent / "out", open_shelf(photos))
    return [flag.message for flag in find_story(result, jar).flags]


def test_a_check_that_was_found_fine_ends_with_the_next_scoring(photos: Path) -> None:
    (photos / "jars.csv").write_text("jar\nWet\nMould\nFine\n", encoding="utf-8")
    assert verdicts(photos) == {"Wet": "check", "Mould": "no-go", "Fine": "wait"}
    page = photos.parent / "out" / "report.html"
    assert "jarvision jars seen Wet --fine" in page.read_text("utf-8")
    assert "jarvision jars seen Wet --fine" in explained(photos, "Wet")
    assert "wet at the glass, 1.0 cm2" in seen(photos, "Wet", "--fine", "--note", "it was dew")
    (look,) = read_looks(photos / "seen.csv")["Wet"]
    assert (look.finding, look.size, look.note) == ("wet", 1.0, "it was dew")
    assert verdicts(photos) == {"Wet": "wait", "Mould": "no-go", "Fine": "wait"}
    assert "it was dew" in page.read_text("utf-8")
    assert "found fine: wet at the glass" in explained(photos, "Wet")


def test_what_was_found_fine_follows_the_jar_to_its_new_name(photos: Path) -> None:
    register = photos / "jars.csv"
    register.write_text("jar\nWet\nMould\nFine\n", encoding="utf-8")
    assert verdicts(photos)["Wet"] == "check"
    call("jars", "rename", "Wet", "Dew", "--register", register)
    assert seen(photos, "Wet", "--fine").startswith("Dew, found fine")
    call("jars", "rename", "Dew", "Dry", "--register", register)
    assert verdicts(photos) == {"Dry": "wait", "Mould": "no-go", "Fine": "wait"}
    assert "found fine: wet at the glass" in explained(photos, "Dry")


def test_what_was_found_fine_leaves_with_the_jar_and_comes_back_with_it(photos: Path) -> None:
    register = photos / "jars.csv"
    register.write_text("jar\nWet\nMould\nFine\n", encoding="utf-8")
    verdicts(photos)
    seen(photos, "Wet", "--fine")
    call("jars", "remove", "Wet", "--register", register)
    with pytest.raises(UsageError, match="was not scored"):
        seen(photos, "Wet", "--fine")
    assert verdicts(photos) == {"Mould": "no-go", "Fine": "wait"}
    call("jars", "add", "Wet", "--register", register)
    assert verdicts(photos)["Wet"] == "wait"


def test_a_look_at_a_jar_with_bad_kin_is_told_from_the_tables_once(photos: Path) -> None:
    register, out = photos / "jars.csv", photos.parent / "out"
    register.write_text("jar,parent\nM,\nWet,M\nMould,M\nFine,M\n", encoding="utf-8")
    assert verdicts(photos)["Wet"] == "check"
    assert "of its kin, Mould (same spawn) turned bad" in seen(photos, "Wet", "--fine")
    looks = read_looks(photos / "seen.csv")["Wet"]
    assert {look.finding: look.about for look in looks} == {"wet": "", "bad_kin": "Mould"}
    assert verdicts(photos)["Wet"] == "wait"
    (out / STORE_NAME).unlink()
    flags = [f for f in last_flags(photos, "Wet") if "Mould (same spawn)" in f]
    assert len(flags) == 1 and "found fine" in flags[0]


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (("Mould", "--fine"), "'Mould' is no-go, which no look settles"),
        (("Fine", "--fine"), "'Fine' is wait"),
        (("Wet",), "not told"),
        (("Wet", "--fine", "--note", "two\nlines"), "line break"),
        (("Weet", "--fine"), "was not scored"),
    ],
)
def test_what_no_look_settles_is_refused_and_nothing_written(
    args: tuple[str, ...], message: str, photos: Path
) -> None:
    (photos / "jars.csv").write_text("jar\nWet\nMould\nFine\n", encoding="utf-8")
    verdicts(photos)
    with pytest.raises(UsageError, match=message):
        seen(photos, *args)
    assert not (photos / "seen.csv").exists()


def test_the_species_is_asked_for_on_the_page_while_nobody_has_told_it(photos: Path) -> None:
    page = photos.parent / "out" / "report.html"
    verdicts(photos)
    assert "Kind and species are not known of" in page.read_text("utf-8")
    lines = "jar,species\nWet,oyster\nMould,oyster\nFine,oyster\n"
    (photos / "jars.csv").write_text(lines, encoding="utf-8")
    verdicts(photos)
    assert "not known of" not in page.read_text("utf-8")
