"""Bare jars and days on which nothing has grown: what the register says of bare contents."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import pytest
from scoring import score_folder
from text_photos import FIRST, LOOK, SECOND, THIRD, TextShelf, read_text

from jarvision.records import JarEntry, Reading, ShelfResult
from jarvision.run.jobs import Job
from jarvision.run.references import References, Sighting

HEAD = "jar,kind,substrate,started,parent\n"
BARE_JAR = "B1,bare,rye,,\n"


@dataclass
class Reader:
    """Reads ``pale`` contents, which teach only where nothing is said to have grown, or others."""

    asked: list[str] = field(default_factory=list)

    def __call__(self, job: Job) -> Reading:
        self.asked.append(job.name)
        reading, text = read_text(job, 90.0)
        if reading.reference_jar:
            return reading
        said = job.nothing_grown.get(reading.jar)
        if said is not None and said.holds(reading.taken_at.date(), sure=True):
            return replace(reading, bare_look=replace(LOOK, area_cm2=70.0))
        return reading if text == "pale" else replace(reading, bare_look=LOOK)


@dataclass
class Shelf(TextShelf):
    def put(self, name: str, text: str = "pale") -> None:
        super().put(name, text)

    def write(self, *lines: str) -> None:
        (self.folder / "jars.csv").write_text(HEAD + "".join(lines))

    def score(self, out: str = "out") -> tuple[dict[str, str], list[str], ShelfResult]:
        """What each photo was held against, what was read, and the result."""
        reader, told = Reader(), list[str]()
        result = score_folder(
            self.folder, out=self.out.with_name(out), read=reader, tell=told.append
        )
        self.talk = " ".join(told)
        held = {r.photo: r.reference_jar for r in result.readings}
        return held, sorted(reader.asked), result


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    one = Shelf(tmp_path / "photos", tmp_path / "out")
    for day in (2, 3):
        one.put(f"J1/2026-03-0{day}.jpg")
    return one


# --------------------------------------------------------------------------- bare jars
def test_a_bare_jar_shows_the_others_of_its_substrate_how_they_look_bare(shelf: Shelf) -> None:
    shelf.put("B1/2026-03-09.jpg")
    shelf.put("J2/2026-03-02.jpg")
    shelf.write(BARE_JAR, "J1,spawn,Rye,,\n", "J2,spawn,oats,,\n")
    held, _, result = shelf.score()
    assert held == {
        "B1/2026-03-09.jpg": "",
        "J1/2026-03-02.jpg": "B1",
        "J1/2026-03-03.jpg": "B1",
        "J2/2026-03-02.jpg": "",
    }
    assert [s.verdict.jar for s in result.stories] == ["J1", "J2"], "a bare jar has no verdict"
    assert shelf.score()[:2] == (held, [])


def test_a_bare_photo_that_turns_up_makes_the_others_be_read_anew_and_nothing_else(
    shelf: Shelf,
) -> None:
    shelf.put("J2/2026-03-02.jpg", "teaches")
    shelf.put("J2/2026-03-03.jpg")
    lines = (BARE_JAR, "J1,spawn,rye,,\n", "J2,spawn,rye,,\n")
    shelf.write(*lines)
    shelf.score()
    shelf.put("B1/2026-03-09.jpg")
    held, asked, _ = shelf.score()
    assert asked == ["B1/2026-03-09.jpg", "J1/2026-03-02.jpg", "J1/2026-03-03.jpg"]
    assert held["J1/2026-03-02.jpg"] == held["J1/2026-03-03.jpg"] == "B1"
    assert held["J2/2026-03-03.jpg"] == "J2", "its own first day goes before"
    assert "2 photos read again: more is known of how their contents look bare" in shelf.talk
    (shelf.folder / "B1/2026-03-09.jpg").unlink()
    held, asked, _ = shelf.score()
    assert asked == ["J1/2026-03-02.jpg", "J1/2026-03-03.jpg"]
    assert {held[name] for name in asked} == {""}


def test_what_is_read_does_not_depend_on_when_the_bare_jar_came(shelf: Shelf) -> None:
    shelf.write(BARE_JAR, "J1,spawn,rye,,\n", "J2,spawn,rye,,\n")
    shelf.put("B1/2026-03-09.jpg")
    shelf.score()
    shelf.put("J2/2026-03-02.jpg", "teaches")
    shelf.put("J2/2026-03-03.jpg")
    late, _, _ = shelf.score()
    assert late == shelf.score("fresh")[0]
    assert late["J2/2026-03-02.jpg"] == ""
    assert late["J2/2026-03-03.jpg"] == "J2"


def test_a_line_that_makes_a_jar_bare_takes_its_verdict_and_lets_it_teach(shelf: Shelf) -> None:
    shelf.put("B1/2026-03-09.jpg")
    shelf.write("B1,spawn,rye,,\n", "J1,spawn,rye,,\n")
    assert [s.verdict.jar for s in shelf.score()[2].stories] == ["B1", "J1"]
    shelf.write(BARE_JAR, "J1,spawn,rye,,\n")
    held, asked, result = shelf.score()
    assert asked == ["B1/2026-03-09.jpg", "J1/2026-03-02.jpg", "J1/2026-03-03.jpg"]
    assert held["J1/2026-03-03.jpg"] == "B1"
    assert [s.verdict.jar for s in result.stories] == ["J1"]
    assert not any("without a photo" in warning for warning in result.warnings)


def references(*photos: Sighting) -> References:
    lines = (
        JarEntry("J1", substrate="rye", started=FIRST),
        JarEntry("J2", substrate="rye", started=FIRST),
        JarEntry("B1", kind="bare", substrate="RYE"),
        JarEntry("B2", kind="bare", substrate="rye"),
        JarEntry("B3", kind="bare", substrate="oats"),
    )
    found = References({entry.jar: entry for entry in lines})
    for number, sighting in enumerate(photos):
        found.note(f"p{number}", sighting)
    return found


def test_own_first_day_goes_before_batch_and_batch_before_a_bare_jar() -> None:
    own, mate = Sighting("J1", SECOND, LOOK), Sighting("J2", FIRST, LOOK)
    bare, later = Sighting("B1", FIRST, LOOK), Sighting("J1", THIRD)
    white = replace(own, look=None)

    def held_against(*photos: Sighting) -> str:
        found = references(*photos).of("p0")
        return "" if found is None else found.jar

    assert held_against(later, own, mate, bare) == "J1"
    assert held_against(later, white, mate, bare) == "J2"
    assert held_against(later, white, bare) == "B1"
    assert held_against(later, white, Sighting("B3", FIRST, LOOK)) == ""
    assert held_against(white, later, bare) == "B1", "its first day, too"
    assert held_against(white, later, mate, bare) == "", "not where its batch is known"
    assert held_against(bare, later) == "", "a bare jar is held against nothing"


def test_of_several_bare_jars_the_one_nearest_to_the_start_counts() -> None:
    near, far = Sighting("B2", SECOND, LOOK), Sighting("B1", date(2026, 4, 1), LOOK)
    found = references(far, near, Sighting("J1", THIRD)).of("p2")
    assert found is not None and (found.jar, found.day) == ("B2", SECOND)


# --------------------------------------------------------------------------- the day of filling
@pytest.mark.parametrize(
    ("line", "teaches"),
    [
        ("J1,spawn,rye,2026-03-02,\n", True),
        ("J1,spawn,rye,2026-03-01,\n", False),
        ("J1,spawn,rye,,\n", False),
        ("J1,fruiting,straw,2026-03-02,\n", False),
        ("J1,spawn,rye,2026-03-02,J0\n", False),
    ],
)
def test_a_whole_wall_is_learned_where_the_register_says_that_nothing_has_grown(
    shelf: Shelf, line: str, teaches: bool
) -> None:
    shelf.write("J0,spawn,rye,,\n", line)
    held, _, result = shelf.score()
    first = next(r for r in result.readings if r.photo == "J1/2026-03-02.jpg")
    assert (first.bare_look is not None) == teaches
    assert held["J1/2026-03-03.jpg"] == ("J1" if teaches else "")


def test_a_start_that_is_written_down_later_has_that_day_read_anew(shelf: Shelf) -> None:
    shelf.put("J1/2026-03-04.jpg")
    shelf.put("J2/2026-03-02.jpg")
    shelf.write("J1,spawn,rye,,\n", "J2,spawn,oats,,\n")
    shelf.score()
    shelf.write("J1,spawn,rye,2026-03-02,\n", "J2,spawn,oats,2026-02-20,\n")
    held, asked, _ = shelf.score()
    assert asked == [f"J1/2026-03-0{day}.jpg" for day in (2, 3, 4)]
    assert held["J1/2026-03-04.jpg"] == "J1"
    assert shelf.score()[:2] == (held, [])
    shelf.write("J1,spawn,rye,2026-02-20,\n", "J2,spawn,oats,2026-02-20,\n")
    held, asked, _ = shelf.score()
    assert asked == [f"J1/2026-03-0{day}.jpg" for day in (2, 3, 4)]
    assert set(held.values()) == {""}


def test_a_jar_that_only_its_tag_tells_learns_its_day_of_filling(shelf: Shelf) -> None:
    shelf.put("IMG_2026-03-02.jpg", "tag 7")
    shelf.write("7,spawn,rye,2026-03-02,\n")
    _, _, result = shelf.score()
    (tagged,) = (r for r in result.readings if r.jar == "7")
    assert tagged.bare_look is not None and tagged.bare_look.area_cm2 == 70.0
    assert shelf.score()[1] == []
