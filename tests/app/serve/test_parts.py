"""Names, walks, codes as pictures, and the start of the server."""

from __future__ import annotations

import re
import socket
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from commands import call
from fake_shelf import fake_reading, fake_shelf
from hypothesis import given
from hypothesis import strategies as st
from served import an_office

from jarvision.app.serve.addresses import lan_addresses
from jarvision.app.serve.door import door_address
from jarvision.app.serve.naming import clock_in, name_for_other_jar, photo_file_name, suffix_of
from jarvision.app.serve.qr import qr_letters, qr_svg
from jarvision.app.serve.start import HERE, ListensAt, listen, welcome
from jarvision.app.serve.walk import Walk, jar_by_tag, walk_of
from jarvision.base.errors import UsageError
from jarvision.records import JarEntry
from jarvision.register.photo_names import read_name

WHEN = datetime(2026, 3, 10, 9, 30, 12)
SHA = "ab" * 32


# --------------------------------------------------------------------------- names
@given(
    st.text(max_size=80),
    st.sampled_from(["front", "a", "b", "c", "d"]),
    st.binary(min_size=32, max_size=32),
)
def test_every_name_stays_in_its_folder_and_is_read_back(jar: str, view: str, sha: bytes) -> None:
    name, tells = photo_file_name(jar, WHEN, sha.hex(), ".jpg", view=view)  # type: ignore[arg-type]
    assert Path(name).name == name and not name.startswith(".")
    assert not set(name) & set('/\\:*?"<>|\0') and len(name.encode()) < 256
    parts = read_name(name)
    assert (parts.day, parts.view, parts.odd_view) == (WHEN.date(), view, "")
    assert parts.jar == (jar if tells else "")


@given(
    st.text(max_size=80), st.text(max_size=80), st.sampled_from(["front", "a", "b", "c", "d"]),
    st.binary(min_size=32, max_size=32),
)  # fmt: skip
def test_a_photo_of_another_jar_gets_the_name_that_it_would_have_come_under(
    jar: str, other: str, view: str, sha: bytes
) -> None:
    name, _ = photo_file_name(jar, WHEN, sha.hex(), ".heic", view=view)  # type: ignore[arg-type]
    meant, _ = photo_file_name(other, WHEN, sha.hex(), ".heic", view=view)  # type: ignore[arg-type]
    assert name_for_other_jar(name, other, sha.hex()) == meant
    assert clock_in(name) == "09:30"


@pytest.mark.parametrize(
    "name", ["IMG_0001.jpg", "K01/IMG_0001.jpg", "K01_2026-03-10.jpg",
             "K01_2026-03-10-093012-000000000001.jpg"],
)  # fmt: skip
def test_a_name_that_was_not_made_here_stays(name: str) -> None:
    assert name_for_other_jar(name, "K02", SHA) == name
    deeper = f"x/{photo_file_name('K01', WHEN, SHA, '.jpg')[0]}"
    assert name_for_other_jar(deeper, "K02", SHA) == deeper


@pytest.mark.parametrize("jar", ["K08", "B2-07", "SL01", "7", "jar 3".replace(" ", "-")])
def test_usual_names_tell_their_jar(jar: str) -> None:
    name, tells = photo_file_name(jar, WHEN, SHA, ".heic")
    assert tells and name.startswith(f"{jar}_2026-03-10-093012-")


@pytest.mark.parametrize(
    ("head", "suffix"),
    [
        (b"\xff\xd8\xff\xe1abcdefgh", ".jpg"), (b"\x89PNG\r\n\x1a\n1234", ".png"),
        (b"II*\x00abcdefgh", ".tif"), (b"MM\x00*abcdefgh", ".tif"),
        (b"RIFF1234WEBP", ".webp"), (b"\x00\x00\x00\x18ftypheic", ".heic"),
        (b"RIFF1234WAVE", ""), (b"", ""), (b"\xff\xd8", ""), (b"%PDF-1.7....", ""),
    ],
)  # fmt: skip
def test_a_picture_is_told_by_its_first_bytes(head: bytes, suffix: str) -> None:
    assert suffix_of(head) == suffix


# --------------------------------------------------------------------------- walking
def test_the_next_jar_is_the_next_on_the_shelf_that_lacks_a_photo() -> None:
    walk = Walk(("A", "B", "C", "D"), frozenset({"C"}))
    assert [walk.next_after(jar) for jar in ("", "A", "B", "C", "D", "unknown")] == [
        "A", "B", "D", "D", "A", "A",
    ]  # fmt: skip
    assert walk.left == ("A", "B", "D")
    assert Walk(("A",), frozenset()).next_after("A") == ""
    assert Walk(("A", "B"), frozenset(), frozenset({"A"})).next_after() == "B"
    assert Walk((), frozenset()).next_after() == ""


def test_a_walk_has_the_registers_order_and_leaves_out_what_is_over() -> None:
    shelf, today = fake_shelf(), date(2026, 3, 10)
    register = {
        jar: JarEntry(jar, kind=kind)
        for jar, kind in (("J05", "spawn"), ("Z1", "spawn"), ("O1", "spawn"), ("B1", "bare"))
    }
    bare = replace(fake_reading("B1", date(2026, 3, 1), 0.0), photo="B1.jpg")
    late = replace(fake_reading("J05", today, 60.0), photo="J05_late.jpg")
    alive = replace(shelf, readings=(bare, late))
    walk = walk_of(alive, register, {"O1"}, today)
    assert walk.jars == ("J05", "Z1", "J01", "J02", "J03", "J04")
    assert walk.done == {"J05"}
    assert walk.out == {"J04"} and "J04" not in walk.left


@pytest.mark.parametrize(
    ("tag", "jars", "agree", "found"),
    [
        ("7", ["7", "K07"], ["7", "K07"], "7"),
        ("7", ["K07", "K08"], ["K07"], "K07"),
        ("7", ["K07", "B07"], ["K07", "B07"], ""),
        ("7", ["K08"], [], "7"),
    ],
)
def test_a_tag_means_the_only_jar_that_it_can_mean(
    tag: str, jars: list[str], agree: list[str], found: str
) -> None:
    assert jar_by_tag(tag, jars, agree) == found


# --------------------------------------------------------------------------- codes
def modules_of(svg: str) -> np.ndarray:
    """Draw the one path of the code: horizontal strokes of a module each."""
    size = int(re.search(r'viewBox="0 0 (\d+)', svg)[1])  # type: ignore[index]
    scale = float((re.search(r"scale\((\d+)\)", svg) or [0, "1"])[1])
    path = re.findall(r'd="(M[^"]+)"', svg)[-1]
    drawn = np.full((size, size), 255, np.uint8)
    x, y = 0.0, 0.0
    for word, numbers in re.findall(r"([Mmh])([-\d. ]+)", path):
        values = [float(n) for n in numbers.split()]
        if word == "h":
            left, right = sorted((x, x + values[0]))
            top = (y - 0.5) * scale
            drawn[round(top) : round(top + scale), round(left * scale) : round(right * scale)] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if word == "M" else (x + values[0], y + values[1])
    return drawn


def test_a_camera_reads_the_address_from_the_page() -> None:
    address = door_address("http://192.168.178.123:8765", "ABCDEFGHJKLM")
    found, _, _ = cv2.QRCodeDetector().detectAndDecode(modules_of(str(qr_svg(address))))
    assert found == address


def test_a_camera_reads_the_address_from_the_terminal() -> None:
    address = door_address("http://10.0.0.7:8765", "ABCDEFGHJKLM")
    text = re.sub(r"\x1b\[[\d;]*m", "", qr_letters(address))
    rows = [row for row in text.splitlines() if row]
    lit = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    halves = np.array([[lit[letter] for letter in row] for row in rows])
    picture = halves.transpose(0, 2, 1).reshape(2 * len(rows), -1).astype(np.uint8) * 255
    picture = np.pad(picture.repeat(8, 0).repeat(8, 1), 32, constant_values=255)
    found, _, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert found == address


def test_the_code_is_no_part_of_the_address_that_is_sent() -> None:
    """Behind #, it is in no request, no log, no referrer."""
    address = door_address("http://10.0.0.7:8765", "SECRET")
    assert address.index("#") < address.index("SECRET")


# --------------------------------------------------------------------------- start
def test_only_this_machine_is_listened_to_until_the_network_is_asked_for() -> None:
    with socket.socket() as free:
        free.bind((HERE, 0))
        port = free.getsockname()[1]
    place = ListensAt(port, lan=False)
    assert place.hosts == (f"127.0.0.1:{port}", f"localhost:{port}")
    with listen(place) as listening:
        assert listening.getsockname() == (HERE, port)
        with pytest.raises(UsageError, match=f"Port {port} cannot be taken"):
            listen(place)


def test_a_machine_without_a_network_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def unreachable(*_: object) -> None:
        raise OSError("no network")

    monkeypatch.setattr(socket.socket, "connect", unreachable)
    monkeypatch.setattr(socket, "if_nameindex", list)
    monkeypatch.setattr(socket, "getaddrinfo", unreachable)
    with pytest.raises(UsageError, match="in no network"):
        lan_addresses()


def in_networks(monkeypatch: pytest.MonkeyPatch, *addresses: str) -> None:
    """A machine that would speak to its networks by these."""
    monkeypatch.setattr("jarvision.app.serve.addresses._speaks_to", lambda _: addresses[0])
    monkeypatch.setattr("jarvision.app.serve.addresses._of_interfaces", lambda: [*addresses])
    monkeypatch.setattr("jarvision.app.serve.addresses._of_name", lambda: ["127.0.1.1"])


def test_every_address_of_the_machine_is_found_once_and_none_that_no_phone_can_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    in_networks(monkeypatch, "192.168.1.20", "127.0.0.1", "10.8.0.2", "0.0.0.0", "192.168.1.20")
    assert lan_addresses() == ("192.168.1.20", "10.8.0.2")
    place = ListensAt(8765, lan=True)
    assert place.hosts == tuple(
        f"{name}:8765" for name in ("192.168.1.20", "10.8.0.2", "127.0.0.1", "localhost")
    )


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("192.0.2.77", "no address of this machine"), ("kitchen", "is no address such as"),
        ("::1", "is no address such as"), ("127.0.0.1", "No phone can open"),
        ("0.0.0.0", "No phone can open"), ("192.168.1.20:80", "is no address such as"),
    ],
)  # fmt: skip
def test_an_address_that_is_not_this_machines_is_refused_with_those_that_are(
    monkeypatch: pytest.MonkeyPatch, told: str, words: str
) -> None:
    in_networks(monkeypatch, "192.168.1.20", "10.8.0.2")
    with pytest.raises(UsageError, match=words) as refused:
        _ = ListensAt(8765, lan=True, address=told).names
    assert refused.value.remedy == "It has 192.168.1.20 and 10.8.0.2."


def test_only_the_address_that_was_told_is_listened_at(monkeypatch: pytest.MonkeyPatch) -> None:
    # 127.0.0.2 stands for an address of a network: on Linux it is this machine's, too
    monkeypatch.setattr("jarvision.app.serve.addresses._is_of_a_network", lambda _: True)
    with socket.socket() as free:
        free.bind((HERE, 0))
        port = free.getsockname()[1]
    try:
        place = ListensAt(port, lan=True, address="127.0.0.2")
        assert place.hosts == (f"127.0.0.2:{port}",)
    except UsageError:
        pytest.skip("this system has one loopback address")
    with listen(place) as listening:
        assert listening.getsockname() == ("127.0.0.2", port)
        with socket.socket() as other, pytest.raises(ConnectionRefusedError):
            other.connect((HERE, port))


def test_an_address_alone_is_no_way_into_the_network(tmp_path: Path) -> None:
    code, _, told = call(
        "serve", str(tmp_path), "--out", str(tmp_path / "o"), "--address", "1.2.3.4"
    )
    assert code == 2 and "Say --lan, too" in told


@pytest.mark.parametrize("lan", [False, True])
def test_the_terminal_shows_a_code_that_opens(tmp_path: Path, lan: bool) -> None:
    office = an_office(tmp_path, tmp_path / "out")
    office.lan = lan
    told = "\n".join(welcome(office))
    code = re.search(r"(?:type |enter#)([A-Z2-9]{12})", told)
    assert code is not None and office.doors.enter(code[1]) is not None
    assert ("encrypted" in told) == lan and ("--lan" in told) != lan
    office.desk.close()


def test_the_terminal_names_the_machines_other_addresses(tmp_path: Path) -> None:
    office = an_office(tmp_path, tmp_path / "out")
    office.lan = True
    told = "\n".join(welcome(office, ["http://10.8.0.2:8765", "http://172.17.0.1:8765"]))
    assert "http://10.8.0.2:8765" in told and "http://172.17.0.1:8765" in told
    assert "--address" in told and "--address" not in "\n".join(welcome(office))
    office.desk.close()


def test_what_is_missing_is_told_with_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.app.cli.serve.NEEDED", ("starlette", "no_such_package"))
    code, _, told = call("serve", str(tmp_path), "--out", str(tmp_path / "out"))
    assert code == 2
    assert "needs no_such_package" in told and "jarvision[serve]" in told


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    code, _, told = call("serve", str(tmp_path / "nowhere"), "--out", str(tmp_path / "out"))
    assert code == 2 and "is no folder" in told
