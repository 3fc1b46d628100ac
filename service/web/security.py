"""The gate before every endpoint: which hosts, origins and sizes pass, and what headers leave.

Written as plain ASGI so that a body is counted and timed while it streams in, before anything
parses it.
"""

from __future__ import annotations

import ipaddress
import logging
import socket
from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.settings import Settings
from service.web.body import Body, Held
from service.web.errors import Problem, answer, internal_problem

logger = logging.getLogger("tallytare")

FORM_OVERHEAD_BYTES = 64_000
"""What a multipart form may add to the photo in it."""

_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_HEADERS = {
    "content-security-policy": (
        "default-src 'self'; img-src 'self' blob: data:; media-src 'self' blob:; "
        "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": under that a browser sends our own forms with "Origin: null".
    "referrer-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class Gate:
    """Refuses foreign hosts, foreign origins and bodies over their limit; adds the headers."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._settings = settings
        self._host_allowed = host_rule(settings)
        self._held = Held()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        out = _Out(send, no_store=not scope["path"].startswith("/static/"))
        problem = self._refusal(request)
        if problem is not None:
            await answer(request, problem)(scope, receive, out.send)
            return
        body = self._body(request, receive)
        try:
            await self._pass(request, body, out)
        finally:
            body.let_go()

    async def _pass(self, request: Request, body: Body, out: _Out) -> None:
        scope = request.scope

        async def send_unless_refused(message: Message) -> None:
            if body.problem is None:
                await out.send(message)

        try:
            if body.problem is None:
                await self._app(scope, body.receive, send_unless_refused)
        except Exception:
            if body.problem is None:
                logger.exception("%s %s failed", scope["method"], scope["path"])
                if not out.started:
                    await answer(request, internal_problem())(scope, body.receive, out.send)
                return
        if body.problem is not None and not out.started:
            await body.drain()
            await answer(request, body.problem)(scope, body.receive, out.send)

    def _refusal(self, request: Request) -> Problem | None:
        host = request.headers.get("host", "")
        if not self._host_allowed(host):
            return Problem(
                421,
                "host_not_allowed",
                f"this service does not answer under the name {host[:100]!r}: open it under the "
                "address that it printed, or add the name to TALLYTARE_ALLOWED_HOSTS",
            )
        if request.method not in _SAFE_METHODS and not _same_origin(request.headers):
            return Problem(
                403,
                "foreign_origin",
                "the request comes from another page than this service's own: nothing was changed",
            )
        return None

    def _body(self, request: Request, receive: Receive) -> Body:
        if request.method == "POST" and request.url.path.endswith("/captures"):
            limit = self._settings.max_upload_bytes + FORM_OVERHEAD_BYTES
            return Body(receive, limit, request.headers, "photo_too_large", self._held)
        most = self._settings.max_json_bytes
        return Body(receive, most, request.headers, "request_too_large", self._held)


class _Out:
    """Sends an answer with the security headers on it."""

    def __init__(self, send: Send, *, no_store: bool) -> None:
        self._send = send
        self._no_store = no_store
        self.started = False

    async def send(self, message: Message) -> None:
        """Send one message on."""
        if message["type"] == "http.response.start":
            self.started = True
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            if self._no_store:
                headers.setdefault("cache-control", "no-store")
        await self._send(message)


def host_rule(settings: Settings) -> Callable[[str], bool]:
    """Return the test that a Host header must pass.

    A page of a foreign site can make its own name point here (DNS rebinding), but can't make the
    browser send an address: addresses pass, names only when they are ours.
    """
    names = {"localhost", *(name.lower() for name in settings.allowed_hosts)}
    beyond = not _is_loopback(settings.host)
    if beyond:
        own = socket.gethostname().lower()
        names |= {own, own.removesuffix(".local") + ".local", settings.host.lower()}

    def allowed(host: str) -> bool:
        name = _without_port(host.lower())
        if name in names:
            return True
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return False
        return address.is_loopback or (beyond and (address.is_private or address.is_link_local))

    return allowed


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _without_port(host: str) -> str:
    if host.startswith("["):
        return host[1:].partition("]")[0]
    return host.partition(":")[0]


def _same_origin(headers: Headers) -> bool:
    """Tell whether a changing request comes from our own page, or from no page at all."""
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if site not in (None, "same-origin", "none"):
        return False
    # A page can't set Sec-Fetch-Site; where the browser sends it, a hidden origin is our own.
    if origin is None or (origin == "null" and site == "same-origin"):
        return True
    _, separator, host = origin.partition("://")
    return bool(separator) and host.lower() == headers.get("host", "").lower()
