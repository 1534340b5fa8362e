"""The card of the networks is about the networks that are here."""

from __future__ import annotations

import hashlib
import tomllib
from importlib.resources import files
from typing import get_args

import pytest

from jarvision.vision.tissue.network import Expert

TISSUE = files("jarvision.vision.tissue")
CARD = tomllib.loads((TISSUE / "card.toml").read_text("utf-8"))


@pytest.mark.parametrize("expert", get_args(Expert))
def test_the_card_names_the_very_file(expert: str) -> None:
    told = CARD[expert]
    assert hashlib.sha256((TISSUE / told["file"]).read_bytes()).hexdigest() == told["sha256"]


def test_the_card_says_from_what_under_which_licence_and_what_for_not() -> None:
    assert all(source["licence"] for source in CARD["data"])
    assert "deciding whether anything is safe to eat" in CARD["limits"]["not_for"]
