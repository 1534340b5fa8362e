"""``jarvision watch`` as a person starts it, copies a photo into the folder, and stops it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from fake_shelf import TODAY, fake_story
from PIL import Image

from jarvision.app.cli.watch import tell_changes
from jarvision.base.errors import ExitCode
from jarvision.records import Finding, JarStory, ShelfResult, VerdictWord

KNOWN: dict[str, VerdictWord] = {"J1": "wait", "J2": "no-go"}
LONG_AGO_S = 1_700_000_000
RUN = "from jarvision.app.cli.main import run; run()"


def arrive(path: Path) -> None:
    """Copy a photo that is whole, old enough to be sure of, and too small to be read."""
    Image.new("RGB", (64, 64)).save(path)
    os.utime(path, (LONG_AGO_S, LONG_AGO_S))


@pytest.mark.skipif(os.name == "nt", reason="sends Ctrl-C as POSIX does")
def test_a_photo_that_arrives_is_told_and_the_report_refreshed_until_ctrl_c(tmp_path: Path) -> None:
    folder = tmp_path / "photos"
    folder.mkdir()
    arrive(folder / "SL01_2026-03-01.jpg")
    options = ["--out", str(tmp_path / "out"), "--interval", "0.2", "--pause", "0", "--jobs", "1"]
    with subprocess.Popen(
        [sys.executable, "-c", RUN, "watch", str(folder), *options],
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "COLUMNS": "80"},
    ) as process:
        too_late = threading.Timer(120, process.kill)
        too_late.start()
        assert process.stderr is not None
        told = []
        for line in process.stderr:
            told.append(line)
            if line.startswith("Report refreshed"):
                if "1 not usable" in line:
                    arrive(folder / "SL01_2026-03-02.jpg")
                else:
                    process.send_signal(signal.SIGINT)
        too_late.cancel()
    text = "".join(told)
    assert process.returncode == ExitCode.STOPPED, text
    assert "0 photos used, 2 not usable" in text
    assert (tmp_path / "out" / "report.html").exists()
    assert text.count("report.html") == 1, "the way to the report is told once"


def judged(jar: str, word: VerdictWord, finding: Finding) -> JarStory:
    story = fake_story(jar, word, ())
    return replace(story, verdict=replace(story.verdict, findings=(finding,)))


WET = Finding.of("wet", "no-go", day=TODAY, area_cm2=7.0, look_cm2=0.5, out_cm2=6.0)
RESTING = Finding.of("growing_undated", "wait")


@pytest.mark.parametrize(
    ("known", "told"),
    [
        ({"J1": "no-go", "J2": "wait"}, []),
        (KNOWN, ["J1 is no-go, was wait: wet at the glass, 7.0 cm2.", "J2 is wait, was no-go: "]),
        ({}, ["J1 is no-go: wet at the glass, 7.0 cm2."]),
        ({"J1": "no-go"}, []),
    ],
    ids=["as before", "both changed", "first look", "a jar more"],
)
def test_jars_whose_verdict_has_changed_are_named(
    known: Mapping[str, VerdictWord], told: list[str]
) -> None:
    stories = (judged("J2", "wait", RESTING), judged("J1", "no-go", WET))
    found = tell_changes(known, ShelfResult("", TODAY, (), stories))
    assert len(found) == len(told)
    assert all(one.startswith(start) for one, start in zip(found, told, strict=True))
