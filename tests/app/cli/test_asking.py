"""Photos that name no jar: asked for at a terminal, told what to do everywhere else."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_reading, fake_shelf
from scoring import fake_reader
from typer.testing import CliRunner

from jarvision.app.cli.asking import ask_jars
from jarvision.app.cli.main import app
from jarvision.app.cli.summary import tell_refused
from jarvision.records import Reading, ShelfResult
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job

DAY = date(2026, 3, 1)


def shelf(*photos: str) -> ShelfResult:
    unnamed = [
        replace(fake_reading("", DAY, 50.0), photo=p, status="unusable", reason="unnamed_jar")
        for p in photos
    ]
    return replace(fake_shelf(), readings=(fake_reading("K07", DAY, 50.0), *unnamed))


def answers(said: Iterable[str]) -> tuple[list[str], Callable[[str], str]]:
    asked: list[str] = []
    left = iter(said)

    def ask(question: str) -> str:
        asked.append(question)
        return next(left)

    return asked, ask


def test_each_photo_is_named_and_its_jar_taken() -> None:
    asked, ask = answers(["K07", "K08"])
    told = ask_jars(shelf("IMG_1.jpg", "in/IMG_2.jpg"), {"K07", "K08"}, ask=ask)
    assert told == {"IMG_1.jpg": "K07", "in/IMG_2.jpg": "K08"}
    assert "IMG_1.jpg" in asked[0] and "in/IMG_2.jpg" in asked[1]


def test_a_photo_can_be_left_out_and_the_questions_ended() -> None:
    asked, ask = answers(["", "K07", "."])
    told = ask_jars(shelf(*"abcd"), set(), ask=ask)
    assert told == {"b": "K07"}
    assert len(asked) == 3


def test_an_unknown_name_is_asked_for_once_more() -> None:
    asked, ask = answers(["k 07", "K07", "New1", ""])
    told = ask_jars(shelf("a", "b"), {"K07"}, ask=ask)
    assert told == {"a": "K07", "b": "New1"}
    assert "Did you mean K07?" in asked[1]
    assert "takes it as a new jar" in asked[3]


def test_nothing_is_asked_where_every_photo_has_its_jar() -> None:
    asked, ask = answers([])
    assert ask_jars(fake_shelf(), set(), ask=ask) == {}
    assert asked == []


# --------------------------------------------------------------------------- the whole way
def reader(job: Job) -> Reading:
    parts = job.parts
    assert parts == read_name(job.name, job.told_jar)
    found = replace(
        fake_reading(parts.jar, DAY, 50.0),
        photo=job.name,
        overlay="",
        wall_picture="",
        view="front",
    )
    if parts.jar:
        return found
    return replace(found, status="unusable", reason="unnamed_jar", coverage=None)


@pytest.fixture
def photos(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    fake_reader(monkeypatch, reader)
    folder = tmp_path / "photos"
    folder.mkdir()
    for name in ("K07_2026-03-01.jpg", "IMG_0001.jpg", "IMG_0002.jpg"):
        (folder / name).write_bytes(name.encode())
    return folder


def test_at_a_terminal_the_answer_is_kept_and_the_photo_read(
    photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.app.cli.score.can_ask", lambda: True)
    out = photos.parent / "out"
    args = ["score", str(photos), "--out", str(out), "--jobs", "1"]
    done = CliRunner().invoke(app, args, input="K08\n.\n")
    assert done.exit_code == 0, done.output
    assert "IMG_0001.jpg" in done.stderr and "which jar" in done.stderr
    assert (photos / "photo_jars.csv").read_text() == "photo,jar\nIMG_0001.jpg,K08\n"
    assert "K08" in done.stdout
    assert "K08" in (out / "verdicts.csv").read_text()
    again = CliRunner().invoke(app, args, input="\n")
    assert "IMG_0001.jpg" not in again.stderr  # told once, kept for good
    assert "IMG_0002.jpg" in again.stderr


@pytest.mark.parametrize("more", [(), ("--json",), ("--quiet",)])
def test_nobody_is_asked_without_a_terminal(photos: Path, more: tuple[str, ...]) -> None:
    args = ["score", str(photos), "--out", str(photos.parent / "out"), "--jobs", "1", *more]
    done = CliRunner().invoke(app, args, input="K08\n")
    assert done.exit_code == 0, done.output
    assert "which jar: " not in done.stderr
    assert not (photos / "photo_jars.csv").exists()
    if not more:
        assert "2 photos not used (IMG_0002.jpg, IMG_0001.jpg): neither" in done.stderr
        assert "K07_2026-03-01.jpg; or put it into a folder" in done.stderr


def test_a_terminal_alone_does_not_ask_where_a_script_reads(
    photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.app.cli.score.can_ask", lambda: True)
    for more in ("--json", "--quiet"):
        args = ["score", str(photos), "--out", str(photos.parent / "out"), "--jobs", "1", more]
        assert CliRunner().invoke(app, args, input="K08\n").exit_code == 0
    assert not (photos / "photo_jars.csv").exists()


def test_refused_photos_are_named_the_newest_first() -> None:
    photos = shelf(*(f"IMG_{n}.jpg" for n in range(5)))
    days = [
        replace(r, taken_at=r.taken_at.replace(day=n + 1)) for n, r in enumerate(photos.readings)
    ]
    dark = replace(days[0], status="unusable", reason="underexposed")
    result = replace(photos, readings=(dark, *days[1:]))
    unnamed, one = tell_refused(result)
    assert unnamed.startswith("5 photos not used (IMG_4.jpg, IMG_3.jpg, IMG_2.jpg and 2 more): ")
    assert one.startswith(f"1 photo not used ({dark.photo}): the photo is too dark. ")
    assert tell_refused(result, only="underexposed") == [one]
    assert tell_refused(fake_shelf(), only="unnamed_jar") == []
