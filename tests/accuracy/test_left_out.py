"""The table of families left out: who speaks for whom, and how jars are sorted."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from jarvision.records import Coverage
from jarvision.vision.tissue import network
from tests.training.contents_layers import FAMILIES

from .figures import Answer
from .left_out import Judged, family_of, in_place_of_others, table

TISSUE = Path(network.__file__).parent
FEW = np.zeros((13, 32, 32), np.float32)
BARE = Answer("R1", "healthy", 40.0, 40.0)


def read_as(percent: float, *, half_width: float) -> Answer:
    low, high = percent - half_width, percent + half_width
    coverage = Coverage(percent, low, high, soft_percent=percent, seen_percent=100.0)
    return replace(BARE, coverage=coverage)


def test_the_net_without_a_family_speaks_for_all_but_the_specialist() -> None:
    before = {name: network.run_network(name, FEW[: 7 if name == "specialist" else 13])
              for name in ("specialist", "generalist", "naturalist")}  # fmt: skip
    with in_place_of_others(TISSUE / "naturalist.onnx"):
        during = network.run_network("generalist", FEW)
        specialist = network.run_network("specialist", FEW[:7])
    np.testing.assert_array_equal(during, before["naturalist"])
    np.testing.assert_array_equal(specialist, before["specialist"])
    after = network.run_network("generalist", FEW)
    np.testing.assert_array_equal(after, before["generalist"])
    assert np.abs(during - after).max() > 0.1


@pytest.mark.parametrize(("words", "expected"), [("textures", 5), (FAMILIES[2], 2)])
def test_the_family_is_what_the_jar_is_packed_with(
    words: str, expected: int, tmp_path: Path
) -> None:
    (tmp_path / "R1.json").write_text(json.dumps({"substrate": words}))
    assert family_of(tmp_path / "R1.jpg") == expected


def test_the_table_has_a_line_for_each_family_and_says_what_was_read() -> None:
    judged = [
        Judged(0, True, read_as(42.0, half_width=1.0), read_as(50.0, half_width=30.0)),
        Judged(0, True, read_as(41.0, half_width=2.0), replace(BARE, reason="blurred")),
        Judged(3, False, read_as(40.0, half_width=1.0), read_as(30.0, half_width=10.0)),
    ]
    seen = table(judged, never_seen=False).splitlines()
    never = table(judged, never_seen=True).splitlines()
    assert len(seen) == len(never) == 2 + 2 * (1 + len(FAMILIES))
    assert (
        seen[3]
        == f"| {FAMILIES[0]}, as jars are | 2 of 2 | 1.5 | 1.5 | 1.9 | 50 % | 3.0 | 1.5 on 2 |"
    )
    assert (
        never[3]
        == f"| {FAMILIES[0]}, as jars are | 1 of 2 | 10.0 | 10.0 | 10.0 | 100 % | 60.0 | – |"
    )
    assert "0 of 0" in never[4] and never[13].split(" | ")[2] == "10.0"
