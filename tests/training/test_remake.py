"""What trains the networks anew: which process does which share, on which card."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import pytest

from . import remake_surfaces as surfaces
from .remake import PARTS, Place, works
from .side_by_side import Work


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


def test_tops_are_shared_out_and_one_card_learns_from_them(tmp_path: Path) -> None:
    place = surfaces.Place(tmp_path, 1_200_000, 0.0, 8, 1, "cuda_ad_spectral")
    found = {work.name: work for work in surfaces.works(place)}
    shards = [after(found[f"photos_{core}"], "--shard") for core in range(8)]
    assert shards == [f"{core}/8" for core in range(8)]
    assert all("--practice" in found[f"photos_{core}"].command for core in range(8))
    assert found["learning"].card == 1
    assert {"painted", "surfaces", "learning"} < set(found)
