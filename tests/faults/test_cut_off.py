"""Runs that are killed, stopped or out of space lose nothing, and the next run heals."""

from __future__ import annotations

import csv
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from paced import ASKED, GATE, PACE_S, PATIENCE_S, UNGATED, files_of, fill

from jarvision.base.errors import ExitCode
from jarvision.run.photo_files import STORE_NAME

ROOT = Path(__file__).parents[2]
PATHS = [str(ROOT / part) for part in (".", "tests/support", "tests/faults")]
FAKE = "import jarvision.run.score as b; from paced import paced; b.read_one = paced"
RUN = "from jarvision.app.cli.main import run; run()"
JOBS = 2

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")


class Shed:
    """A folder of made-up photos, an output folder, and the command run on them."""

    def __init__(self, root: Path, *, jars: int = 4, days: int = 8) -> None:
        self.root, self.photos, self.out = root, root / "photos", root / "out"
        self.log = root / "asked.log"
        self.log.touch()
        self.gate = root / "gate"
        self.names = fill(self.photos, jars, days)

    def start(
        self,
        *,
        out: Path | None = None,
        before: str = "pass",
        pace_s: float = 0.05,
        measured: bool = True,
        gated: bool = False,
        jobs: int = JOBS,
    ) -> subprocess.Popen[str]:
        env = {**os.environ, "PYTHONPATH": os.pathsep.join(PATHS), ASKED: str(self.log)}
        if gated:
            env[GATE] = str(self.gate)
        if not measured:
            env.pop("COVERAGE_PROCESS_CONFIG", None)  # it would write files of its own
        return subprocess.Popen(
            [
                *(sys.executable, "-c", f"{FAKE}; {before}; {RUN}"),
                *("score", str(self.photos), "--out", str(out or self.out), "--jobs", str(jobs)),
            ],
            env={**env, PACE_S: str(pace_s)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def run(self, **more: object) -> tuple[int, str]:
        """Run to its end: exit code and talk."""
        process = self.start(**more)  # type: ignore[arg-type]
        _, talk = process.communicate(timeout=PATIENCE_S)
        assert "Traceback" not in talk
        return process.returncode, talk

    def heal(self, out: Path | None = None) -> None:
        """Run once more to the end, as fast as can be: nobody is killed, so one process will do."""
        code, talk = self.run(out=out, pace_s=0, jobs=1)
        assert code == 0, talk

    def asked(self) -> int:
        return len(self.log.read_text("utf-8").splitlines())

    def wait_until_asked(self, count: int) -> None:
        end = time.monotonic() + PATIENCE_S
        while self.asked() < count:
            assert time.monotonic() < end, "the run does not read"
            time.sleep(0.01)

    def kept(self) -> int:
        """Count the rows of the store, read as a copy so that nothing is repaired by looking."""
        copy = self.root / "copy"
        copy.mkdir(exist_ok=True)
        for name in (STORE_NAME, f"{STORE_NAME}-wal"):
            target = copy / name
            target.unlink(missing_ok=True)
            if (self.out / name).exists():
                target.write_bytes((self.out / name).read_bytes())
        if not (copy / STORE_NAME).exists():
            return 0
        db = sqlite3.connect(copy / STORE_NAME)
        try:
            assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            there = db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'readings'")
            if not there.fetchone()[0]:
                return 0
            return int(db.execute("SELECT count(*) FROM readings").fetchone()[0])
        finally:
            db.close()

    def check_whole(self) -> None:
        """Every file that has its name is whole."""
        for path in self.out.glob("*.csv"):
            with path.open(encoding="utf-8", newline="") as file:
                rows = list(csv.reader(file))
            assert rows and {len(row) for row in rows} == {len(rows[0])}
        for path in self.out.glob("report.html"):
            assert path.read_text("utf-8").rstrip().endswith("</html>")
        for path in (self.out / "overlays").glob("[!.]*"):
            lines = path.read_text("utf-8").splitlines()
            assert len(lines) == 200 and len(set(lines)) == 1
        for path in (self.out / "curves").glob("[!.]*"):
            assert path.read_text("utf-8").rstrip().endswith("</svg>")


@pytest.fixture
def shed(tmp_path: Path) -> Shed:
    return Shed(tmp_path)


def left_over(log: Path) -> list[int]:
    """Processes that still carry this shed's mark in their environment (Linux)."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            if str(log).encode() in (place / "environ").read_bytes():
                found.append(int(place.name))
        except OSError:
            continue
    return found


@pytest.mark.parametrize(
    "kills", [3, pytest.param(50, marks=pytest.mark.slow)], ids=["a few", "many"]
)
def test_a_run_killed_at_any_moment_loses_no_photo_and_no_file(shed: Shed, kills: int) -> None:
    """SIGKILL cannot be caught: what counts is what is on the disk at that moment."""
    dice = random.Random(7)
    shed.heal(shed.root / "reference")
    before, kept = shed.asked(), 0
    for number in range(kills):
        process = shed.start(pace_s=0.05 if number % 3 else 0.3)
        if number % 2:
            shed.wait_until_asked(min(before + len(shed.names), shed.asked() + 1))
            time.sleep(dice.uniform(0, 0.4))
        else:
            time.sleep(dice.uniform(0, 4))
        process.kill()
        process.communicate()
        shed.check_whole()
        now = shed.kept()
        assert now >= kept
        kept = now
        if kept == len(shed.names):  # all read: let the later kills meet reading, too
            before, kept = shed.asked(), 0
            (shed.out / STORE_NAME).unlink()
    _assert_no_process_is_left(shed)
    start = shed.asked()
    shed.heal()
    assert shed.asked() - start == len(shed.names) - kept
    assert files_of(shed.out) == files_of(shed.root / "reference")


def _assert_no_process_is_left(shed: Shed) -> None:
    if not Path("/proc/self/environ").exists():
        return
    end = time.monotonic() + PATIENCE_S
    while left := left_over(shed.log):
        assert time.monotonic() < end, f"workers outlive their run: {left}"
        time.sleep(0.1)


@pytest.mark.parametrize("signal_number", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_run_says_what_is_kept_and_the_next_goes_on(
    shed: Shed, signal_number: int
) -> None:
    process = shed.start(pace_s=0, gated=True)
    shed.wait_until_asked(UNGATED + JOBS)
    if signal_number == signal.SIGINT:
        os.killpg(process.pid, signal_number)  # a terminal sends Ctrl-C to all of them
    else:
        process.send_signal(signal_number)
    shed.gate.touch()  # the signal is there before any photo at the gate is read
    _, talk = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == ExitCode.STOPPED
    assert "Traceback" not in talk
    assert "Stopped" in talk and "kept" in talk and str(shed.out) in talk.replace("\n", "")
    kept, before = shed.kept(), shed.asked()
    assert kept == UNGATED
    shed.heal()
    assert shed.asked() - before == len(shed.names) - kept
    _assert_no_process_is_left(shed)


@pytest.mark.parametrize("limit", [3_000, 30_000, pytest.param(60_000, marks=pytest.mark.slow)])
def test_a_full_disk_is_one_sentence_and_heals(shed: Shed, limit: int) -> None:
    """A limit on the size of files fails writes as a full disk does."""
    shed.heal(shed.root / "reference")
    limited = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))"
    code, talk = shed.run(before=limited, pace_s=0, measured=False)
    assert code == ExitCode.NOT_WRITABLE, talk
    assert "cannot be written" in talk and "free some space" in talk.lower()
    shed.check_whole()
    shed.heal()
    assert files_of(shed.out) == files_of(shed.root / "reference")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system in memory of 200 kB."""
    place = tmp_path / "disk"
    place.mkdir()
    done = (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(place)],
            capture_output=True,
            check=False,
        )
        if sys.platform == "linux"
        else None
    )
    if done is None or done.returncode:
        pytest.skip("may not mount a file system")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_fills_up_is_one_sentence_and_heals(shed: Shed, small_disk: Path) -> None:
    shed.out = small_disk / "out"
    code, talk = shed.run(pace_s=0)
    assert code == ExitCode.NOT_WRITABLE, talk
    shed.check_whole()
    kept, before = shed.kept(), shed.asked()
    subprocess.run(["mount", "-o", "remount,size=50m", str(small_disk)], check=True)
    shed.heal()
    assert kept > 0
    assert shed.asked() - before == len(shed.names) - kept


def test_two_runs_at_once_wait_for_each_other(shed: Shed) -> None:
    first = shed.start(pace_s=0, gated=True)
    shed.wait_until_asked(2)
    second = shed.start(pace_s=0)
    assert second.stderr is not None
    assert "waiting until it ends" in second.stderr.readline()
    shed.gate.touch()
    second.communicate(timeout=PATIENCE_S)
    assert second.returncode == 0
    assert first.wait(timeout=PATIENCE_S) == 0
    first.communicate()
    assert shed.asked() == len(shed.names)
    shed.check_whole()
