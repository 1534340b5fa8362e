"""Uploads as nobody should send them: nothing lost, nothing twice, nothing outside the folder."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from urllib.parse import quote

import pytest

from jarvision.app.serve.limits import Bucket

from .conftest import Served, everything_under, photo, sha_of


def fuzzed(chance: random.Random) -> tuple[bytes, str, dict[str, str | None]]:
    """An upload as nobody should send it."""
    junk = chance.randbytes(chance.randrange(0, 300))
    content = chance.choice([photo(f"{chance.randrange(100)} tag {chance.randrange(5)}"), junk,
                             photo("") + junk, photo("torn"), b""])  # fmt: skip
    letters = "Kk012345/\\.%<>&=\x7f\u202eé\u0000 _-;\"'"
    word = "".join(chance.choice(letters) for _ in range(chance.randrange(0, 40)))
    plain, jar = word.replace("\x00", ""), f"jar=K0{chance.randrange(1, 4)}"
    odd = f"view={quote(word)}&taken={quote(word)}"
    asked = chance.choice([f"jar={quote(word)}", jar, "", plain, odd])
    headers: dict[str, str | None] = {}
    if chance.random() < 0.2:
        headers["content-length"] = chance.choice(["0", "9" * 20, "1", "x", None])
    if chance.random() < 0.1:
        headers["x-csrf"] = chance.choice(["", "a", None])
    return content, asked, headers


def fuzz(served: Served, rounds: int, caplog: pytest.LogCaptureFixture) -> None:
    chance = random.Random(20)
    served.office.uploads = Bucket(1e9, 1.0)
    served.browser.site.asked = Bucket(1e9, 1.0)
    # what is asked here is no question of time: a busy machine must not be taken for a slow phone
    served.office.limits = replace(served.office.limits, chunk_s=60.0, body_s=120.0)
    outside = everything_under(served.folder.parent)
    kept: set[bytes] = set()
    for _ in range(rounds):
        content, asked, headers = fuzzed(chance)
        asked = asked.split("#")[0]
        status = served.send(content, asked, **headers)
        assert status in (200, 202, 400, 403, 411, 413, 415, 503), status
        if status in (200, 202):
            state = json.loads(served.answer(content))["state"]
            if state == "placed":
                kept.add(content)
            elif state == "asks":
                served.browser.post(f"/photos/{sha_of(content)}/drop")
    after = everything_under(served.folder.parent)
    new = set(after) - set(outside)
    assert [name for name in new if not name.startswith(("photos/", "out/"))] == []
    assert all(after[name] == outside[name] for name in outside if name.endswith(".csv"))
    photos = sorted(content for name, content in after.items() if name.endswith(".jpg")
                    and name.startswith("photos/"))  # fmt: skip
    assert photos == sorted(kept)  # nothing lost, nothing twice
    assert len(kept) > 3
    assert "Traceback" not in caplog.text
    assert served.browser.get("/").status == 200


def test_a_few_hundred_fuzzed_uploads(served: Served, caplog: pytest.LogCaptureFixture) -> None:
    fuzz(served, 300, caplog)


@pytest.mark.slow
def test_ten_thousand_fuzzed_uploads(served: Served, caplog: pytest.LogCaptureFixture) -> None:
    fuzz(served, 10_000, caplog)
