"""One server on two sockets: this machine's own over HTTP, the network's over HTTP or HTTPS."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI

from classifier.errors import StorageError
from service.web.connections import (
    WAITING,
    Connections,
    CountedListener,
    allow_more_files,
    is_used_up,
)
from service.web.deadlines import HEAD_S, DeadlineProtocol

logger = logging.getLogger("tallytare")
_GRACE_S = 5
_DAY_S = 86_400.0


class ListeningServer(uvicorn.Server):
    """Serves `app`; browsers take the loopback for safe, so only the network needs HTTPS."""

    def __init__(
        self,
        app: FastAPI,
        *,
        local: socket.socket | None,
        beyond: socket.socket | None,
        certificate: Callable[[], Path] | None = None,
    ) -> None:
        config = uvicorn.Config(
            app,
            http=DeadlineProtocol,
            ws="none",
            log_level="warning",
            server_header=False,
            access_log=False,
            # Who is on the other end decides what it may do: no header may say otherwise.
            proxy_headers=False,
            timeout_graceful_shutdown=_GRACE_S,
            backlog=WAITING,
        )
        super().__init__(config)
        connections = Connections()
        self._local = CountedListener.of(local, connections) if local else None
        self._beyond = CountedListener.of(beyond, connections) if beyond else None
        self._certificate = certificate
        self._context: ssl.SSLContext | None = None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen on both sockets."""
        allow_more_files()
        asyncio.get_running_loop().set_exception_handler(_tell_once())
        await super().startup(sockets=[self._local] if self._local else sockets or [])
        if self._beyond is None:
            return
        if self._certificate is not None:
            self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self._renew(self._context)
        server = await asyncio.get_running_loop().create_server(
            self._protocol,
            sock=self._beyond,
            ssl=self._context,
            ssl_handshake_timeout=HEAD_S if self._context else None,
            ssl_shutdown_timeout=_GRACE_S if self._context else None,
            backlog=self.config.backlog,
        )
        self.servers.append(server)

    def _protocol(self) -> asyncio.Protocol:
        return DeadlineProtocol(
            config=self.config, server_state=self.server_state, app_state=self.lifespan.state
        )

    def _renew(self, context: ssl.SSLContext) -> None:
        """Take the certificate as it is now, and look again each day: it must not run out."""
        if self._certificate is None:
            return
        # With the old one until tomorrow, should the disk be full today.
        with contextlib.suppress(StorageError, OSError):
            context.load_cert_chain(self._certificate())
        asyncio.get_running_loop().call_later(_DAY_S, self._renew, context)


def _tell_once() -> Callable[[asyncio.AbstractEventLoop, dict[str, Any]], None]:
    """Return what handles the loop's errors: one that comes with each connection is logged once."""
    logged = False

    def handle(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        nonlocal logged
        if not is_used_up(context.get("exception")):
            loop.default_exception_handler(context)
        elif not logged:
            logged = True
            logger.error(
                "no connection can be accepted (%s): another program takes all that the system "
                "has; this is logged once",
                context["exception"],
            )

    return handle
