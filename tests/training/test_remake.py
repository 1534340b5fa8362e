"""All processes of a training side by side: their shares, their cards, how they end."""

from __future__ import annotations

import subprocess
import sys
import time
from collections import defaultdict
from pathlib import Path

import pytest

from . import remake
from .remake import PARTS, Place, Work, run, works


def place(out: Path, *, cores: int = 32, cards: int = 2, until: float = 0.0) -> Place:
    return Place(
        out, out / "textures.npz", out, 20_000, until, cores, cards, "llvm_ad_spectral", 4000
    )


def after(work: Work, option: str) -> str:
    return work.command[work.command.index(option) + 1]


@pytest.mark.parametrize("cores", [2, 16, 32])
def test_every_core_renders_and_the_shares_of_a_set_are_whole(cores: int, tmp_path: Path) -> None:
    found = list(works(place(tmp_path, cores=cores), ["photos"]))
    assert [after(work, "--core") for work in found] == [str(core) for core in range(cores)]
    shares = defaultdict(list)
    for work in found:
        drawn = "tests.training.rendered_jars" in work.command
        shares["drawn" if drawn else work.command[4]].append(after(work, "--shard"))
    assert len(shares["drawn"]) > cores / 2
    for shards in shares.values():
        assert shards == [f"{number}/{len(shards)}" for number in range(len(shards))]


def test_the_nets_without_a_family_have_a_card_to_themselves_if_there_are_two(
    tmp_path: Path,
) -> None:
    for cards, expected in ((0, [None, None]), (1, [0, 0]), (2, [0, 1])):
        found = works(place(tmp_path, cards=cards), ["kept", "without"])
        assert [work.card for work in found] == expected


def test_each_family_is_left_out_by_one_net(tmp_path: Path) -> None:
    pytest.importorskip("torch")
    from .train_contents import planned

    list(works(place(tmp_path), PARTS))
    assert [net.left_out for net in planned(tmp_path / "without.json")] == [
        (family,) for family in range(6)
    ]
    assert [net.left_out for net in planned(tmp_path / "kept.json")] == [(), ()]


def test_what_ends_badly_is_told_and_what_runs_on_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = (sys.executable, "-c", "import os, sys; sys.exit(os.environ['CUDA_VISIBLE_DEVICES'])")
    both = [Work("bad", said, card=1), Work("long", ("sleep", "600"))]
    started: list[subprocess.Popen[bytes]] = []

    def start(work: Work, logs: Path) -> subprocess.Popen[bytes]:
        started.append(plain(work, logs))
        return started[-1]

    plain = remake.start
    monkeypatch.setattr(remake, "start", start)
    monkeypatch.setattr(remake, "works", lambda *_: both)
    monkeypatch.setattr(remake, "LAST_SAVE_S", 0.0)
    assert run(place(tmp_path, until=time.time() + 2.0), PARTS) == 1
    assert "bad ended with 1: see its log" in capsys.readouterr().out
    assert (tmp_path / "logs" / "bad.log").read_text().strip() == "1"
    assert started[1].wait(timeout=20) != 0
