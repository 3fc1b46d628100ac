"""Under which addresses of this machine others on its network can reach it."""

from __future__ import annotations

import ipaddress
import socket
import struct
import sys
from collections.abc import Iterator

from classifier.errors import TallytareError

_VIRTUAL = ("docker", "br-", "veth", "virbr", "vmnet", "vboxnet", "tun", "tap", "utun", "wg", "zt")


class NoNetworkError(TallytareError):
    """This machine has no address that another device could reach."""

    code = "no_network"


def lan_addresses() -> tuple[str, ...]:
    """Return this machine's own IPv4 addresses, the likeliest to be the local network first.

    They are read from the system; nothing is sent. Raises NoNetworkError when there is none.
    """
    found: list[tuple[int, str]] = []
    for adapter, ip in _of_linux() if sys.platform == "linux" else _of_others():
        address = ipaddress.ip_address(ip)
        if not address.is_loopback:
            found.append((_rank(adapter, address), ip))
    if not found:
        raise NoNetworkError(
            "this machine is on no network, so no other device can reach it: join a Wi-Fi or "
            "start a hotspot, then start again; --host names an address by hand"
        )
    return tuple(ip for _, ip in sorted(found, key=lambda pair: pair[0]))


def _of_linux() -> Iterator[tuple[str, str]]:
    """Give adapters and addresses as the kernel tells them; ifaddr would start a compiler here."""
    import fcntl

    ask_address = 0x8915  # SIOCGIFADDR of ioctl
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            question = struct.pack("256s", name.encode()[:15])
            try:
                answer = fcntl.ioctl(probe.fileno(), ask_address, question)
            except OSError:
                continue  # it has no IPv4 address
            yield name, socket.inet_ntoa(answer[20:24])


def _of_others() -> Iterator[tuple[str, str]]:
    import ifaddr

    for adapter in ifaddr.get_adapters():
        for each in adapter.ips:
            if isinstance(each.ip, str):
                yield adapter.name, each.ip


def _rank(adapter: str, address: ipaddress.IPv4Address | ipaddress.IPv6Address) -> int:
    """Return a lower number for what is more likely a network with phones on it."""
    if address.is_link_local:
        return 3
    if adapter.lower().startswith(_VIRTUAL):
        return 2
    return 0 if address.is_private else 1
