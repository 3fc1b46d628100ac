"""Who asks: the laptop itself, a device that has joined, or nobody."""

from __future__ import annotations

import ipaddress
from contextvars import ContextVar
from dataclasses import dataclass

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import Response

from service.services import Services
from service.web.access import SESSION_LIFE, device_of
from service.web.roles import PERMISSIONS, AccessLevel, Permission

COOKIE = "tallytare"
SECURE_COOKIE = "__Host-tallytare"
"""The prefix makes browsers refuse it over HTTP, for other paths and from other hosts."""
_LONGEST_TOKEN = 100
_FORWARDED = ("forwarded", "x-forwarded-for", "x-real-ip", "via")


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whom a request comes from; a device that has joined has the name that its user chose."""

    level: AccessLevel
    device_id: str = ""
    name: str = ""

    def may(self, permission: str) -> bool:
        """Tell whether this visitor may do that."""
        return Permission(permission) in PERMISSIONS[self.level]


NOBODY = Visitor(AccessLevel.NOBODY)
LAPTOP = Visitor(AccessLevel.LAPTOP)
_CURRENT: ContextVar[Visitor] = ContextVar("visitor", default=NOBODY)


def current_visitor() -> Visitor:
    """Return whom the request that is being answered comes from."""
    return _CURRENT.get()


def set_visitor(visitor: Visitor) -> None:
    """Say whom the request comes from; holds for the task that answers it."""
    _CURRENT.set(visitor)


class Authenticator:
    """Recognises visitors."""

    def __init__(self, *, reachable: bool) -> None:
        self._reachable = reachable
        # Few threads of their own: the store is asked while photos use up all others.
        self._threads = 8
        self._limiter: CapacityLimiter | None = None

    async def recognise(self, request: Request, services: Services) -> Visitor:
        """Return whom a request comes from.

        Asked for each request, so that removing a device's access takes effect at once.
        Raises StorageError when the store does not answer.
        """
        if self._is_laptop(request):
            return LAPTOP
        token = session_token(request)
        if not token:
            return NOBODY
        if self._limiter is None:
            self._limiter = CapacityLimiter(self._threads)
        device = await to_thread.run_sync(device_of, services, token, limiter=self._limiter)
        if device is None:
            return NOBODY
        return Visitor(AccessLevel(device.role), device.id, device.name)

    def _is_laptop(self, request: Request) -> bool:
        """Tell whether a request comes from this machine itself.

        A tunnel or proxy on this machine also connects from the loopback. It shows by the name
        that it was asked for, or by its headers, and its visitors have to join like any other.
        """
        if any(name in request.headers for name in _FORWARDED):
            return False
        if not is_loopback(host_name(request.headers.get("host", ""))):
            return False
        peer = request.client.host if request.client else ""
        try:
            return ipaddress.ip_address(peer).is_loopback
        except ValueError:
            return not self._reachable  # no network was in between, as in tests


def session_token(request: Request) -> str:
    """Return the token in the cookie, empty if there is none."""
    name = SECURE_COOKIE if request.url.scheme == "https" else COOKIE
    token = request.cookies.get(name, "")
    return token if len(token) <= _LONGEST_TOKEN else ""


def set_session(request: Request, response: Response, token: str) -> None:
    """Give the browser its token, out of reach of scripts and of other sites; empty takes it."""
    secure = request.url.scheme == "https"
    response.set_cookie(
        SECURE_COOKIE if secure else COOKIE,
        token,
        max_age=int(SESSION_LIFE.total_seconds()) if token else 0,
        path="/",
        secure=secure,
        httponly=True,
        samesite="strict",
    )


def host_name(host: str) -> str:
    """Return a Host header without its port."""
    if host.startswith("["):
        return host[1:].partition("]")[0]
    return host.partition(":")[0]


def is_loopback(host: str) -> bool:
    """Tell whether a name or address is this machine's own."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
