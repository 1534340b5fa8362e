from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from fake_shelf import TODAY, fake_shelf

from jarvision.base.errors import NotWritableError, UsageError
from jarvision.records import JarEntry, VerdictWord
from jarvision.register.outcomes import (
    OUTCOME_COLUMNS,
    JarOutcome,
    Outcome,
    OutcomeWord,
    add_outcome,
    read_outcomes,
    taken_together,
    undo_outcome,
    verdict_before,
)
from jarvision.truth.hindsight import look_back, share

ENTRY = JarEntry("F1", kind="fruiting", started=date(2026, 2, 1))


def line(outcome: OutcomeWord = "harvested", day: int = 0, **more: object) -> Outcome:
    return Outcome("F1", outcome, TODAY + timedelta(days=day), **more)  # type: ignore[arg-type]


def add(path: Path, outcome: Outcome) -> JarOutcome:
    return add_outcome(path, outcome, entry=ENTRY, today=TODAY + timedelta(days=60))


# --------------------------------------------------------------------------- the file
def test_what_was_recorded_reads_back_in_order(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    lines = (
        line("clean", verdict="go", verdict_date=TODAY, note='said "fine"; all, really'),
        line(day=20, grams=81.5, dry_grams=100.0),
    )
    for each in lines:
        add(path, each)
    assert read_outcomes(path) == lines
    assert path.read_text().splitlines()[0] == ",".join(OUTCOME_COLUMNS)


def test_older_lines_are_never_touched(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    old = (
        b"\xef\xbb\xbf"
        + ";".join([*OUTCOME_COLUMNS, "mine"]).encode()
        + b"\nX;clean;2026-01-01;;;;;;7"
    )
    path.write_bytes(old)
    add(path, line(grams=10.0))
    assert path.read_bytes().startswith(old + b"\n")
    assert [o.jar for o in read_outcomes(path)] == ["X", "F1"]


def test_a_new_line_follows_the_columns_that_the_grower_has_moved(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    moved = [*OUTCOME_COLUMNS[::-1][:3], "mine", *OUTCOME_COLUMNS[::-1][3:]]
    path.write_text(";".join(moved) + "\n", "utf-8")
    told = line(grams=10.0, note="soft")
    add(path, told)
    assert read_outcomes(path) == (told,)
    with path.open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file, delimiter=";")
    assert (row["jar"], row["outcome"], row["note"], row["mine"]) == ("F1", "harvested", "soft", "")


def test_a_file_with_a_wrong_line_takes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    text = f"{','.join(OUTCOME_COLUMNS)}\nX,lost,2026-01-01,,,,,\n"
    path.write_text(text)
    with pytest.raises(UsageError, match="line 2: outcome 'lost'"):
        add(path, line())
    assert path.read_text() == text


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (",clean,2026-01-01,,,,,", "no name"),
        ("X,clean,soon,,,,,", "soon"),
        ("X,harvested,2026-01-01,-3,,,,", "'-3' is no weight"),
        ("X,harvested,2026-01-01,nan,,,,", "'nan' is no weight"),
        ("X,harvested,2026-01-01,3,0,,,", "'0' is no weight"),
        ("X,clean,2026-01-01,,,,maybe,", "verdict 'maybe'"),
    ],
)
def test_a_wrong_line_is_told_with_its_number(tmp_path: Path, cells: str, words: str) -> None:
    path = tmp_path / "outcomes.csv"
    path.write_text(f"{','.join(OUTCOME_COLUMNS)}\n{cells}\n")
    with pytest.raises(UsageError) as caught:
        read_outcomes(path)
    assert "line 2" in str(caught.value)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        (line(day=61), "lies ahead"),
        (line(day=-60), "before jar 'F1' was started"),
        (line("clean", grams=3.0), "Only a harvest has grams"),
        (line(grams=-1.0), "--grams must lie between"),
        (line(grams=float("nan")), "--grams must lie between"),
        (line(dry_grams=0.0), "--dry-grams must lie between"),
        (line(note="a\nb"), "line break"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    tmp_path: Path, outcome: Outcome, words: str
) -> None:
    path = tmp_path / "outcomes.csv"
    with pytest.raises(UsageError) as caught:
        add(path, outcome)
    assert words in str(caught.value)
    assert not path.exists()


def test_a_line_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "outcomes.csv"
    add(path, line("clean"))
    before = path.read_bytes()

    def cut(*_: object) -> None:
        raise OSError(5, "power cut")

    monkeypatch.setattr("jarvision.base.files.os.replace", cut)
    with pytest.raises(NotWritableError):
        add(path, line(day=1, grams=4.0))
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["outcomes.csv"]


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(NotWritableError):
        add(tmp_path / "file" / "outcomes.csv", line())


@pytest.mark.parametrize("sign", "=+-@")
def test_names_and_notes_like_formulas_are_harmless_and_read_back(
    tmp_path: Path, sign: str
) -> None:
    path = tmp_path / "outcomes.csv"
    jar, note = f"{sign}F1", f"{sign}SUM(A1)"
    odd = replace(line(note=note), jar=jar)
    add_outcome(path, odd, entry=JarEntry(jar), today=TODAY)
    cells = list(csv.reader(path.read_text().splitlines()))[1]
    assert (cells[0], cells[5]) == (f"'{jar}", f"'{note}")
    assert read_outcomes(path) == (odd,)


# --------------------------------------------------------------------------- taken together
def test_flushes_add_up_to_the_biological_efficiency() -> None:
    """60 g and 30 g from 120 g of dry substrate: 75 %, by the definition."""
    whole = taken_together([line(grams=60.0, dry_grams=120.0), line(day=9, grams=30.0)])["F1"]
    assert whole.fresh_grams == 90.0
    assert whole.biological_efficiency_percent == pytest.approx(75.0)


def test_without_a_weight_there_is_no_efficiency() -> None:
    assert taken_together([line(grams=60.0)])["F1"].biological_efficiency_percent is None
    assert taken_together([line(dry_grams=60.0)])["F1"].biological_efficiency_percent is None


def test_the_last_line_of_a_day_counts_and_zero_takes_a_day_back() -> None:
    lines = [line(grams=600.0, dry_grams=10.0), line(grams=60.0), line(dry_grams=120.0, day=1)]
    assert taken_together(lines)["F1"].biological_efficiency_percent == pytest.approx(50.0)
    lines = [line(grams=60.0), line(day=1, grams=60.0), line(day=1, grams=0.0)]
    assert taken_together(lines)["F1"].flushes == ((TODAY, 60.0),)


def test_a_correction_changes_the_outcome_and_keeps_the_first_verdict() -> None:
    first = line("clean", verdict="go", verdict_date=TODAY)
    later = line("contaminated", day=6, verdict="check", verdict_date=TODAY + timedelta(days=6))
    whole = taken_together([first, later])["F1"]
    assert (whole.outcome, whole.verdict, whole.verdict_date) == ("contaminated", "go", TODAY)


def test_mould_after_the_harvest_leaves_the_jar_harvested() -> None:
    whole = taken_together([line(grams=50.0), line("contaminated", day=30)])["F1"]
    assert whole.outcome == "harvested"


def test_what_is_undone_counts_no_longer_and_its_verdict_neither(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    add(path, line("contaminated", verdict="go", verdict_date=TODAY))
    undone, left = undo_outcome(path, "F1")
    assert (undone, left) == (TODAY, None)
    assert taken_together(read_outcomes(path)) == {}
    later = TODAY + timedelta(days=9)
    found = add(path, line("clean", day=9, verdict="wait", verdict_date=later))
    assert (found.outcome, found.verdict, found.verdict_date) == ("clean", "wait", later)
    assert len(path.read_text().splitlines()) == 4  # every line is still there


def test_one_day_of_several_is_undone_and_may_be_recorded_again(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    for day, grams in ((0, 50.0), (9, 30.0)):
        add(path, line(day=day, grams=grams, dry_grams=100.0 + day))
    _, left = undo_outcome(path, "F1", TODAY)
    assert left is not None
    assert (left.fresh_grams, left.dry_grams) == (30.0, 109.0)
    again = add(path, line(grams=20.0))
    assert (again.fresh_grams, again.dry_grams) == (50.0, 109.0)


def test_what_was_never_recorded_cannot_be_undone(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.csv"
    with pytest.raises(UsageError, match="Nothing is recorded of jar 'F1'"):
        undo_outcome(path, "F1")
    assert not path.exists()
    add(path, line("clean"))
    with pytest.raises(UsageError, match="on 2026-03-11") as caught:
        undo_outcome(path, "F1", TODAY + timedelta(days=1))
    assert str(TODAY) in caught.value.remedy
    assert len(read_outcomes(path)) == 1


def test_outcomes_under_a_former_name_are_those_of_the_jar(tmp_path: Path) -> None:
    path, names = tmp_path / "outcomes.csv", {"F1": "F9"}
    add(path, line(grams=50.0))
    entry, late = replace(ENTRY, jar="F9"), TODAY + timedelta(days=60)
    more = replace(line(day=9, grams=30.0), jar="F9")
    assert add_outcome(path, more, entry=entry, today=late, names=names).fresh_grams == 80.0
    assert undo_outcome(path, "F9", TODAY, names=names)[0] == TODAY
    assert taken_together(read_outcomes(path, names=names))["F9"].fresh_grams == 30.0


def test_only_a_verdict_from_before_the_outcome_counts() -> None:
    shelf = fake_shelf()
    assert verdict_before(shelf, "J01", TODAY) == ("go", TODAY)
    assert verdict_before(shelf, "J01", TODAY + timedelta(days=3)) == ("go", TODAY)
    assert verdict_before(shelf, "J01", TODAY - timedelta(days=1)) == (None, None)
    assert verdict_before(shelf, "J99", TODAY) == (None, None)


# --------------------------------------------------------------------------- hindsight
def jar(name: str, outcome: OutcomeWord, verdict: VerdictWord | None) -> JarOutcome:
    return JarOutcome(name, outcome, TODAY, (), None, verdict, TODAY)


def test_right_and_wrong_verdicts_are_counted() -> None:
    found = look_back(
        [
            jar("a", "clean", "go"),
            jar("b", "harvested", "go"),
            jar("c", "contaminated", "go"),
            jar("d", "contaminated", "no-go"),
            jar("e", "clean", "no-go"),
            jar("f", "clean", "wait"),
            jar("g", "contaminated", "check"),
            jar("h", "clean", None),
        ]
    )
    assert (found.go.count, found.go.of, found.wrong_go) == (2, 3, ("c",))
    assert (found.no_go.count, found.no_go.of, found.wrong_no_go) == (1, 2, ("e",))
    assert (found.undecided, found.without_verdict) == (2, 1)


# Newcombe 1998, Stat. Med. 17:857-872, table I, score method without continuity correction:
# the worked examples, from memory of the paper.
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_intervals_agree_with_published_examples(
    count: int, of: int, low: float, high: float
) -> None:
    found = share(count, of)
    assert found.low_percent == pytest.approx(100 * low, abs=0.006)
    assert found.high_percent == pytest.approx(100 * high, abs=0.006)


@pytest.mark.parametrize(("count", "of"), [(1, 1), (3, 7), (40, 41), (500, 1000)])
def test_the_ends_solve_wilsons_equation(count: int, of: int) -> None:
    """Wilson 1927: the ends are the p with ``(count / of - p)^2 = z^2 p (1 - p) / of``."""
    z = 1.959963984540054  # 97.5 % point of the normal distribution
    found = share(count, of)
    for end in (found.low_percent, found.high_percent):
        assert end is not None
        p = end / 100
        assert (count / of - p) ** 2 == pytest.approx(z**2 * p * (1 - p) / of, abs=1e-9)


def test_nothing_has_no_share_and_no_interval() -> None:
    found = share(0, 0)
    assert (found.percent, found.low_percent, found.high_percent) == (None, None, None)
