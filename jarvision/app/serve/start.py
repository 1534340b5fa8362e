"""Start the server: where it listens, what the terminal shows, how it ends."""

from __future__ import annotations

import logging
import socket
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Final

import uvicorn

from jarvision.app.serve.addresses import lan_addresses, own_address
from jarvision.app.serve.arrivals import ARRIVALS, Inbox
from jarvision.app.serve.desk import Desk
from jarvision.app.serve.door import door_address
from jarvision.app.serve.keeper import Keeper
from jarvision.app.serve.limits import SERVE_LIMITS
from jarvision.app.serve.office import Office
from jarvision.app.serve.prompt import PromptProtocol
from jarvision.app.serve.qr import qr_letters
from jarvision.app.serve.refresh import Refresher, WholeScoring
from jarvision.app.serve.sessions import Doors
from jarvision.app.serve.site import build_site
from jarvision.app.serve.uploads import settle_calmly
from jarvision.base.errors import UsageError
from jarvision.run.first_look import warm_up
from jarvision.run.score import check_writable
from jarvision.run.update import Progress, Tell
from jarvision.run.workers import StandingWorker, local_fleet

HERE: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"  # noqa: S104 - only when the grower asks for it with --lan


@dataclass(frozen=True)
class ListensAt:
    """Where the server listens: a port of this machine, for the whole network or not.

    Attributes
    ----------
    lan
        Whether other devices are listened to.
    address
        The address of this machine that alone is listened to; empty: all that it has.
    """

    port: int
    lan: bool
    address: str = ""

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Addresses of this machine that devices open, the likeliest first.

        Raises
        ------
        UsageError
            It is in no network, or has no such address.
        """
        if self.address:
            return (own_address(self.address),)
        return lan_addresses() if self.lan else (HERE,)

    @property
    def bound(self) -> str:
        """The address that is listened at."""
        return self.names[0] if self.address else EVERYWHERE if self.lan else HERE

    @property
    def hosts(self) -> tuple[str, ...]:
        """All names that requests may bear."""
        here = () if self.address else (HERE, "localhost")
        return tuple(f"{name}:{self.port}" for name in dict.fromkeys((*self.names, *here)))


@dataclass(frozen=True)
class Papers:
    """What lies elsewhere than beside the photos, and how many are read at once at the start."""

    register: Path | None = None
    settings_file: Path | None = None
    jobs: int = 1


def serve_shelf(
    folder: Path,
    out: Path,
    *,
    place: ListensAt,
    papers: Papers,
    tell: Tell,
    show: Tell,
    progress: Progress | None = None,
) -> None:
    """Score what is new, then serve until interrupted.

    ``show`` takes the address and the code that opens the door, line by line.

    Raises
    ------
    UsageError
        Another program listens there already, or something beside the photos is wrong.
    NotWritableError
        ``out`` cannot be written.
    """
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    desk, worker = Desk(), StandingWorker()
    keeper = Keeper(
        folder=folder.resolve(),
        out=out,
        fleet=worker.fleet,
        arrivals=Inbox(out / ARRIVALS),
        hear=desk.hear,
        register=papers.register,
        settings_file=papers.settings_file,
    )
    scoring = WholeScoring(keeper.folder, out, papers.register, papers.settings_file)
    refresher = Refresher(out, scoring.begin, SERVE_LIMITS.rest_s)
    address, *others = (f"http://{name}:{place.port}" for name in place.names)
    office = Office(
        folder=folder, out=out, desk=desk, keeper=keeper, doors=Doors(), address=address,
        guarded=worker.do, refresher=refresher, lan=place.lan, tell=tell,
    )  # fmt: skip
    try:
        with closing(listen(place)) as listening:
            check_writable(out)
            keeper.sweep(tell)
            keeper.score_all(
                fleet=local_fleet(papers.jobs, apart=True), tell=tell, progress=progress
            )
            keeper.refresh()
            worker.start(warm_up)
            take_up(office)
            for line in welcome(office, others):
                show(line)
            _run(office, place, listening)
    finally:
        refresher.give_way()
        desk.put(keeper.keep)
        desk.close()
        worker.close()


def take_up(office: Office) -> None:
    """Go on with the photos that an earlier server left unread."""
    for arrival in office.keeper.arrivals.recover():
        office.desk.put(partial(settle_calmly, office, arrival.sha))


def _run(office: Office, place: ListensAt, listening: socket.socket) -> None:
    config = uvicorn.Config(
        build_site(office, hosts=place.hosts),
        log_config=None, access_log=False, server_header=False, proxy_headers=False,
        lifespan="off", ws="none", http=PromptProtocol, limit_concurrency=64, timeout_keep_alive=10,
        timeout_graceful_shutdown=5,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[listening])


def listen(place: ListensAt) -> socket.socket:
    """Take the port."""
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((place.bound, place.port))
    except OSError as error:
        found.close()
        raise UsageError(
            f"Port {place.port} cannot be taken ({error.strerror})",
            "Another server may run already; else choose another one with --port.",
        ) from error
    found.listen()
    return found


def welcome(office: Office, others: Sequence[str] = ()) -> list[str]:
    """What the terminal shows: the address with a code that opens once.

    ``others``: addresses of this machine that a phone may need instead.
    """
    code = office.doors.new_code()
    opened = door_address(office.address, code)
    if not office.lan:
        return [f"Open {opened}", "Only this machine is listened to; --lan lets phones in."]
    also = [
        f"This machine has other addresses, too. If the phone finds nothing there: {other}"
        for other in others
    ]
    if others:
        also.append("With --address you say which one goes into the code.")
    return [
        *qr_letters(opened).splitlines(),
        f"Point the phone's camera at this, or open {office.address} and type {code}.",
        *also,
        "It opens once, for a quarter of an hour; the page Devices makes more.",
        "Nothing is encrypted on the way: use it in your own network only.",
    ]
