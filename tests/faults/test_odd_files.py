"""Whatever lies in the folder becomes a row or a sentence; nothing is written outside OUT."""

from __future__ import annotations

import csv
import io
import os
import shutil
import sqlite3
import struct
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from fake_shelf import fake_reading
from paced import fill, paced
from PIL import Image
from scoring import score_folder

from jarvision.base.errors import NotWritableError
from jarvision.records import Reading, ShelfResult
from jarvision.report import write_report
from jarvision.run.jobs import Job
from jarvision.run.lock import LOCK_NAME
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.workers import local_fleet

GOOD = Path(__file__).parents[2] / "sample_images" / "SL01_2026-03-05.jpg"
LONG_NAME = "J1_" + "ä" * 90 + "_2026-03-01.jpg"  # 209 bytes in UTF-8
FAR_FUTURE_S, FAR_PAST_S = 8_000_000_000, -2_000_000_000  # 2223 and 1906
UNREADABLE, NO_CARD = "unreadable", "no_card"


def grey(width: int = 640, height: int = 480, mode: str = "RGB") -> Image.Image:
    noise = np.random.default_rng(3).integers(90, 160, (height, width), dtype=np.uint8)
    return Image.fromarray(noise).convert(mode)


def encoded(image: Image.Image, form: str, **options: object) -> bytes:
    data = io.BytesIO()
    image.save(data, form, **options)
    return data.getvalue()


def bomb() -> bytes:
    """A PNG of a few hundred bytes that claims 2500 megapixels."""
    header = struct.pack(">IIBBBBB", 50_000, 50_000, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(bytes(1000))), (b"IEND", b""))
    packed = (
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


def with_exif(garbage: bytes) -> bytes:
    """A JPEG whose EXIF segment holds what no parser expects."""
    plain = encoded(grey(), "JPEG")
    body = b"Exif\x00\x00" + garbage
    return plain[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + plain[2:]


def odd_files() -> dict[str, tuple[bytes, str]]:
    """Content and expected reason, by name."""
    jpeg = encoded(grey(), "JPEG")
    frames = [grey(), grey().rotate(90, expand=False)]
    loop = b"II*\x00\x08\x00\x00\x00\x01\x00\x69\x87\x04\x00\x01\x00\x00\x00\x08\x00\x00\x00"
    return {
        "zero.jpg": (b"", UNREADABLE),
        "one-byte.png": (b"\x89", UNREADABLE),
        "text.jpg": (b"this is no photo\n" * 50, UNREADABLE),
        "truncated.jpg": (jpeg[: len(jpeg) // 2], UNREADABLE),
        "truncated.png": (encoded(grey(), "PNG")[:-500], UNREADABLE),
        "bomb.png": (bomb(), UNREADABLE),
        "hundred-megapixels.jpg": (
            encoded(grey(200, 100).resize((12_000, 8_334)), "JPEG"),
            NO_CARD,
        ),
        "animated.webp": (
            encoded(frames[0], "WEBP", save_all=True, append_images=frames[1:]),
            NO_CARD,
        ),
        "animated.png": (
            encoded(frames[0], "PNG", save_all=True, append_images=frames[1:]),
            NO_CARD,
        ),
        "cmyk.jpg": (encoded(grey(mode="CMYK"), "JPEG"), NO_CARD),
        "grey-alpha.png": (encoded(grey(mode="LA"), "PNG"), NO_CARD),
        "really-a-png.jpg": (encoded(grey(), "PNG"), NO_CARD),
        "really-a-jpeg.heic": (jpeg, NO_CARD),
        "exif-noise.jpg": (with_exif(bytes(range(256)) * 8), NO_CARD),
        "exif-loop.jpg": (with_exif(loop), NO_CARD),
        "one-pixel.png": (encoded(grey(1, 1), "PNG"), UNREADABLE),
        "sliver.png": (encoded(grey(9, 9_000), "PNG"), UNREADABLE),
        "icon.png": (encoded(grey(16, 16), "PNG"), NO_CARD),
        "strip.png": (encoded(grey(20, 1_600), "PNG"), NO_CARD),
        "a line\nbreak.jpg": (jpeg, NO_CARD),
        "=1+1.jpg": (jpeg, NO_CARD),
        "\u202edetrever 😀.jpg": (jpeg, NO_CARD),
        LONG_NAME: (jpeg, NO_CARD),
        "é-composed.jpg": (jpeg, NO_CARD),
        "e\u0301-decomposed.jpg": (jpeg, NO_CARD),
    }


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A folder of everything odd, and the expected reason by name."""
    folder = tmp_path_factory.mktemp("odd") / "photos"
    folder.mkdir()
    expected = {}
    for name, (content, reason) in odd_files().items():
        (folder / name).write_bytes(content)
        expected[name] = reason
    os.utime(folder / "zero.jpg", (FAR_FUTURE_S, FAR_FUTURE_S))
    os.utime(folder / "one-byte.png", (FAR_PAST_S, FAR_PAST_S))
    if os.name != "nt":
        raw = os.fsencode(str(folder)) + b"/not-text-\xff\xfe.jpg"
        with open(raw, "wb") as file:  # noqa: PTH123 - a name that is no text
            file.write(b"")
        expected[os.fsdecode(b"not-text-\xff\xfe.jpg")] = UNREADABLE
        os.mkfifo(folder / "pipe.jpg")  # not a photo: not listed
        os.mkfifo(folder / "hidden-pipe")
        (folder / "to-a-pipe.jpg").symlink_to(folder / "hidden-pipe")
        (folder / "to-nowhere.jpg").symlink_to(folder / "gone.jpg")
        (folder / "to-itself.jpg").symlink_to(folder / "to-itself.jpg")
        (folder / "round").symlink_to(folder)
        expected |= dict.fromkeys(("to-a-pipe.jpg", "to-nowhere.jpg", "to-itself.jpg"), UNREADABLE)
    return folder, expected


def test_everything_odd_in_a_folder_becomes_its_own_row(
    odd: tuple[Path, dict[str, str]], tmp_path: Path
) -> None:
    folder, expected = odd

    def publish(result: ShelfResult) -> None:
        write_report(result, tmp_path / "out")

    def score() -> ShelfResult:
        return score_folder(folder, out=tmp_path / "out", fleet=local_fleet(2), publish=publish)

    first = score()
    assert {r.photo: r.reason for r in first.readings} == expected
    table = (tmp_path / "out" / "readings.csv").read_bytes()
    with (tmp_path / "out" / "readings.csv").open(encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == len(expected)
    assert score() == first
    assert (tmp_path / "out" / "readings.csv").read_bytes() == table


@pytest.mark.skipif(os.name == "nt", reason="names of any bytes")
def test_a_good_photo_whose_jar_is_no_text_is_read_and_drawn(tmp_path: Path) -> None:
    """In a process of its own: what would end it must not end the tests."""
    name = os.fsdecode(b"caf\xe9_2026-03-05.jpg")
    (tmp_path / "photos").mkdir()
    shutil.copy(GOOD, tmp_path / "photos" / name)
    out = tmp_path / "out"

    def publish(result: ShelfResult) -> None:
        write_report(result, out)

    fleet = local_fleet(1, apart=True)
    (reading,) = score_folder(tmp_path / "photos", out=out, fleet=fleet, publish=publish).readings
    assert (reading.status, reading.jar) == ("ok", "caf\udce9")
    assert (out / reading.overlay).is_file()


HOSTILE_JARS = [
    "../../outside",
    "/etc/outside",
    "..",
    ".",
    "C:\\outside",
    "\\\\server\\outside",
    "con",
    "a/b/../../../outside",
    "x" * 300,
    "\x00",
    "-rf",
    "~",
    "\udcff",
]


def test_the_name_of_a_jar_never_becomes_a_path_outside_the_output(tmp_path: Path) -> None:
    photos, out = tmp_path / "photos", tmp_path / "deep" / "er" / "out"
    names = fill(photos, len(HOSTILE_JARS), 4)
    jars = dict(zip(sorted({name[:3] for name in names}), HOSTILE_JARS, strict=True))

    def hostile(job: Job) -> Reading:
        return replace(paced(job), jar=jars[job.name[:3]])

    before = {path for path in tmp_path.rglob("*") if out not in path.parents}
    result = score_folder(
        photos, out=out, read=hostile, publish=lambda result: write_report(result, out)
    )
    assert {story.verdict.jar for story in result.stories} == set(HOSTILE_JARS)
    after = {path for path in tmp_path.rglob("*") if out not in path.parents}
    assert after - before == {out, out.parent, out.parent.parent}
    depths = {len(path.relative_to(out).parts) for path in out.rglob("*")}
    assert max(depths) <= 2
    assert len(list((out / "curves").iterdir())) == len(HOSTILE_JARS)


# --------------------------------------------------------------------------- OUT
@contextmanager
def nobody() -> Iterator[None]:
    """Without the rights of root, for whom nothing is read-only."""
    if os.name == "nt":
        pytest.skip("rights of POSIX")
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def opened(path: Path) -> None:
    """Let everybody into a folder of this test and the ones above it."""
    for place in (path, *path.parents):
        if place.stat().st_uid == os.geteuid() and len(place.parts) > 2:
            place.chmod(place.stat().st_mode | 0o055)


@pytest.mark.parametrize(
    "protect",
    [
        lambda out: out.chmod(0o555),
        lambda out: (out / STORE_NAME).chmod(0o444),
        lambda out: (out / LOCK_NAME).chmod(0o444),
    ],
    ids=["folder", "store", "lock"],
)
def test_what_cannot_be_written_is_one_sentence(
    tmp_path: Path, protect: Callable[[Path], None]
) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    fill(photos, 2, 2)
    score_folder(photos, out=out, read=paced)
    opened(photos)
    opened(out)
    (photos / "J09_2026-03-01.jpg").write_text("50")
    protect(out)
    with nobody(), pytest.raises(NotWritableError) as caught:
        score_folder(photos, out=out, read=paced)
    assert caught.value.message and caught.value.remedy
    out.chmod(0o755)
    assert len(score_folder(photos, out=out, read=paced).readings) == 5


def test_a_store_lost_between_two_runs_is_built_again(tmp_path: Path) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    fill(photos, 2, 2)
    first = score_folder(photos, out=out, read=paced)
    (out / STORE_NAME).unlink()
    assert score_folder(photos, out=out, read=paced) == first
    (out / STORE_NAME).write_bytes(b"")
    assert score_folder(photos, out=out, read=paced) == first


def test_a_truncated_store_is_set_aside_and_every_photo_is_there_again(tmp_path: Path) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    fill(photos, 4, 8)
    first = score_folder(photos, out=out, read=paced)
    size = (out / STORE_NAME).stat().st_size
    for share in (0.9, 0.5, 0.1, 0.001):
        os.truncate(out / STORE_NAME, int(share * size))
        told: list[str] = []
        assert score_folder(photos, out=out, read=paced, tell=told.append) == first
        assert "damaged" in told[0]
    assert len(list(out.glob("jarvision-aside-*.sqlite"))) == 4


def test_a_store_from_elsewhere_deletes_nothing_outside_the_output(tmp_path: Path) -> None:
    """The photo that it tells of is renamed: its old pictures would be taken away."""
    photos, out, victim = tmp_path / "photos", tmp_path / "out", tmp_path / "victim.jpg"
    name = fill(photos, 1, 1)[0]
    first = score_folder(photos, out=out, read=paced)
    victim.write_text("mine")
    with closing(sqlite3.connect(out / STORE_NAME)) as db:
        db.execute("UPDATE readings SET pictures = '../victim.jpg'")
        db.commit()
    (photos / "old").mkdir()
    (photos / name).rename(photos / "old" / name)
    (photos / "old").rename(photos / name.split("_")[0])
    again = score_folder(photos, out=out, read=paced)
    assert victim.read_text() == "mine"
    assert again.readings[0].coverage == first.readings[0].coverage


# --------------------------------------------------------------------------- clocks
@pytest.mark.parametrize("seconds", [-10 * 365 * 86400, 10 * 365 * 86400])
def test_a_clock_that_jumps_costs_no_second_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seconds: int
) -> None:
    import time

    photos, out = tmp_path / "photos", tmp_path / "out"
    fill(photos, 2, 3)
    first = score_folder(photos, out=out, read=paced)
    real = time.time_ns
    monkeypatch.setattr(time, "time_ns", lambda: real() + seconds * 10**9)

    def never(job: Job) -> Reading:
        raise AssertionError(job)

    assert score_folder(photos, out=out, read=never) == first


def test_a_photo_of_a_wrong_clock_is_told_of_its_own_jar_alone(tmp_path: Path) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    fill(photos, 2, 3)
    before = score_folder(photos, out=out, read=paced)
    (photos / "J01_2096-03-09.jpg").write_text("50")

    def publish(result: ShelfResult) -> None:
        write_report(result, out)

    after = score_folder(photos, out=out, read=paced, publish=publish)
    assert after.scored_on == before.scored_on == date(2026, 3, 3)
    assert after.stories[0] == before.stories[0]
    assert after.stories[1].verdict.verdict == before.stories[1].verdict.verdict == "wait"
    assert "wrong_date" in {flag.flag for flag in after.stories[1].flags}
    assert "wrong_date" not in {flag.flag for flag in before.stories[1].flags}


def test_the_time_of_a_copy_beside_a_wrong_clock_makes_no_other_photo_old(tmp_path: Path) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    fill(photos, 2, 3)

    def copied(job: Job) -> Reading:
        reading = paced(job)
        if job.name != "J01_copied.jpg":
            return reading
        day = datetime(2026, 3, 20)
        ahead = date(2036, 3, 9)
        return replace(reading, taken_at=day, time_source="file", ignored_day=ahead)

    before = score_folder(photos, out=out, read=copied)
    (photos / "J01_copied.jpg").write_text("50")
    after = score_folder(photos, out=out, read=copied)
    assert after.scored_on == before.scored_on
    assert after.stories[0] == before.stories[0]
    assert after.stories[1].verdict.verdict == before.stories[1].verdict.verdict == "wait"
    assert "wrong_date" in {flag.flag for flag in after.stories[1].flags}


@pytest.mark.parametrize("mtime_s", [FAR_FUTURE_S, FAR_PAST_S, 0])
def test_files_of_any_age_are_known_again(tmp_path: Path, mtime_s: int) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    for name in fill(photos, 2, 3):
        os.utime(photos / name, (mtime_s, mtime_s))
    first = score_folder(photos, out=out, read=paced)

    def never(job: Job) -> Reading:
        raise AssertionError(job)

    assert score_folder(photos, out=out, read=never) == first


def test_a_photo_without_a_date_is_read_again_when_its_file_time_changes(tmp_path: Path) -> None:
    """Then the file's time is the day of the photo."""
    photos, out, asked = tmp_path / "photos", tmp_path / "out", []
    photos.mkdir()
    (photos / "J1_x.jpg").write_text("5")
    os.utime(photos / "J1_x.jpg", (1_700_000_000, 1_700_000_000))

    def by_file(job: Job) -> Reading:
        asked.append(job.name)
        reading = fake_reading("J1", date(2026, 3, 1), 5.0)
        return replace(reading, photo=job.name, time_source="file")

    for _ in range(2):
        score_folder(photos, out=out, read=by_file)
    assert len(asked) == 1
    os.utime(photos / "J1_x.jpg", (1_700_090_000, 1_700_090_000))
    score_folder(photos, out=out, read=by_file)
    assert len(asked) == 2
