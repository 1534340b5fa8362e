"""Score a folder with a reader of the test's own: the shelf is opened as every command opens it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from jarvision.records import ShelfResult
from jarvision.run.jobs import PhotoReader
from jarvision.run.score import read_shelf, score_shelf
from jarvision.run.shelf import Shelf, open_shelf
from jarvision.run.sources import PhotoFolder
from jarvision.run.workers import local_fleet


def score_folder(folder: Path | PhotoFolder, **given: Any) -> ShelfResult:
    """Score; ``given`` holds what the shelf takes, and what the scoring does."""
    return score_shelf(_shelf(folder, given), **given)


def read_folder(folder: Path | PhotoFolder, **given: Any) -> None:
    """Read what is new; tell no story."""
    read_shelf(_shelf(folder, given), **given)


def fake_reader(monkeypatch: pytest.MonkeyPatch, read: PhotoReader) -> None:
    """Have commands read with a test's own reader, in this process: it may be a closure."""
    here = local_fleet(1)
    monkeypatch.setattr("jarvision.run.score.read_one", read)
    monkeypatch.setattr("jarvision.run.workers.local_fleet", lambda workers, *, apart=False: here)


def _shelf(folder: Path | PhotoFolder, given: dict[str, Any]) -> Shelf:
    register, settings = (given.pop(name, None) for name in ("register", "settings"))
    if isinstance(folder, Path):
        return open_shelf(folder, register=register, settings=settings)
    given["source"] = folder
    return open_shelf(folder.root, register=register, settings=settings)
