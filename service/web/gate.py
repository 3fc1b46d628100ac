"""The gate before every endpoint: which hosts, origins, visitors and sizes pass.

It also puts the headers on each answer. Written as plain ASGI so that a body is counted and timed
while it streams in, before anything parses it.
"""

from __future__ import annotations

import ipaddress
import logging
import re
import socket
from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from classifier.errors import StorageError
from service.settings import Settings
from service.web.body import Body, Held
from service.web.errors import Problem, answer, internal_problem, problem_of
from service.web.roles import PERMISSIONS, AccessLevel, Need, need_of
from service.web.visitors import (
    LAPTOP,
    Authenticator,
    Visitor,
    current_visitor,
    host_name,
    is_loopback,
    set_visitor,
)

logger = logging.getLogger("tallytare")

FORM_OVERHEAD_BYTES = 64_000
"""What a multipart form may add to the photo in it."""

REFUSED_BYTES = 125_000
"""A body up to eight times that is read to its end before a visitor is turned away, so that a
phone's photo gets our message and not a broken connection."""

STRANGER_BYTES = 4_000
"""What anybody may send: a join code and a name of 80 characters, as browsers write them."""

_UPLOADS = ("/captures", "/examples/import")
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_CHARSET = re.compile(r";\s*charset\s*=\s*[\"']?([^\s;\"']*)", re.IGNORECASE)
_KNOWN_CHARSETS = frozenset({"utf-8", "utf8", "us-ascii"})
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
    """Refuses foreign hosts and origins, those not let in, bodies too large; adds the headers."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._settings = settings
        self._host_allowed = host_rule(settings)
        self._authenticator = Authenticator(reachable=not is_loopback(settings.host))
        self._held = Held()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        out = _Out(send, no_store=not scope["path"].startswith("/static/"), head=_is_head(scope))
        problem = self._refusal(request)
        if problem is not None:
            await answer(request, problem)(scope, receive, out.send)
            return
        need = need_of(_method(scope), scope["path"])
        visitor, problem = await self._visitor(request, need)
        set_visitor(visitor)
        out.last = visitor.level is AccessLevel.NOBODY
        if problem is not None:
            await self._limited(request, receive, REFUSED_BYTES, "").drain()
            await answer(request, problem)(scope, receive, out.send)
            return
        if out.head:
            # What GET would say, without its body; a copy, since the server goes by its own.
            request = Request(scope := dict(scope, method="GET"))
        body = self._body(request, receive, need)
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
        return _unreadable(request)

    async def _visitor(self, request: Request, need: Need) -> tuple[Visitor, Problem | None]:
        """Return whom a request comes from, and why it goes no further."""
        services = request.scope["app"].state.services
        try:
            visitor = await self._authenticator.recognise(request, services)
        except StorageError as error:
            return Visitor(AccessLevel.NOBODY), problem_of(error)
        if need.methods and _method(request.scope) not in need.methods:
            return visitor, _other_method(need.methods)
        if need.permissions <= PERMISSIONS[visitor.level] and (
            need.permissions or visitor == LAPTOP
        ):
            return visitor, None
        return visitor, _closed_to(visitor, need)

    def _body(self, request: Request, receive: Receive, need: Need) -> Body:
        if need.permissions <= PERMISSIONS[AccessLevel.NOBODY]:
            return self._limited(request, receive, STRANGER_BYTES, "request_too_large")
        if request.method == "POST" and request.url.path.endswith(_UPLOADS):
            limit = self._settings.max_upload_bytes + FORM_OVERHEAD_BYTES
            return self._limited(request, receive, limit, "photo_too_large")
        most = self._settings.max_json_bytes
        return self._limited(request, receive, most, "request_too_large")

    def _limited(self, request: Request, receive: Receive, most: int, code: str) -> Body:
        stranger = current_visitor().level is AccessLevel.NOBODY
        return Body(receive, most, request.headers, code, self._held, stranger=stranger)


class _Out:
    """Sends an answer with the security headers on it.

    While it is the `last`, the connection ends with it: a stranger asks for one thing at a time, so
    that nobody can have thousands of pages made for nobody to read.
    """

    def __init__(self, send: Send, *, no_store: bool, head: bool) -> None:
        self._send = send
        self._no_store = no_store
        self.head = head
        self.started = False
        self.last = True

    async def send(self, message: Message) -> None:
        """Send one message on."""
        if message["type"] == "http.response.start":
            self.started = True
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            if self.last:
                headers["connection"] = "close"
            if self._no_store:
                headers.setdefault("cache-control", "no-store")
        elif self.head:
            message = {**message, "body": b""}
        await self._send(message)


def host_rule(settings: Settings) -> Callable[[str], bool]:
    """Return the test that a Host header must pass.

    A page of a foreign site can make its own name point here (DNS rebinding), but can't make the
    browser send an address: addresses pass, names only when they are ours.
    """
    names = {"localhost", *(name.lower() for name in settings.allowed_hosts)}
    beyond = not is_loopback(settings.host)
    if beyond:
        own = socket.gethostname().lower()
        names |= {own, own.removesuffix(".local") + ".local", settings.host.lower()}

    def allowed(host: str) -> bool:
        name = host_name(host.lower())
        if name in names:
            return True
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return False
        return address.is_loopback or (beyond and (address.is_private or address.is_link_local))

    return allowed


def _is_head(scope: Scope) -> bool:
    return bool(scope["method"] == "HEAD")


def _method(scope: Scope) -> str:
    return "GET" if _is_head(scope) else str(scope["method"])


def _other_method(methods: frozenset[str]) -> Problem:
    known = methods | {"HEAD"} if "GET" in methods else methods
    return Problem(
        405,
        "method_not_allowed",
        f"this address does not take that kind of request: it knows {', '.join(sorted(known))}",
        {"allowed": sorted(known)},
        {"allow": ", ".join(sorted(known))},
    )


def _closed_to(visitor: Visitor, need: Need) -> Problem:
    if visitor.level is AccessLevel.NOBODY:
        return Problem(
            401,
            "not_let_in",
            "this device has no access, or no longer: ask at the laptop for a join code and open "
            "its link; what was entered here is kept until then",
        )
    if not need.permissions:
        return Problem(404, "not_found", "there is nothing at this address for you: go back")
    least = next(each for each in AccessLevel if need.permissions <= PERMISSIONS[each])
    takes = (
        "is done at the laptop itself: do it there"
        if least is AccessLevel.LAPTOP
        else f"takes the role {least}: do it at the laptop, or ask for a join code with that role"
    )
    return Problem(
        403,
        "role_too_small",
        f"{visitor.name!r} joined as {visitor.level}, and this {takes}; nothing was changed",
    )


def _unreadable(request: Request) -> Problem | None:
    """Refuse what no page of ours sends and no endpoint should have to think of."""
    if "\0" in request.scope["path"] or b"%00" in request.scope["query_string"]:
        return Problem(
            400,
            "bad_request",
            "the address holds a NUL character, which no address here has: check it, or go back",
        )
    declared = _CHARSET.search(request.headers.get("content-type", ""))
    # Some of Python's codecs make texts that can't be written back as UTF-8.
    if declared is not None and declared[1].lower() not in _KNOWN_CHARSETS:
        return Problem(
            415,
            "charset_not_known",
            f"the request is written in {declared[1][:40]!r}: send it in UTF-8",
        )
    return None


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
