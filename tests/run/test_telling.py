"""No story is told twice, and none is kept that would be told otherwise now."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fake_shelf import fake_reading
from paced import files_of

from jarvision.api import publisher
from jarvision.records import Patch, Reading, ShelfResult
from jarvision.register.photo_names import read_name
from jarvision.run import telling
from jarvision.run.jobs import Job
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.results import keep_result, last_result
from jarvision.run.score import score_shelf
from jarvision.run.shelf import open_shelf
from jarvision.run.store import Store
from jarvision.truth.adjust import Adjustment, Rectifier
from jarvision.truth.compare import ShelfCounts

FILES_BESIDE = "[page]\none_file_jars = 0\n"
PERCENTS = (2, 5, 11, 23, 44, 68, 86, 95, 98)
REGISTER = """jar,kind,species,substrate,started,parent
M,spawn,oyster,rye,2026-02-01,
A1,spawn,oyster,rye,2026-03-01,M
A2,spawn,oyster,rye,2026-03-01,M
B1,spawn,shiitake,rye,2026-03-01,
C1,fruiting,oyster,straw,2026-03-03,B1
"""


def reader(job: Job) -> Reading:
    """Read the coverage from the file, with a patch and a note where it says so."""
    parts = read_name(job.name)
    assert parts.day is not None
    percent, *more = job.path.read_text().split()
    ring = ((1.0, 2.0), (3.0, 2.0), (2.0, 4.0))
    patches = (Patch(more[0], 4.0, 2.0, 30.0, 0.9, ring),) if more else ()
    made = fake_reading(parts.jar, parts.day, float(percent), patches)
    return replace(made, photo=job.name, view=parts.view, picture=f"{job.name}{percent}")


@dataclass
class Farm:
    """A folder of photos that is scored again and again, and how often stories were told."""

    root: Path
    told: list[str] = field(default_factory=list)
    seen: list[str] = field(default_factory=list)
    today: date | None = None

    @property
    def photos(self) -> Path:
        return self.root / "photos"

    @property
    def out(self) -> Path:
        return self.root / "out"

    def score(self, out: Path | None = None) -> ShelfResult:
        """Score and report; what was told and looked at is noted anew."""
        self.told.clear()
        self.seen.clear()
        shelf, place = open_shelf(self.photos), out or self.out
        publish = publisher(shelf, place)
        return score_shelf(shelf, out=place, read=reader, publish=publish, today=self.today)


@pytest.fixture
def farm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Farm:
    found = Farm(tmp_path)
    found.photos.mkdir()
    (found.photos / "jars.csv").write_text(REGISTER)
    for jar in ("A1", "A2", "B1", "C1"):
        for n, percent in enumerate(PERCENTS):
            (found.photos / f"{jar}_2026-03-{n + 2:02d}.jpg").write_text(str(percent))

    def noting(function: Callable[..., Any], notes: list[str], jar: Callable[..., str]) -> Any:
        def noted(*args: Any, **given: Any) -> Any:
            notes.append(jar(*args))
            return function(*args, **given)

        return noted

    for name, notes, jar in (
        ("tell_with_taught", found.told, lambda history, *_: history.entry.jar),
        ("build_history", found.seen, lambda _, entry: entry.jar),
    ):
        monkeypatch.setattr(telling, name, noting(getattr(telling, name), notes, jar))
    return found


def test_a_run_in_which_nothing_changed_tells_no_story(farm: Farm) -> None:
    first = farm.score()
    assert sorted(farm.told) == sorted(farm.seen) == ["A1", "A2", "B1", "C1"]
    files = files_of(farm.out)
    again = farm.score()
    assert (farm.told, farm.seen) == ([], [])
    assert again == first
    assert files_of(farm.out) == files


def test_the_last_scoring_is_kept_as_it_is_told(farm: Farm) -> None:
    """Rows are left as they are only where a scoring put them there, and is the same again."""
    farm.score()
    shelf = open_shelf(farm.photos)
    first = last_result(farm.out, shelf)
    assert first is not None and len(first.readings) == 36 and len(first.stories) == 4
    farm.score()
    assert last_result(farm.out, shelf) == first
    with Store(farm.out, tell=print) as store:
        keep_result(store, replace(first, stories=(), readings=()))  # as a single photo's scoring
    farm.score()
    assert last_result(farm.out, shelf) == first
    (farm.photos / "A1_2026-03-11.jpg").write_text("99")
    farm.score()
    later = last_result(farm.out, shelf)
    assert later is not None and len(later.readings) == 37


def test_a_photo_more_tells_its_jar_and_its_batch_anew(farm: Farm) -> None:
    farm.today = date(2026, 3, 12)
    farm.score()
    (farm.photos / "A1_2026-03-11.jpg").write_text("99")
    farm.score()
    assert farm.seen == ["A1"]
    assert farm.told == ["A1", "A2"]


def write(name: str, text: str) -> Callable[[Farm], None]:
    def change(farm: Farm) -> None:
        (farm.photos / name).write_text(text)

    return change


def line(name: str, before: str, after: str) -> Callable[[Farm], None]:
    def change(farm: Farm) -> None:
        path = farm.photos / name
        text = path.read_text()
        assert before in text
        path.write_text(text.replace(before, after))

    return change


def without(name: str) -> Callable[[Farm], None]:
    return lambda farm: (farm.photos / name).unlink()


def on(day: date) -> Callable[[Farm], None]:
    def change(farm: Farm) -> None:
        farm.today = day

    return change


def renamed(farm: Farm) -> None:
    """C1 is called D1 now, and its photos bear the former name."""
    line("jars.csv", "C1,", "D1,")(farm)
    text = "date,jar,change,column,before,after\n2026-03-11,C1,renamed,jar,C1,D1\n"
    write("jars_history.csv", text)(farm)


def removed(farm: Farm) -> None:
    line("jars.csv", "C1,fruiting,oyster,straw,2026-03-03,B1\n", "")(farm)
    text = "date,jar,change,column,before,after\n2026-03-11,C1,removed,,,\n"
    write("jars_history.csv", text)(farm)


def own_species(farm: Farm) -> None:
    """The package's oyster, ready later."""
    from jarvision.register.species import profiles

    package = Path(profiles.__file__).parent / "profiles" / "oyster.toml"
    text = package.read_text().replace("value = 95", "value = 97")
    write("species/oyster.toml", text)(farm)


FINE = "jar,date,finding,about,size,note\nA1,2026-03-10,wet,,,dew\n"
DIARY = "jar,date,what,celsius,text,undone"
OUTCOME = "jar,outcome,date,grams,dry_grams,note,verdict,verdict_date"
FILLED = "C1,fruiting,oyster,straw,2026-0"
CHANGES: dict[str, tuple[Callable[[Farm], None], str]] = {
    "a photo more": (write("A1_2026-03-11.jpg", "99"), "told"),
    "a photo less": (without("A1_2026-03-10.jpg"), "told"),
    "a photo of another content": (write("B1_2026-03-10.jpg", "40"), "told"),
    "a photo that shows mould": (write("A1_2026-03-10.jpg", "97 green"), "told"),
    "a photo of another side": (write("A1_2026-03-10_b.jpg", "80"), "told"),
    "a photo of a jar that is new": (write("E1_2026-03-10.jpg", "80"), "told"),
    "the day": (on(date(2026, 3, 25)), "told"),
    "another species": (line("jars.csv", "B1,spawn,shiitake", "B1,spawn,oyster"), "told"),
    "another start": (line("jars.csv", f"{FILLED}3-03", f"{FILLED}2-20"), "told"),
    "another parent": (line("jars.csv", "2026-03-01,M\nA2", "2026-03-01,\nA2"), "told"),
    "another batch": (line("jars.csv", "A2,spawn,oyster,rye", "A2,spawn,oyster,oats"), "told"),
    "a sister more": (line("jars.csv", "C1,", "A3,spawn,oyster,rye,2026-03-01,M\nC1,"), "told"),
    "a bare jar": (line("jars.csv", "B1,spawn", "B1,bare"), "files"),
    "a name of today": (renamed, "told"),
    "a jar taken out": (removed, "files"),
    "tracking": (
        write("jarvision.toml", "[tracking]\nturn_look_back = 1\n"),
        "told",
    ),
    "rules": (write("jarvision.toml", "[verdict]\nkin_clear_days = 3\n"), "told"),
    "the diary": (
        write("diary.csv", f"{DIARY}\nA1,2026-03-06,shaken,,,\n"),
        "told",
    ),
    "what was found fine": (write("seen.csv", FINE), "again"),
    "a species of the grower's own": (own_species, "told"),
    "an outcome": (
        write("outcomes.csv", f"{OUTCOME}\nA2,contaminated,2026-03-11,,,,,\n"),
        "files",
    ),
    "nothing that counts": (write("notes.txt", "a note"), "same"),
}


SEEN_IN_THE_LIST = (
    "a photo that shows mould",
    "the day",
    "a sister more",
    "a name of today",
    "a jar taken out",
    "an outcome",
    "nothing that counts",
)


@pytest.mark.parametrize(
    ("what", "beside"),
    [*((what, False) for what in CHANGES), *((what, True) for what in SEEN_IN_THE_LIST)],
)
def test_after_every_change_a_warm_run_gives_what_a_cold_one_does(
    farm: Farm, what: str, beside: bool
) -> None:
    change, then = CHANGES[what]
    if beside:
        (farm.photos / "jarvision.toml").write_text(FILES_BESIDE)
    farm.score()
    before = files_of(farm.out)
    (farm.photos / "species").mkdir()
    change(farm)
    warm = farm.score()
    told = [*farm.told]
    cold = farm.score(farm.root / "cold")
    assert warm == cold
    after, afresh = files_of(farm.out), files_of(farm.root / "cold")
    for done in warm.finished:  # it keeps its last chart, which a run from nothing has not drawn
        after.pop(f"curves/{done.jar}.svg", None)
    assert after == afresh
    assert bool(told) == (then in {"told", "again"})  # again: to the same end
    assert (after != before) == (then in {"told", "files"})


def test_what_was_counted_tells_all_anew(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    first = farm.score()
    for points in (2.0, 3.0):
        adjustment = Adjustment(Rectifier(points, 1.0, 5), share=0.2, stretch=1.5, points_counted=9)
        counts = ShelfCounts((), (), 0, adjustment)
        monkeypatch.setattr("jarvision.run.score.shelf_counts", lambda *_, found=counts: found)
        warm = farm.score()
        assert sorted(farm.told) == ["A1", "A2", "B1", "C1"]
        assert warm == farm.score(farm.root / f"cold-{points}")
        assert warm.readings != first.readings
    assert files_of(farm.out) == files_of(farm.root / "cold-3.0")


def test_other_code_tells_all_anew(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    farm.score()
    monkeypatch.setattr("jarvision.run.kept_parts.whole_code", lambda: "another")
    farm.score()
    assert sorted(farm.told) == ["A1", "A2", "B1", "C1"]


def test_parts_that_are_damaged_are_made_anew(farm: Farm) -> None:
    first = farm.score()
    files = files_of(farm.out)
    for wrong in (b"", b"\x05\0\0\0", np.random.default_rng(1).bytes(400)):
        db = sqlite3.connect(farm.out / STORE_NAME)
        db.execute("UPDATE parts SET made = ?", (wrong,))
        db.commit()
        db.close()
        assert farm.score() == first
        assert sorted(farm.told) == ["A1", "A2", "B1", "C1"]
        assert files_of(farm.out) == files


def test_parts_of_jars_that_are_no_more_are_forgotten(farm: Farm) -> None:
    farm.score()
    for photo in farm.photos.glob("C1*.jpg"):
        photo.unlink()
    farm.score()
    with sqlite3.connect(farm.out / STORE_NAME) as db:
        jars = {bytes(jar).decode() for (jar,) in db.execute("SELECT DISTINCT jar FROM parts")}
    assert jars == {"", "A1", "A2", "B1"}


def test_a_long_history_is_told_as_a_short_one(
    farm: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one day to a chunk and one day held everything goes through packed chunks."""
    plain = farm.score()
    monkeypatch.setattr("jarvision.run.long_histories.DAYS_PACKED", 2)
    monkeypatch.setattr("jarvision.run.long_histories.DAYS_HELD", 1)
    monkeypatch.setattr("jarvision.run.long_histories.READINGS_PACKED", 3)
    other = tmp_path / "other"
    assert farm.score(other) == plain
    assert farm.score(other) == plain
    assert files_of(other) == files_of(farm.out)
