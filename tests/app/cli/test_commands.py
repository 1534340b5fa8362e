"""The command line: exit codes, streams, and one sentence instead of a traceback."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_reading, fake_refusal, fake_shelf, fake_story
from scoring import fake_reader
from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.app.cli.console import stdout
from jarvision.app.cli.document import result_document
from jarvision.app.cli.summary import print_summary
from jarvision.base.errors import ExitCode
from jarvision.base.version import __version__
from jarvision.records import Finding, Reading, TrackedPatch
from jarvision.register.photo_names import read_name
from jarvision.run import jobs

PRELUDE = "from jarvision.app.cli.main import run; import sys"


def jarvision(*args: str, before: str = "pass", **env: str) -> subprocess.CompletedProcess[str]:
    """Run the command as the shell does."""
    return subprocess.run(
        [sys.executable, "-c", f"{PRELUDE}; {before}; run()", *args],
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "80", **env},
        timeout=60,
        check=False,
    )


@pytest.fixture
def photos(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of three photos whose reading is faked; the third one is blurred."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for name in ("J1_2026-03-01.jpg", "J1_2026-03-02.jpg", "J2_2026-03-02.jpg"):
        (folder / name).write_bytes(b"x")

    def read(job: jobs.Job) -> Reading:
        parts = read_name(job.name)
        assert parts.day is not None
        if parts.jar == "J2":
            return fake_refusal(job.name, "J2", "blurred", parts.day)
        return fake_reading(parts.jar, parts.day, 40.0 + parts.day.day)

    fake_reader(monkeypatch, read)
    return folder


def score(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main.app, ["score", *args, "--jobs", "1"])
    return result.exit_code, result.stdout, result.stderr


def test_scoring_writes_every_file_and_tells_where(photos: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    code, text, talk = score(str(photos), "--out", str(out))
    assert code == ExitCode.DONE
    names = {p.name for p in out.iterdir()}
    tables = {"readings.csv", "days.csv", "patches.csv", "verdicts.csv", "flags.csv"}
    assert tables | {"report.html", "curves", "plan.csv", "plan.ics"} <= names
    assert "J1" in text and "J2" in text
    assert str(out / "report.html") in talk.replace("\n", "")
    assert "not sharp" in talk


def test_strict_leaves_with_four_only_when_a_photo_was_unusable(
    photos: Path, tmp_path: Path
) -> None:
    args = (str(photos), "--out", str(tmp_path / "out"), "--strict", "--quiet")
    assert score(*args)[0] == ExitCode.SOME_UNUSABLE
    (photos / "J2_2026-03-02.jpg").unlink()
    code, _, talk = score(*args)
    assert (code, talk) == (ExitCode.DONE, "")


def test_json_is_all_that_is_on_stdout(photos: Path, tmp_path: Path) -> None:
    code, text, _ = score(str(photos), "--out", str(tmp_path / "out"), "--json")
    document = json.loads(text)
    assert code == 0
    assert document["scored_on"] == "2026-03-02"
    assert [photo["status"] for photo in document["photos"]] == ["ok", "ok", "unusable"]
    assert {jar["jar"] for jar in document["jars"]} == {"J1", "J2"}


def test_today_can_be_given(photos: Path, tmp_path: Path) -> None:
    args = (str(photos), "--out", str(tmp_path / "out"), "--json", "--today")
    assert json.loads(score(*args, "2026-04-01")[1])["scored_on"] == "2026-04-01"


def test_json_holds_every_jar_whatever_its_name() -> None:
    story = fake_story('"\udcff<script>', "check", ("r",))
    document = json.loads(json.dumps(result_document(fake_shelf(story))))
    assert len(document["jars"]) == 6
    assert document["jars"][0]["verdict"] == "no-go"


def test_json_holds_findings_as_data_and_the_first_day_of_each_area() -> None:
    seen = TrackedPatch("bare-1", "bare", 3.0, 5.0, 40.0, "still", first_day=date(2026, 3, 4))
    finding = Finding.of(
        "dead_patch",
        "no-go",
        day=date(2026, 3, 9),
        seen_on=date(2026, 3, 9),
        patch="bare-1",
        area_cm2=3.0,
        angle_deg=5.0,
        height_mm=40.0,
        days=4,
        rest_percent=math.nan,
    )
    story = fake_story("J9", "no-go", (finding,), patch=seen)
    (jar,) = json.loads(json.dumps(result_document(replace(fake_shelf(), stories=(story,)))))[
        "jars"
    ]
    assert jar["patches"][0]["first_day"] == "2026-03-04"
    (found,) = jar["findings"]
    assert (found["finding"], found["flag"], found["date"]) == (
        "dead_patch",
        "dead_patch",
        "2026-03-09",
    )
    assert found["facts"]["area_cm2"] == 3.0
    assert found["facts"]["seen_on"] == "2026-03-09"
    assert found["facts"]["rest_percent"] is None


def test_the_table_fits_eighty_columns(capsys: pytest.CaptureFixture[str]) -> None:
    long = fake_story("x" * 90, "check", ("a long reason " * 20,), species="y" * 90)
    print_summary(stdout(), fake_shelf(long))
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert "1 no-go, 2 check, 1 go, 2 wait" in lines


def test_a_big_shelf_still_fits_a_screen(capsys: pytest.CaptureFixture[str]) -> None:
    many = tuple(fake_story(f"K{n}", "wait", ("r",)) for n in range(100))
    print_summary(stdout(), replace(fake_shelf(), stories=many))
    assert len(capsys.readouterr().out.splitlines()) < 50


def test_markup_and_control_characters_in_names_stay_text(
    capsys: pytest.CaptureFixture[str],
) -> None:
    odd = fake_story("[bold]\x1b[31mJ", "check", ("[/] :smile:",))
    print_summary(stdout(), replace(fake_shelf(), stories=(odd,)))
    text = capsys.readouterr().out
    assert "\x1b" not in text
    assert "[bold]" in text and ":smile:" in text


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (("score",), ExitCode.BAD_USAGE),
        (("fly",), ExitCode.BAD_USAGE),
        (("score", "{gone}", "--out", "{out}"), ExitCode.BAD_USAGE),
        (("score", "{empty}", "--out", "{out}"), ExitCode.NOTHING_TO_SCORE),
        (("score", "{full}", "--out", "{file}/out"), ExitCode.NOT_WRITABLE),
        (("score", "{full}", "--out", "{full}"), ExitCode.BAD_USAGE),
        (("tags", "--out", "{out}", "--first", "9", "--last", "3"), ExitCode.BAD_USAGE),
    ],
)
def test_each_failure_has_its_code_and_no_traceback(
    tmp_path: Path, args: tuple[str, ...], code: int
) -> None:
    places = {name: tmp_path / name for name in ("gone", "empty", "full", "out", "file")}
    places["empty"].mkdir()
    places["full"].mkdir()
    (places["full"] / "a.jpg").write_bytes(b"x")
    places["file"].write_text("x")
    done = jarvision(*(arg.format(**places) for arg in args))
    assert done.returncode == code
    assert done.stdout == ""
    assert done.stderr
    assert "Traceback" not in done.stderr


def test_a_stopped_run_leaves_with_130() -> None:
    stop = "import jarvision.app.cli.card as c; import signal, os"
    fake = "d.draw_card = lambda out: os.kill(os.getpid(), signal.SIGINT)"
    before = f"{stop}; import jarvision.vision.card.draw as d; {fake}"
    done = jarvision("card", "--out", "x", before=before)
    assert done.returncode == ExitCode.STOPPED
    assert "Stopped" in done.stderr


def test_missing_system_libraries_are_named() -> None:
    text = "libGL.so.1: cannot open shared object file: No such file or directory"
    before = (
        "import builtins; real = builtins.__import__; "
        f"fail = lambda: (_ for _ in ()).throw(ImportError({text!r})); "
        "builtins.__import__ = lambda n, *a, **k: fail() if n == 'cv2' else real(n, *a, **k)"
    )
    done = jarvision("score", ".", "--out", "x", before=before)
    assert done.returncode == ExitCode.UNEXPECTED
    assert "libgl1 libglib2.0-0" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_unexpected_is_one_sentence_and_a_traceback_on_request() -> None:
    before = "import jarvision.vision.card.draw as d; d.draw_card = lambda out: 1 / 0"
    done = jarvision("card", "--out", "x", before=before)
    assert done.returncode == ExitCode.UNEXPECTED
    assert "ZeroDivisionError" in done.stderr and "Traceback" not in done.stderr
    assert "Traceback" in jarvision("card", "--out", "x", before=before, JARVISION_DEBUG="1").stderr


def test_version_and_examples_are_told() -> None:
    assert jarvision("--version").stdout == f"jarvision {__version__}\n"
    for command in ("score", "card", "tags"):
        assert f"jarvision {command}" in jarvision(command, "--help").stdout
    assert "Example: jarvision" in jarvision("--help").stdout


def test_card_and_tags_name_the_files_they_wrote(tmp_path: Path) -> None:
    for args in (("card", "--out"), ("tags", "--last", "4", "--out")):
        done = jarvision(*args, str(tmp_path / args[0]))
        assert done.returncode == 0, done.stderr
        assert all(Path(line).is_file() for line in done.stdout.splitlines())
        assert len(done.stdout.splitlines()) >= 2


def test_help_does_not_load_heavy_libraries() -> None:
    before = (
        "import atexit; heavy = {'cv2', 'pandas', 'scipy', 'matplotlib', 'skimage', 'PIL'}; "
        "atexit.register(lambda: print(sorted(heavy & set(sys.modules)), file=sys.stderr))"
    )
    assert jarvision("--help", before=before).stderr == "[]\n"


def test_pipes_and_no_color_hold_no_escape_codes(photos: Path, tmp_path: Path) -> None:
    _, text, talk = score(str(photos), "--out", str(tmp_path / "out"))
    assert "\x1b" not in text + talk
