"""A shelf of text photos behind the server: each file says its coverage, or what is wrong."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from fake_shelf import fake_reading, fake_refusal
from served import TODAY, Browser, a_browser, an_office

from jarvision.app.serve.limits import ServeLimits
from jarvision.app.serve.office import Office
from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job
from jarvision.run.lock import LOCK_NAME

REGISTER = """jar,kind,species,substrate,started,parent
K01,spawn,oyster,rye,2026-03-01,
K02,spawn,oyster,rye,2026-03-01,
K03,spawn,oyster,rye,2026-03-01,
<b>J&1,fruiting,oyster,straw,2026-03-03,
"""
JPEG = b"\xff\xd8\xff\xe0"


def photo(text: str) -> bytes:
    """Something that begins as a JPEG does and says what is to be read."""
    return JPEG + text.encode()


def sha_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def told_by(path: Path) -> str:
    return path.read_bytes().removeprefix(JPEG).decode("utf-8", "replace")


def text_reader(job: Job) -> Reading:
    """Read ``percent`` from a photo; anything else is refused."""
    parts, text = read_name(job.name, job.told_jar), told_by(job.path)
    number = text.split()[0]
    if "crash" in text:
        raise RuntimeError("odd photo")
    day = parts.day or TODAY
    if not number.isdigit():
        return fake_refusal(job.name, parts.jar, "blurred", day)
    return replace(fake_reading(parts.jar, day, float(number)), photo=job.name, view=parts.view)


def text_first_look(job: Job) -> Reading:
    """Find ``tag N`` in a photo; one that is ``torn`` cannot be opened."""
    words = told_by(job.path).split()
    if not words or "torn" in words:
        return fake_refusal(job.name, "", "unreadable", TODAY)
    tag = words[words.index("tag") + 1] if "tag" in words else ""
    return Reading(job.name, tag, "front", fake_reading("x", TODAY, 1).taken_at, "file", "ok")


@dataclass
class Served:
    """A browser that is let in, and what lies behind it."""

    browser: Browser
    office: Office

    @property
    def folder(self) -> Path:
        return self.office.folder

    @property
    def photos(self) -> list[str]:
        return sorted(p.name for p in self.folder.iterdir() if p.suffix in (".jpg", ".png"))

    def send(self, content: bytes, asked: str = "jar=K01", **headers: str | None) -> int:
        """Send a photo and wait until the desk is idle."""
        answer = self.browser.ask(
            "PUT",
            f"/photos/{sha_of(content)}?{asked}",
            body=content,
            headers={
                "x-csrf": self.browser.token, "content-length": str(len(content)), **headers
            },
        )  # fmt: skip
        self.settle()
        return answer.status

    def settle(self) -> None:
        while not self.office.desk.idle:
            self.office.desk._thread.submit(lambda: None).result()

    def answer(self, content: bytes) -> str:
        found = self.browser.get(f"/photos/{sha_of(content)}")
        assert found.status == 200, found
        return found.text


@pytest.fixture
def limits() -> ServeLimits:
    return ServeLimits(photo_bytes=5000, waiting_photos=5, chunk_s=0.3, body_s=0.6, rest_s=0.2)


@pytest.fixture
def served(
    tmp_path: Path, limits: ServeLimits, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Served]:
    monkeypatch.setattr("jarvision.app.serve.keeper.first_look", text_first_look)
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "jars.csv").write_text(REGISTER)
    office = an_office(folder, tmp_path / "out", limits=limits, read=text_reader)
    yield Served(a_browser(office), office)
    office.desk.close()


def everything_under(place: Path) -> dict[str, bytes]:
    """Every file below a place by its name, but what the store and the lock keep open."""
    return {
        path.relative_to(place).as_posix(): path.read_bytes()
        for path in place.rglob("*")
        if path.is_file() and path.name not in ("jarvision.sqlite-wal", LOCK_NAME)
    }
