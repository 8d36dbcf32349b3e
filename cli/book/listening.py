"""Where the book is reached: the sockets it listens on, the addresses and names of this computer."""

from __future__ import annotations

import contextlib
import errno
import http.client
import ipaddress
import json
import os
import socket
import ssl
import struct
import sys
import urllib.request

from soakwitness.cli.telling.joining import BookRefused

BACKLOG = 128
FAR = ("192.0.2.1", "10.255.255.254", "172.31.255.254", "192.168.255.254")  # where routes lead; no packet leaves
FAR_6 = ("2001:db8::1", "fd00::1")
_SIOCGIFADDR = 0x8915  # of Linux: the address of an interface


def listen(port: int, *, lan: bool) -> list[socket.socket]:
    """Sockets for this computer alone or for the network, one for each kind of address, all of one port.

    Raises BookRefused if the port cannot be had.
    """
    try:
        first = _socket(socket.AF_INET, "0.0.0.0" if lan else "127.0.0.1", port)
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise BookRefused(_taken_words(port)) from None
        raise BookRefused(f"Port {port} cannot be used ({error.strerror or error}). Give another: --port N") from None
    listening = [first]
    with contextlib.suppress(OSError):  # a computer without such addresses does without
        listening.append(_socket(socket.AF_INET6, "::" if lan else "::1", first.getsockname()[1]))
    return listening


def _socket(family: int, address: str, port: int) -> socket.socket:
    made = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # named: else asyncio lets answers wait 40 ms
    try:
        if os.name != "nt":
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        made.bind((address, port))
        made.listen(BACKLOG)
        made.setblocking(False)
    except OSError:
        made.close()
        raise
    return made


def _taken_words(port: int) -> str:
    """Who has a port, where it is another book."""
    unchecked = ssl.create_default_context()  # only asked for its name, by whoever may not trust it yet
    unchecked.check_hostname, unchecked.verify_mode = False, ssl.CERT_NONE
    for scheme in ("http", "https"):
        address = f"{scheme}://127.0.0.1:{port}/"
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError, http.client.HTTPException):
            with urllib.request.urlopen(f"{address}about", timeout=2, context=unchecked) as answer:
                about = json.loads(answer.read(10_000))
            return (
                f"Port {port} is used by the book of {about['logbook']} (version {about['version']}), at {address}. "
                "Give another: --port N"
            )
    return f"Port {port} is used by another program. Give another: --port N"


def network_addresses() -> list[str]:
    """Addresses of this computer in its networks, the one that leads farthest first; nothing is sent to find them."""
    found = [*(_towards(socket.AF_INET, far) for far in FAR), *_of_interfaces(), *_by_name()]
    found += [_towards(socket.AF_INET6, far) for far in FAR_6]
    return list(dict.fromkeys(address for address in found if address and _is_reached(address)))


def host_names() -> set[str]:
    """Names under which the book is served; the address that was connected to is one always."""
    name = socket.gethostname().lower()
    return {"localhost", name, f"{name}.local", *([] if name.endswith(".local") else [name.split(".")[0] + ".local"])}


def certificate_names() -> list[str]:
    """Names and addresses that a certificate of this computer is for, its own name first."""
    name = socket.gethostname().lower()
    names = [name, *sorted(host_names() - {name}), "127.0.0.1", "::1", *network_addresses()]
    return [one for one in names if one.isascii() and one]


def in_url(address: str) -> str:
    """An address as it stands in a link."""
    return f"[{address}]" if ":" in address else address


def _towards(family: int, far: str) -> str | None:
    """Address of this computer on the way to another."""
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((far, 9))
            return str(probe.getsockname()[0])
    except OSError:
        return None


def _of_interfaces() -> list[str]:
    """The first address of each interface, where the system tells."""
    found: list[str] = []
    if sys.platform == "linux":
        import fcntl

        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            for _, name in socket.if_nameindex():
                with contextlib.suppress(OSError):
                    told = fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                    found.append(socket.inet_ntoa(told[20:24]))
    return found


def _by_name() -> list[str]:
    try:
        return [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, type=socket.SOCK_STREAM)]
    except (OSError, UnicodeError):
        return []


def _is_reached(address: str) -> bool:
    """Whether another computer reaches an address as it stands."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return False
    return not (known.is_loopback or known.is_link_local or known.is_unspecified or known.is_multicast)
