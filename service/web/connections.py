"""How many connections are open at once: so few per address that nobody can keep others away."""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import socket
import sys
import threading
from collections import Counter
from typing import Any

from service.web.visitors import is_loopback

MOST_OF_ONE_ADDRESS = 32
"""A browser opens six; several devices may be behind one address."""
MOST_OF_OTHERS = 400
"""From all other machines together."""
MOST_OF_LAPTOP = 200
"""From this machine itself, which has these to itself."""
WAITING = 64
"""Accepted in one go, and waiting to be: each takes a file descriptor before it is counted."""
_FILES = 4096
"""File descriptors that the service asks for; systems give 256 or 1,024 by default."""
_USED_UP = frozenset({errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM})


def is_own(address: str) -> bool:
    """Tell whether a connection comes from this machine itself."""
    return is_loopback(address)


class Connections:
    """Counts what is open, by address; shared by all sockets that are listened to."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: Counter[str] = Counter()

    def enter(self, address: str) -> bool:
        """Count one more, unless there are too many; return whether it may stay."""
        with self._lock:
            own, others = self._sums()
            if is_own(address):
                allowed = own < MOST_OF_LAPTOP
            else:
                allowed = others < MOST_OF_OTHERS and self._open[address] < MOST_OF_ONE_ADDRESS
            if allowed:
                self._open[address] += 1
            return allowed

    def leave(self, address: str) -> None:
        """Count one less."""
        with self._lock:
            self._open[address] -= 1
            if not self._open[address]:
                del self._open[address]

    def _sums(self) -> tuple[int, int]:
        own = sum(count for address, count in self._open.items() if is_own(address))
        return own, self._open.total() - own


class CountedListener(socket.socket):
    """A listening socket that closes at once what is too many, before TLS or HTTP begins."""

    connections: Connections

    @classmethod
    def of(cls, listener: socket.socket, connections: Connections) -> CountedListener:
        """Take a listening socket over."""
        made = cls(listener.family, listener.type, listener.proto, fileno=listener.detach())
        made.connections = connections
        return made

    def accept(self) -> tuple[socket.socket, Any]:
        """Return the next connection that may stay; raises BlockingIOError when none waits."""
        while True:
            accepted, address = super().accept()
            peer = plain_address(str(address[0]))
            if self.connections.enter(peer):
                return _Counted.of(accepted, peer, self.connections), address
            accepted.close()


class _Counted(socket.socket):
    """A connection that is counted until it is closed."""

    _leave: contextlib.ExitStack

    @classmethod
    def of(cls, accepted: socket.socket, peer: str, connections: Connections) -> _Counted:
        made = cls(accepted.family, accepted.type, accepted.proto, fileno=accepted.detach())
        made._leave = contextlib.ExitStack()
        made._leave.callback(connections.leave, peer)
        return made

    def close(self) -> None:
        super().close()
        self._leave.close()  # once, however often it is closed


def allow_more_files() -> None:
    """Ask the system for enough file descriptors for all connections, as far as it lets us."""
    if sys.platform == "win32":
        return
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = _FILES if hard == resource.RLIM_INFINITY else min(_FILES, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


def is_used_up(error: object) -> bool:
    """Tell whether an error says that the system has no file descriptors or memory left."""
    return isinstance(error, OSError) and error.errno in _USED_UP


def plain_address(address: str) -> str:
    """Return an address without its zone, and an IPv4 one as such where both are listened to."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:64]
    mapped = getattr(parsed, "ipv4_mapped", None)
    return str(mapped or parsed)
