"""Under which addresses of this machine others on its network can reach it."""

from __future__ import annotations

import ipaddress

import ifaddr

from classifier.domain.errors import TallytareError

_VIRTUAL = ("docker", "br-", "veth", "virbr", "vmnet", "vboxnet", "tun", "tap", "utun", "wg", "zt")


class NoNetworkError(TallytareError):
    """This machine has no address that another device could reach."""

    code = "no_network"


def lan_addresses() -> tuple[str, ...]:
    """Return this machine's own IPv4 addresses, the likeliest to be the local network first.

    They are read from the system; nothing is sent. Raises NoNetworkError when there is none.
    """
    found: list[tuple[int, str]] = []
    for adapter in ifaddr.get_adapters():
        for each in adapter.ips:
            if not isinstance(each.ip, str):
                continue
            address = ipaddress.ip_address(each.ip)
            if not address.is_loopback:
                found.append((_rank(adapter.name, address), each.ip))
    if not found:
        raise NoNetworkError(
            "this machine is on no network, so no other device can reach it: join a Wi-Fi or "
            "start a hotspot, then start again; --host names an address by hand"
        )
    return tuple(ip for _, ip in sorted(found, key=lambda pair: pair[0]))


def _rank(adapter: str, address: ipaddress.IPv4Address | ipaddress.IPv6Address) -> int:
    """Return a lower number for what is more likely a network with phones on it."""
    if address.is_link_local:
        return 3
    if adapter.lower().startswith(_VIRTUAL):
        return 2
    return 0 if address.is_private else 1
