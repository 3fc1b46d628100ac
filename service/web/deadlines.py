"""Connections that say nothing are closed, so that they can't use up all that there are."""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 20.0
"""How long a client may take from opening a connection to the end of a request's headers."""


class DeadlineProtocol(H11Protocol):
    """HTTP/1.1 by h11, which also bounds the headers' size, with a time limit for them."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request."""
        super().connection_made(transport)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._rest()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read on; once the headers are whole, the body has limits of its own."""
        super().data_received(data)
        if self._answering():
            self._rest()
        elif self._waiting is None:
            self._watch()

    def _answering(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _watch(self) -> None:
        self._waiting = self.loop.call_later(HEAD_S, self._give_up)

    def _rest(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _give_up(self) -> None:
        self._waiting = None
        if not self._answering() and not self.transport.is_closing():
            self.transport.close()
