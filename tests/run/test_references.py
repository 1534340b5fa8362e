"""Photos are held against the bare look of their jar's first day, in whatever order they come."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_refusal
from scoring import score_folder
from text_photos import FIRST, LOOK, SECOND, THIRD, TextShelf, read_text

from jarvision.records import JarEntry, Reading
from jarvision.run.jobs import Job
from jarvision.run.references import References, Sighting


@dataclass
class Reader:
    """Reads ``white`` (no bare look), ``spoilt``, ``tag N`` or a number that makes the look."""

    asked: list[str] = field(default_factory=list)

    def __call__(self, job: Job) -> Reading:
        self.asked.append(job.name)
        reading, text = read_text(job, 50.0)
        if text == "breaks":
            raise RuntimeError("no memory")
        if text == "spoilt":
            day = reading.taken_at.date()
            return fake_refusal(job.name, reading.jar, "blurred", day)
        if reading.reference_jar or text == "white":
            return reading
        return replace(reading, bare_look=LOOK)


class Shelf(TextShelf):
    def score(self) -> tuple[dict[str, tuple[str, date | None]], list[str]]:
        """What each usable photo was held against, and what was read."""
        reader, told = Reader(), list[str]()
        result = score_folder(self.folder, out=self.out, read=reader, tell=told.append)
        self.talk = " ".join(told)
        held = {
            r.photo: (r.reference_jar, r.reference_day) for r in result.readings if r.status == "ok"
        }
        return held, sorted(reader.asked)


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path / "photos", tmp_path / "out")


def test_later_photos_are_held_against_the_first_day_and_known_from_then_on(shelf: Shelf) -> None:
    for day in (3, 1, 2):
        shelf.put(f"J1/2026-03-0{day}.jpg")
    held, asked = shelf.score()
    assert held == {
        "J1/2026-03-01.jpg": ("", None),
        "J1/2026-03-02.jpg": ("J1", FIRST),
        "J1/2026-03-03.jpg": ("J1", FIRST),
    }
    assert len(asked) == 3
    assert shelf.score() == (held, [])


def test_a_new_photo_alone_is_read(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-01.jpg")
    shelf.score()
    shelf.put("J1/2026-03-02.jpg")
    held, asked = shelf.score()
    assert asked == ["J1/2026-03-02.jpg"]
    assert held["J1/2026-03-02.jpg"] == ("J1", FIRST)


def test_an_earlier_photo_that_turns_up_makes_the_others_be_read_anew(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-02.jpg", "white")
    shelf.put("J1/2026-03-03.jpg")
    shelf.put("J2/2026-03-02.jpg")
    before, _ = shelf.score()
    assert set(before.values()) == {("", None)}
    shelf.put("J1/2026-03-01.jpg")
    held, asked = shelf.score()
    assert asked == ["J1/2026-03-01.jpg", "J1/2026-03-02.jpg", "J1/2026-03-03.jpg"]
    assert held["J1/2026-03-03.jpg"] == held["J1/2026-03-02.jpg"] == ("J1", FIRST)
    assert "2 photos read again: more is known of how their contents look bare" in shelf.talk
    assert shelf.score() == (held, [])


def test_a_spoilt_first_photo_leaves_its_place_to_the_next_day(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-01.jpg", "spoilt")
    shelf.put("J1/2026-03-02.jpg")
    shelf.put("J1/2026-03-03.jpg")
    held, _ = shelf.score()
    assert held == {"J1/2026-03-02.jpg": ("", None), "J1/2026-03-03.jpg": ("J1", SECOND)}
    assert shelf.score() == (held, [])


def test_a_jar_that_only_its_tag_tells_finds_its_first_day(shelf: Shelf) -> None:
    shelf.put("IMG_2026-03-01.jpg", "tag 7")
    shelf.put("IMG_2026-03-02.jpg", "tag 7")
    shelf.put("IMG_2026-03-03.jpg", "tag 8")
    held, _ = shelf.score()
    assert held["IMG_2026-03-02.jpg"] == ("7", FIRST)
    assert held["IMG_2026-03-03.jpg"] == ("", None)
    assert shelf.score() == (held, [])
    shelf.put("IMG_2026-03-04.jpg", "tag 8")
    held, asked = shelf.score()
    assert asked == ["IMG_2026-03-04.jpg"]
    assert held["IMG_2026-03-04.jpg"] == ("8", THIRD)


def test_photos_that_move_are_not_read_again(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-01.jpg", "11")
    shelf.put("J1/2026-03-02.jpg", "12")
    held, _ = shelf.score()
    (shelf.folder / "rack").mkdir()
    (shelf.folder / "J1").rename(shelf.folder / "rack" / "J1")
    again, asked = shelf.score()
    assert asked == []
    assert again == {f"rack/{photo}": reference for photo, reference in held.items()}
    assert "2 photos moved or renamed" in shelf.talk


def test_a_photo_that_fails_for_a_reason_that_may_pass_disturbs_no_other(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-01.jpg", "breaks")
    shelf.put("J1/2026-03-02.jpg")
    shelf.put("J1/2026-03-03.jpg")
    held, _ = shelf.score()
    assert held["J1/2026-03-03.jpg"] == ("J1", SECOND)
    assert shelf.score() == (held, ["J1/2026-03-01.jpg"])


def test_a_photo_that_is_thrown_away_teaches_no_longer(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-01.jpg")
    shelf.put("J1/2026-03-02.jpg")
    shelf.put("J1/2026-03-03.jpg")
    shelf.score()
    (shelf.folder / "J1/2026-03-01.jpg").unlink()
    held, asked = shelf.score()
    assert asked == ["J1/2026-03-02.jpg", "J1/2026-03-03.jpg"]
    assert held == {"J1/2026-03-02.jpg": ("", None), "J1/2026-03-03.jpg": ("J1", SECOND)}


# --------------------------------------------------------------------------- which look
def references(**photos: Sighting) -> References:
    entries = {
        jar: JarEntry(jar, substrate=substrate, started=FIRST)
        for jar, substrate in (("J1", "rye"), ("J2", "Rye"), ("J3", "oats"))
    }
    found = References(entries)
    for photo, sighting in photos.items():
        found.note(photo, sighting)
    return found


def test_a_jar_that_came_white_is_held_against_its_batch() -> None:
    found = references(
        a=Sighting("J1", SECOND), b=Sighting("J1", THIRD), c=Sighting("J2", FIRST, LOOK)
    )
    reference = found.of("b")
    assert reference is not None and (reference.jar, reference.day) == ("J2", FIRST)
    assert found.of("a") is None, "photos of a first day are read on their own"


def test_other_substrates_teach_nothing() -> None:
    found = references(
        a=Sighting("J3", FIRST), b=Sighting("J3", SECOND), c=Sighting("J2", FIRST, LOOK)
    )
    assert found.of("b") is None


def test_of_several_views_of_the_first_day_the_one_with_most_bare_contents_counts() -> None:
    more = replace(LOOK, area_cm2=60.0)
    found = references(
        a=Sighting("J1", FIRST, LOOK), b=Sighting("J1", FIRST, more), c=Sighting("J1", SECOND)
    )
    reference = found.of("c")
    assert reference is not None and reference.look == more


def test_a_photo_that_is_taken_back_teaches_no_longer() -> None:
    found = references(a=Sighting("J1", FIRST, LOOK), b=Sighting("J1", SECOND))
    found.note("a", None)
    assert found.is_first("b") and found.of("b") is None


def test_a_renamed_jar_is_held_against_its_first_day_under_the_former_name(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-01.jpg")
    shelf.score()
    header = "date,jar,change,column,before,after"
    (shelf.folder / "jars.csv").write_text("jar\nK1\n")
    (shelf.folder / "jars_history.csv").write_text(f"{header}\n2026-03-01,J1,renamed,jar,J1,K1\n")
    shelf.put("K1/2026-03-02.jpg")
    held, asked = shelf.score()
    assert held == {"J1/2026-03-01.jpg": ("", None), "K1/2026-03-02.jpg": ("K1", FIRST)}
    assert asked == ["K1/2026-03-02.jpg"]
