"""The card of the surface network is about the network that is here."""

import hashlib
import tomllib
from importlib.resources import files

HERE = files("jarvision.vision.surface")
CARD = tomllib.loads((HERE / "card.toml").read_text("utf-8"))


def test_the_card_names_the_very_file():
    told = CARD["surface"]
    assert hashlib.sha256((HERE / told["file"]).read_bytes()).hexdigest() == told["sha256"]


def test_the_card_says_from_what_under_which_licence_and_what_for_not():
    assert all(source["licence"] for source in CARD["data"])
    assert "deciding whether anything is safe to eat" in CARD["limits"]["not_for"]
