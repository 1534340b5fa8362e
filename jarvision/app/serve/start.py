"""Start the server: where it listens, what the terminal shows, how it ends."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import uvicorn

from jarvision.app.serve.desk import Desk
from jarvision.app.serve.door import door_address
from jarvision.app.serve.office import Office
from jarvision.app.serve.qr import qr_letters
from jarvision.app.serve.sessions import Doors
from jarvision.app.serve.site import build_site
from jarvision.base.errors import UsageError

HERE: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"  # noqa: S104 - only when the grower asks for it with --lan


@dataclass(frozen=True)
class Place:
    """Where the server listens: a port of this machine, for the whole network or not."""

    port: int
    lan: bool

    @property
    def host(self) -> str:
        """The name of this machine that other devices open."""
        return lan_address() if self.lan else HERE

    @property
    def hosts(self) -> tuple[str, ...]:
        """All names that requests may bear."""
        names = dict.fromkeys((self.host, HERE, "localhost"))
        return tuple(f"{name}:{self.port}" for name in names)


def serve_shelf(folder: Path, out: Path, *, place: Place, tell: Callable[[str], None]) -> None:
    """Serve until interrupted.

    Raises
    ------
    UsageError
        Another program listens there already.
    """
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    desk = Desk()
    address = f"http://{place.host}:{place.port}"
    office = Office(
        folder=folder, out=out, desk=desk, doors=Doors(), address=address, lan=place.lan, tell=tell
    )
    with closing(listen(place)) as listening:
        for line in welcome(office):
            tell(line)
        config = uvicorn.Config(
            build_site(office, hosts=place.hosts),
            log_config=None, access_log=False, server_header=False, proxy_headers=False,
            lifespan="off", ws="none", limit_concurrency=64, timeout_keep_alive=10,
            timeout_graceful_shutdown=5,
        )  # fmt: skip
        try:
            uvicorn.Server(config).run(sockets=[listening])
        finally:
            desk.close()


def listen(place: Place) -> socket.socket:
    """Take the port."""
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((EVERYWHERE if place.lan else HERE, place.port))
    except OSError as error:
        found.close()
        raise UsageError(
            f"Port {place.port} cannot be taken ({error.strerror})",
            "Another server may run already; else choose another one with --port.",
        ) from error
    found.listen()
    return found


def lan_address() -> str:
    """The address of this machine in its own network; nothing is sent.

    Raises
    ------
    UsageError
        It is in no network.
    """
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # RFC 5737: an address that is nobody's
            return str(asked.getsockname()[0])
        except OSError as error:
            raise UsageError(
                "This machine is in no network that a phone could reach it by",
                "Join the network of the phone, or leave --lan out.",
            ) from error


def welcome(office: Office) -> list[str]:
    """What the terminal shows: the address with a code that opens once."""
    code = office.doors.new_code()
    opened = door_address(office.address, code)
    if not office.lan:
        return [f"Open {opened}", "Only this machine is listened to; --lan lets phones in."]
    return [
        qr_letters(opened),
        f"Point the phone's camera at this, or open {office.address} and type {code}.",
        "It opens once, for a quarter of an hour; the page Devices makes more.",
        "Nothing is encrypted on the way: use it in your own network only.",
    ]
