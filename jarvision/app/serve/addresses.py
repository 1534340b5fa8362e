"""Addresses of this machine in its networks, by which a phone can reach it; nothing is sent."""

from __future__ import annotations

import ipaddress
import socket
import sys
from contextlib import closing, suppress
from typing import Final

from jarvision.base.errors import UsageError
from jarvision.base.text import printable

_ASKED: Final = ("192.0.2.1", "192.168.0.1", "10.0.0.1", "172.16.0.1")
"""Somewhere outside (RFC 5737: nobody's), and the networks at home (RFC 1918): which address of
this machine would speak to it?"""

_SIOCGIFADDR: Final = 0x8915  # netdevice(7), Linux
_NAME_BYTES: Final = 15


def lan_addresses() -> tuple[str, ...]:
    """IPv4 addresses of this machine, the likeliest first; on all systems those that speak outside.

    Raises
    ------
    UsageError
        It is in no network.
    """
    found = [address for asked in _ASKED if (address := _speaks_to(asked))]
    found += _of_interfaces() + _of_name()
    usable = [address for address in dict.fromkeys(found) if _is_of_a_network(address)]
    if not usable:
        raise UsageError(
            "This machine is in no network that a phone could reach it by",
            "Join the network of the phone, or leave --lan out.",
        )
    return tuple(usable)


def own_address(told: str) -> str:
    """The address that the grower told, if it is one of this machine.

    Raises
    ------
    UsageError
        It is no IPv4 address, or none of this machine.
    """
    try:
        address = str(ipaddress.IPv4Address(told.strip()))
    except ValueError:
        raise UsageError(
            f"'{printable(told)}' is no address such as 192.168.1.20", _tell_own()
        ) from None
    with closing(socket.socket(socket.AF_INET, socket.SOCK_STREAM)) as tried:
        try:
            tried.bind((address, 0))
        except OSError:
            raise UsageError(f"{address} is no address of this machine", _tell_own()) from None
    if not _is_of_a_network(address):
        raise UsageError(f"No phone can open {address}", _tell_own())
    return address


def _tell_own() -> str:
    try:
        return f"It has {' and '.join(lan_addresses())}."
    except UsageError as error:
        return f"{error}"


def _speaks_to(other: str) -> str:
    """The address by which this machine would speak to another one; empty for none."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as asked:
        try:
            asked.connect((other, 9))
            return str(asked.getsockname()[0])
        except OSError:
            return ""


def _of_interfaces() -> list[str]:
    """Addresses of all interfaces, where the system is Linux."""
    found: list[str] = []
    if not sys.platform.startswith("linux"):
        return found
    import fcntl

    with suppress(OSError), closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as asked:
        for _, name in socket.if_nameindex():
            with suppress(OSError):  # one without an address
                told = name.encode()[:_NAME_BYTES].ljust(256, b"\0")
                given = fcntl.ioctl(asked.fileno(), _SIOCGIFADDR, told)
                found.append(socket.inet_ntoa(given[20:24]))
    return found


def _of_name() -> list[str]:
    """Addresses that this machine's own name has."""
    try:
        told = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET, socket.SOCK_STREAM)
    except OSError:
        return []
    return [str(place[0]) for *_, place in told]


def _is_of_a_network(address: str) -> bool:
    """Whether other devices can have a way to it: not loopback, not one that means all."""
    read = ipaddress.IPv4Address(address)
    return not (read.is_loopback or read.is_unspecified or read.is_multicast)
