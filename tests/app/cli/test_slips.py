"""What is said of a slip on the command line: our own words, and what to write instead."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date

import pytest

from jarvision.app.cli.values import a_count, a_day, a_number
from jarvision.base.errors import ExitCode, UsageError

RUN = "from jarvision.app.cli.main import run; run()"
FOREIGN = ("Input should", "Value error", "Invalid value", "Usage:", "Error:", "Traceback")


def jarvision(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", RUN, *args], capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.parametrize(
    ("args", "words", "example"),
    [
        (("plan", "--today", "soon"), "--today: 'soon' is not a date.", "--today 2026-03-09"),
        (("score", "x", "--out", "y", "--today", "2/3/2026"), "either of two days", "2026-03-09"),
        (("outcome", "J1", "clean", "--date", "31.2.2026"), "--date: '31.2.2026'", "2026-03-09"),
        (("score", "x", "--out", "y", "--jobs", "two"), "--jobs: 'two' is no number", "--jobs 2"),
        (("score", "x", "--out", "y", "--jobs", "1.5"), "1.5 is no whole number", "--jobs 2"),
        (("tags", "--out", "t", "--first", "-1"), "--first: -1 is not between", "--first 1"),
        (("plan", "--days", "500"), "500 is not between 1 and 120", "--days 14"),
        (("watch", "x", "--out", "y", "--pause", "x"), "--pause: 'x' is no number", "--pause 30"),
        (("calibrate", "c.jpg", "--out", "x", "--bar-mm", "nan"), "is no number", "--bar-mm 99.5"),
        (("score", "x"), "--out is missing.", "Example: jarvision score photos --out report"),
        (("score",), " is missing.", "Example: jarvision score photos --out report"),
        (("score", "x", "--out"), "--out needs a value.", "Example: jarvision score photos"),
        (("score", "x", "--outt", "y"), "Did you mean --out", "Example: jarvision score photos"),
        (("score", "x", "y", "--out", "z"), "asked for: y.", "Example: jarvision score photos"),
        (("jars", "ad"), "There is no command 'ad'. Did you mean 'add'?", "See jarvision --help"),
        (("completion", "x"), "'x' is not one of 'bash'", "Example: jarvision completion bash"),
    ],
)
def test_each_slip_is_told_in_our_words_with_an_example(
    args: tuple[str, ...], words: str, example: str
) -> None:
    done = jarvision(*args)
    assert (done.returncode, done.stdout) == (ExitCode.BAD_USAGE, "")
    first, second = done.stderr.splitlines()
    assert words in first
    assert example in second
    assert not any(word in done.stderr for word in FOREIGN)


def test_nothing_at_all_is_answered_with_help() -> None:
    done = jarvision()
    assert done.returncode == ExitCode.BAD_USAGE
    assert "Example: jarvision score" in done.stdout + done.stderr


@pytest.mark.parametrize("text", ["84,5", "84.5", " 84.5 "])
def test_a_decimal_comma_is_a_decimal_point(text: str) -> None:
    assert a_number("--grams", example="1", least=0, most=100)(text) == 84.5


def test_days_are_read_in_any_writing_that_is_certain() -> None:
    read = a_day("--today")
    assert {read(t) for t in ("2026-03-09", "9.3.2026", "20260309")} == {date(2026, 3, 9)}
    with pytest.raises(UsageError):
        read("09/03/2026")


def test_a_count_is_whole_and_within_its_range() -> None:
    read = a_count("--days", example="14", least=1, most=120)
    assert (read("1"), read("120")) == (1, 120)
    for text in ("0", "121", "2,5", "", "inf"):
        with pytest.raises(UsageError):
            read(text)


def test_a_reader_that_had_enough_is_no_unexpected_failure() -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    done = subprocess.run(
        [sys.executable, "-c", RUN, "settings"],
        stdout=write_end,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        check=False,
    )
    os.close(write_end)
    assert done.returncode == ExitCode.PIPE_CLOSED
    assert "unexpected" not in done.stderr
    assert "BrokenPipe" not in done.stderr
