"""Addresses of the web: which may be written into a file, and which numbers belong to the public network.

Pure text and numbers: no name is looked up here.
"""

from __future__ import annotations

import re
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from urllib.parse import urlsplit

Address = IPv4Address | IPv6Address

#: forms of IPv4 that old libraries read too: one number, octal or hexadecimal parts, fewer than four parts
_ODD_NUMBER = re.compile(r"(?i)(?:0x[0-9a-f]*|\d+)(?:\.(?:0x[0-9a-f]*|\d+)){0,3}\.?")
_NAT64 = ip_network("64:ff9b::/96")


def what_is_wrong(address: str, *, with_user: bool = False) -> str:
    """Why a text is no address of the web that may be asked; empty where it is one.

    Accepted are http and https with a host and, if need be, a port and a path. A user or a password inside the address
    is refused unless `with_user`, since addresses are shown and kept, and so is an IPv4 address in other than the
    usual four numbers.
    """
    if any(char.isspace() or not char.isprintable() for char in address):
        return "it has blanks or control characters in it"
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        return "its host or port cannot be read"
    if parts.scheme not in ("http", "https"):
        return (
            f'it begins with "{parts.scheme}:"'
            if parts.scheme
            else "it begins with neither https:// nor http://"
        )
    if not host:
        return "it names no host"
    if port == 0:
        return "port 0 is no port"
    if "@" in parts.netloc and not with_user:
        return "it holds a user or a password"
    if "\\" in address:
        return "it has a backslash in it"
    if _ODD_NUMBER.fullmatch(host) and not _usual(host):
        return "its host is a number in an unusual form"
    return ""


def _usual(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def is_public(address: str | Address) -> bool:
    """Whether a number is one of the public network; one that hides in another counts as what it hides.

    Loopback, private, link-local (where machines of a cloud keep their secrets), shared, reserved, documentation and
    multicast addresses are not (the registries of RFC 6890).
    """
    try:
        number = ip_address(address.partition("%")[0]) if isinstance(address, str) else address
    except ValueError:
        return False
    inner = _inside(number)
    if inner is not None:
        return is_public(inner)
    return number.is_global and not number.is_multicast


def _inside(number: Address) -> IPv4Address | None:
    """The IPv4 address that an IPv6 address carries (mapped, 6to4, Teredo, NAT64)."""
    if number.version == 4:
        return None
    if number.ipv4_mapped is not None:
        return number.ipv4_mapped
    if number.sixtofour is not None:
        return number.sixtofour
    if number.teredo is not None:
        return number.teredo[1]
    return IPv4Address(int(number) & 0xFFFFFFFF) if number in _NAT64 else None
