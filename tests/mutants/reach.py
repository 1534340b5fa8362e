"""Which tests run which lines of a room, and how long each takes: measured once, by coverage."""

from __future__ import annotations

import json
import os
import re
import traceback
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import accumulate
from pathlib import Path

import coverage
import pytest

from .making import ROOMS, ROOT

FAST = "not slow and not nightly and not scenes and not browser"
LOADED_BEFORE = "ignore::pytest.PytestAssertRewriteWarning"
SAME_FOR_ALL = ["-q", "-p", "no:cacheprovider", "-m", FAST, "-rN", "-W", LOADED_BEFORE]


@dataclass(frozen=True)
class Reached:
    """One test: its name, how long it took, and the lines that it ran, a list a module."""

    test: str
    seconds: float
    lines: dict[str, list[int]]

    @property
    def file(self) -> str:
        """The file that it stands in."""
        return self.test.partition("::")[0]

    def runs(self, module: str, first: int, last: int) -> bool:
        """Say whether any of these lines was run for this test and no earlier one."""
        return any(first <= line <= last for line in self.lines.get(module, ()))


class _Watch:
    """A pytest plugin that tells coverage which test is running."""

    def __init__(self, cov: coverage.Coverage) -> None:
        self.cov = cov
        self.seconds: dict[str, float] = defaultdict(float)

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self.cov.switch_context(nodeid)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] += report.duration


def test_files(room: str) -> list[str]:
    """Test files of a room, and those elsewhere that name it."""
    own = f"tests/{ROOMS[room].removeprefix('jarvision/')}/"
    package = re.compile(rf"{re.escape(ROOMS[room].replace('/', '.'))}[ .]")
    files = {f.relative_to(ROOT).as_posix(): f for f in sorted((ROOT / "tests").rglob("test_*.py"))}
    return [
        name
        for name, file in files.items()
        if name.startswith(own) or package.search(file.read_text("utf-8"))
    ]


def measure(room: str) -> list[Reached]:
    """Run the tests of a room once; raises RuntimeError when one of them fails as things are."""
    cov = coverage.Coverage(data_file=None, source=[str(ROOT / ROOMS[room])], config_file=False)
    watch = _Watch(cov)
    cov.start()
    code = pytest.main([*SAME_FOR_ALL, *test_files(room)], plugins=[watch])
    cov.stop()
    if code != pytest.ExitCode.OK:
        raise RuntimeError(f"the tests of {room} fail without any mutant")
    return _sorted_out(cov.get_data(), watch.seconds)


def _sorted_out(data: coverage.CoverageData, seconds: dict[str, float]) -> list[Reached]:
    lines: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for file in data.measured_files():
        module = Path(file).relative_to(ROOT).as_posix()
        for line, tests in data.contexts_by_lineno(file).items():
            for test in tests:
                lines[test][module].append(line)
    return [Reached(test, took, dict(lines[test])) for test, took in seconds.items()]


def reached(rooms: Sequence[str], work: Path, *, jobs: int = 1) -> dict[str, list[Reached]]:
    """What the tests of each room run; measured so many rooms at once, and kept in ``work``.

    Each in a process of its own, so that the package is not loaded here.
    """
    kept = {room: work / f"{room}.json" for room in rooms}
    missing = [room for room, file in kept.items() if not file.is_file()]
    for some in (missing[i : i + jobs] for i in range(0, len(missing), jobs)):
        children = {room: _measured_apart(room, kept[room]) for room in some}
        codes = {r: os.waitstatus_to_exitcode(os.waitpid(c, 0)[1]) for r, c in children.items()}
        failed = [room for room, code in codes.items() if code != 0]
        if failed:
            raise RuntimeError(f"what the tests of {failed[0]} run could not be measured")
    return {
        room: [Reached(**found) for found in json.loads(file.read_text("utf-8"))]
        for room, file in kept.items()
    }


def _measured_apart(room: str, kept: Path) -> int:
    """Start a process that measures a room and writes it into a file; its id."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            told = json.dumps([asdict(found) for found in measure(room)])
            partly = kept.with_suffix(".part")
            partly.write_text(told, "utf-8")
            partly.replace(kept)
            code = 0
        except BaseException:  # noqa: BLE001 - a child must never go on as its parent
            traceback.print_exc()
        finally:
            os._exit(code)
    return child


MOST_S = 300.0
"""A mutant's tests take no longer than this, as measured: then it counts as not noticed."""


def in_order(tests: Sequence[Reached], module: str, first: int, last: int) -> list[Reached]:
    """Those that run the lines, quickest first; then the others of their files.

    What a shared fixture runs is booked to the test that came first: so the rest must have its say.
    """
    files = {test.file for test in tests if module in test.lines}
    known = [test for test in tests if test.file in files]
    known.sort(key=lambda test: (not test.runs(module, first, last), test.seconds))
    until = accumulate(test.seconds for test in known)
    return [test for test, seconds in zip(known, until, strict=True) if seconds <= MOST_S]
