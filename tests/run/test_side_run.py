"""Work that nobody waits for: in a process of its own, ended at once when somebody comes."""

from __future__ import annotations

import os
import time
from functools import partial
from pathlib import Path

import pytest

from jarvision.run.lock import only_run
from jarvision.run.workers import SideRun


def write_who(path: Path) -> None:
    path.write_text(f"{os.getpid()} {os.nice(0)}")


def fail() -> None:
    raise SystemExit(3)


def hold_for_ever(out: Path) -> None:
    with only_run(out, tell=print):
        (out / "held").touch()
        time.sleep(3600)


def test_it_is_another_process_that_comes_after_all_others(tmp_path: Path) -> None:
    assert SideRun(partial(write_who, tmp_path / "who")).wait()
    process, nice = map(int, (tmp_path / "who").read_text().split())
    assert process != os.getpid()
    assert os.name == "nt" or nice == min(os.nice(0) + 10, 19)


def test_work_that_fails_is_not_done() -> None:
    assert not SideRun(fail).wait()


@pytest.mark.skipif(os.name == "nt", reason="locks of POSIX")
def test_it_is_ended_at_once_and_lets_the_folder_go(tmp_path: Path) -> None:
    run = SideRun(partial(hold_for_ever, tmp_path))
    for _ in range(600):
        if (tmp_path / "held").exists():
            break
        time.sleep(0.05)
    run.end()
    told: list[str] = []
    with only_run(tmp_path, tell=told.append):
        pass
    assert told == []  # nobody had to wait
    assert not run.wait()
    run.end()  # twice does no harm
