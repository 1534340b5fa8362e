"""Processes side by side: what ends badly is told, what runs on is ended."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from . import side_by_side
from .side_by_side import Work, module, run


def test_what_ends_badly_is_told_and_what_runs_on_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = (sys.executable, "-c", "import os, sys; sys.exit(os.environ['CUDA_VISIBLE_DEVICES'])")
    both = [Work("bad", said, card=1), Work("long", ("sleep", "600"))]
    started: list[subprocess.Popen[bytes]] = []

    def start(work: Work, logs: Path) -> subprocess.Popen[bytes]:
        started.append(plain(work, logs))
        return started[-1]

    plain = side_by_side.start
    monkeypatch.setattr(side_by_side, "start", start)
    monkeypatch.setattr(side_by_side, "LAST_SAVE_S", 0.0)
    assert run(both, until=time.time() + 2.0, logs=tmp_path) == 1
    assert "bad ended with 1: see its log" in capsys.readouterr().out
    assert (tmp_path / "bad.log").read_text().strip() == "1"
    assert started[1].wait(timeout=20) != 0


def test_all_that_end_well_end_the_run_before_its_time(tmp_path: Path) -> None:
    one = Work("one", (*module("timeit", "-n1", "-r1"), "pass"))
    began = time.time()
    assert run([one], until=began + 600.0, logs=tmp_path) == 0
    assert time.time() - began < 300.0
    assert "loop" in (tmp_path / "one.log").read_text()
