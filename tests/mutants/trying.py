"""Mutants against their tests, each in a child process: killed, or not noticed."""

from __future__ import annotations

import importlib.abc
import importlib.util
import os
import signal
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib.machinery import ModuleSpec
from itertools import islice
from pathlib import Path
from types import ModuleType
from typing import Literal
from uuid import uuid4

import pytest

from .making import ROOT, Mutant
from .reach import SAME_FOR_ALL, Reached, in_order

Outcome = Literal["killed", "too slow", "survived", "invalid"]
NOT_IMPORTED = 99
LEAST_S = 60.0
SLOWER = 6.0


@dataclass(frozen=True)
class Tried:
    """What became of a mutant: ``by`` is the first test that noticed it."""

    mutant: Mutant
    outcome: Outcome
    by: str
    tests: int
    seconds: float


class _Swapped(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module from other code than stands in its file."""

    def __init__(self, mutant: Mutant, code: str) -> None:
        name = mutant.module.removesuffix(".py").replace("/", ".")
        self.name, self.path, self.code = name, ROOT / mutant.module, code

    def find_spec(
        self, fullname: str, path: object = None, target: object = None
    ) -> ModuleSpec | None:
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.code, str(self.path), "exec"), module.__dict__)


class _Chosen:
    """A pytest plugin: only these tests, in this order; remembers the first that fails."""

    def __init__(self, tests: Sequence[Reached], told: Path) -> None:
        self.rank = {test.test: rank for rank, test in enumerate(tests)}
        self.told = told

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        kept = [item for item in items if item.nodeid in self.rank]
        items[:] = sorted(kept, key=lambda item: self.rank[item.nodeid])

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.told.write_text(report.nodeid, "utf-8")

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.told.write_text(report.nodeid, "utf-8")


@dataclass(frozen=True)
class Running:
    """A mutant whose tests run in a child process; ``told`` will name the first that fails.

    ``began`` and ``until`` are seconds of the monotonic clock: when it began, when it is ended.
    """

    mutant: Mutant
    child: int
    told: Path
    tests: int
    began: float
    until: float

    def ended(self) -> Tried | None:
        """What became of it; None while its tests run and have time left."""
        done, status = os.waitpid(self.child, os.WNOHANG)
        if not done and time.monotonic() < self.until:
            return None
        if not done:
            os.killpg(self.child, signal.SIGKILL)  # with all that its tests started
            os.waitpid(self.child, 0)
        outcome = _outcome(os.waitstatus_to_exitcode(status)) if done else "too slow"
        by = self.told.read_text("utf-8") if self.told.is_file() else ""
        self.told.unlink(missing_ok=True)
        seconds = round(time.monotonic() - self.began, 1)
        return Tried(self.mutant, outcome, by, self.tests, seconds)


def attempts(
    mutants: Iterable[tuple[Mutant, Sequence[Reached]]], work: Path, *, jobs: int = 1
) -> Iterator[Tried]:
    """Try mutants, each with what the tests of its room reach, so many at once; as they end."""
    left, running = iter(mutants), list[Running]()
    while True:
        for mutant, known in islice(left, jobs - len(running)):
            running.append(start(mutant, known, work))
        if not running:
            return
        time.sleep(0.05)
        for one in tuple(running):
            found = one.ended()
            if found is not None:
                running.remove(one)
                yield found


def start(mutant: Mutant, known: Sequence[Reached], work: Path) -> Running:
    """Begin to run the tests that can reach the mutant, until one fails or all have passed."""
    tests = in_order(known, mutant.module, mutant.first_line, mutant.last_line)
    if any(name.partition(".")[0] == "jarvision" for name in sys.modules):
        raise RuntimeError("the package is loaded already: no mutant would take its place")
    code, began = mutant.code(), time.monotonic()
    told = work / f"killer-{uuid4().hex}.txt"
    limit = max(LEAST_S, SLOWER * sum(test.seconds for test in tests))
    child = os.fork()
    if child == 0:
        _run(mutant, code, tests, told)
    return Running(mutant, child, told, len(tests), began, began + limit)


def _outcome(exit_code: int) -> Outcome:
    if exit_code == NOT_IMPORTED:
        return "invalid"
    quiet = (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)
    return "survived" if exit_code in quiet else "killed"


def _run(mutant: Mutant, code: str, tests: Sequence[Reached], told: Path) -> None:
    """In the child: import the mutant, run the tests, leave with their exit code."""
    exit_code = int(pytest.ExitCode.INTERNAL_ERROR)
    try:
        os.setsid()
        silent = os.open(os.devnull, os.O_RDWR)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        swapped = _Swapped(mutant, code)
        sys.meta_path.insert(0, swapped)
        try:
            importlib.import_module(swapped.name)
        except BaseException:  # noqa: BLE001 - whatever it is, no program came of this mutant
            os._exit(NOT_IMPORTED)
        files = dict.fromkeys(test.file for test in tests)
        exit_code = pytest.main([*SAME_FOR_ALL, "-x", *files], plugins=[_Chosen(tests, told)])
    finally:
        os._exit(int(exit_code))
