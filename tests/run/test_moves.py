"""A photo is moved whole or not at all, to another disk too; what a killed move left is swept."""

from __future__ import annotations

import errno
import os
import shutil
import time
from pathlib import Path

import pytest

from jarvision.base.errors import NotWritableError
from jarvision.run.moves import OLD_S, move_whole, sweep_moves

NAME = "K07_2026-03-10-093012-481516234201.jpg"
FORMER = f".{NAME}.part"


def other_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have renames fail as between disks; those of a part beside its goal do not."""

    def replace(self: Path, goal: Path) -> None:
        raise OSError(errno.EXDEV, "Invalid cross-device link")

    monkeypatch.setattr(Path, "replace", replace)


@pytest.mark.parametrize("far", [False, True])
def test_a_move_keeps_content_and_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, far: bool
) -> None:
    source, goal = tmp_path / "a.jpg", tmp_path / NAME
    source.write_bytes(b"photo")
    os.utime(source, (1_700_000_000, 1_700_000_000))
    if far:
        other_disk(monkeypatch)
    move_whole(source, goal)
    assert goal.read_bytes() == b"photo" and goal.stat().st_mtime == 1_700_000_000
    assert [p.name for p in tmp_path.iterdir()] == [NAME]


def test_a_disk_that_is_full_leaves_the_photo_where_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, goal = tmp_path / "a.jpg", tmp_path / NAME
    source.write_bytes(b"photo")
    other_disk(monkeypatch)

    def fills_up(_: Path, part: Path) -> None:
        part.write_bytes(b"ph")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copy2", fills_up)
    with pytest.raises(NotWritableError, match="No space left"):
        move_whole(source, goal)
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]


def test_a_move_that_was_killed_is_swept_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, goal = tmp_path / "a.jpg", tmp_path / NAME
    source.write_bytes(b"photo")
    other_disk(monkeypatch)

    def killed(source: Path, part: Path) -> None:
        part.write_bytes(b"ph")
        raise KeyboardInterrupt

    monkeypatch.setattr(shutil, "copy2", killed)
    with pytest.raises(KeyboardInterrupt):
        move_whole(source, goal)
    assert len(list(tmp_path.iterdir())) == 2
    assert sweep_moves([tmp_path]) == []  # another server may be at it
    assert len(sweep_moves([tmp_path], now_s=time.time() + OLD_S + 5)) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]


def test_nothing_but_what_a_move_left_is_swept(tmp_path: Path) -> None:
    others = (
        NAME, ".part", ".notes.txt.part", ".K07.jpg.part", "notes.part", ".jarvision-x7.part",
        f"{FORMER}.bak", f".jarvision-move-{'g' * 16}.part",
    )  # fmt: skip
    for name in (*others, FORMER, f".jarvision-move-{'0' * 16}.part"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / ".K08_2026-03-10-093012-481516234201.jpg.part").mkdir()
    swept = sweep_moves([tmp_path, tmp_path / "nowhere"], now_s=time.time() + OLD_S + 5)
    assert sorted(swept) == sorted([FORMER, f".jarvision-move-{'0' * 16}.part"])
    assert {p.name for p in tmp_path.iterdir() if p.is_file()} == set(others)
