"""Work that nobody waits for: in a process of its own, ended at once when somebody comes."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest
from filelock import FileLock

import jarvision
from jarvision.run.lock import LOCK_NAME, only_run
from jarvision.run.workers import SideRun


def write_who(path: Path) -> None:
    path.write_text(f"{os.getpid()} {os.nice(0)}")


def fail() -> None:
    raise SystemExit(3)


def hold_for_ever(out: Path) -> None:
    with only_run(out, tell=print):
        (out / "held").touch()
        time.sleep(3600)


WORK = """
import time
from jarvision.run.lock import only_run


def hold_for_ever(out):
    with only_run(out, tell=print):
        (out / "held").touch()
        time.sleep(3600)
"""


def wait_until_held(out: Path) -> None:
    for _ in range(1200):
        if (out / "held").exists():
            return
        time.sleep(0.05)
    raise AssertionError("the work never began")


def _with_paths(place: Path) -> dict[str, str]:
    """This environment, in which a script finds this package and a module of its own."""
    root = Path(jarvision.__file__).parents[1]
    return {**os.environ, "PYTHONPATH": os.pathsep.join((str(root), str(place)))}


def test_it_is_another_process_that_comes_after_all_others(tmp_path: Path) -> None:
    assert SideRun(partial(write_who, tmp_path / "who")).wait()
    process, nice = map(int, (tmp_path / "who").read_text().split())
    assert process != os.getpid()
    assert os.name == "nt" or nice == min(os.nice(0) + 10, 19)


def test_work_that_fails_is_not_done() -> None:
    assert not SideRun(fail).wait()


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_it_leaves_when_the_server_is_killed(tmp_path: Path) -> None:
    """Else it would hold the output folder with nobody to give way to."""
    code = (
        "import sys; from functools import partial; from pathlib import Path\n"
        "from jarvision.run.workers import SideRun; import side_work\n"
        "SideRun(partial(side_work.hold_for_ever, Path(sys.argv[1]))).wait()"
    )
    (tmp_path / "side_work.py").write_text(WORK)
    with subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], cwd=tmp_path,
                          env=_with_paths(tmp_path)) as server:  # fmt: skip
        wait_until_held(tmp_path)
        server.kill()
    with FileLock(tmp_path / LOCK_NAME, timeout=60):
        pass


@pytest.mark.skipif(os.name == "nt", reason="locks of POSIX")
def test_it_is_ended_at_once_and_lets_the_folder_go(tmp_path: Path) -> None:
    run = SideRun(partial(hold_for_ever, tmp_path))
    wait_until_held(tmp_path)
    run.end()
    told: list[str] = []
    with only_run(tmp_path, tell=told.append):
        pass
    assert told == []  # nobody had to wait
    assert not run.wait()
    run.end()  # twice does no harm
