"""Silent connections are closed; those that ask are answered, as often as they like."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path

import pytest
from served import an_office

from jarvision.app.serve.prompt import PromptProtocol
from jarvision.app.serve.site import build_site

uvicorn = pytest.importorskip("uvicorn")
MOST = 4


class Hasty(PromptProtocol):
    head_s = 0.5


@pytest.fixture
def address(tmp_path: Path) -> Iterator[tuple[str, int]]:
    """Serve an empty shelf to as many connections as ``MOST``."""
    (tmp_path / "photos").mkdir()
    office = an_office(tmp_path / "photos", tmp_path / "out")
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        port = listening.getsockname()[1]
        site = build_site(office, hosts=(f"127.0.0.1:{port}",))
        server = uvicorn.Server(
            uvicorn.Config(
                site, log_config=None, lifespan="off", http=Hasty, limit_concurrency=MOST
            )
        )
        thread = threading.Thread(target=asyncio.run, args=(server.serve([listening]),))
        thread.start()
        yield "127.0.0.1", port
        server.should_exit = True
        thread.join()
    office.desk.close()


def ask(connection: socket.socket, port: int) -> bytes:
    connection.sendall(f"GET /enter HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\n\r\n".encode())
    return connection.recv(20)


@pytest.mark.parametrize("begun", [b"", b"GET /enter HTTP/1.1\r\nhost: "])
def test_silent_connections_do_not_keep_others_out(address: tuple[str, int], begun: bytes) -> None:
    with ExitStack() as opened:
        silent = [
            opened.enter_context(socket.create_connection(address, timeout=5))
            for _ in range(MOST + 2)
        ]
        for connection in silent:
            connection.sendall(begun)
        assert all(connection.recv(1) == b"" for connection in silent)
        with socket.create_connection(address, timeout=5) as connection:
            assert b"200" in ask(connection, address[1])


def test_dripping_buys_no_time(address: tuple[str, int]) -> None:
    begun = time.monotonic()
    with socket.create_connection(address, timeout=5) as connection, suppress(ConnectionError):
        while time.monotonic() - begun < 5:
            connection.sendall(b"G")
            time.sleep(0.05)
    assert time.monotonic() - begun < 3


def test_who_asks_again_and_again_is_answered(address: tuple[str, int]) -> None:
    with socket.create_connection(address, timeout=5) as connection:
        for _ in range(4):
            assert b"200" in ask(connection, address[1])
            while connection.recv(65536)[-8:].find(b"</html>") < 0:
                pass
            time.sleep(0.3)
