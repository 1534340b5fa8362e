"""What jars have in common by what the grower wrote down of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from jarvision.records import JarEntry

RYE = JarEntry("A", substrate="rye", started=date(2026, 3, 1))


def test_contents_are_the_same_in_capitals_or_not() -> None:
    other = replace(RYE, jar="B", substrate="Rye", species="oyster")
    assert other.contents == RYE.contents
    assert other.filling == RYE.filling


@pytest.mark.parametrize(
    "other", [{"substrate": "oats"}, {"kind": "fruiting"}, {"started": date(2026, 3, 2)}]
)
def test_another_kind_substrate_or_day_is_another_filling(other: dict[str, Any]) -> None:
    assert replace(RYE, **other).filling != RYE.filling
