"""Connections that say or read nothing are closed, so that they can't use up all there are."""

from __future__ import annotations

import asyncio
import struct
from socket import SO_LINGER, SOL_SOCKET

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 20.0
"""How long a client may take from opening a connection to the end of a request's headers."""
READ_S = 20.0
"""How often a client that is sent an answer must have read on."""
LEAST_READ_BYTES = 16_384
"""So much of the answer, or all that is left of it: a slow phone reads that in a second."""

_AT_ONCE = struct.pack("ii", 1, 0)


class DeadlineProtocol(H11Protocol):
    """HTTP/1.1 by h11, which also bounds the headers' size.

    With time limits for sending them and for reading the answer.
    """

    _waiting: asyncio.TimerHandle | None = None
    _reading: asyncio.TimerHandle | None = None
    _unread = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request."""
        super().connection_made(transport)
        # Told of whatever the client has not read yet: the end of an answer is no large part.
        transport.set_write_buffer_limits(high=1)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._rest()
        self._read_all()
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """Begin to wait until the client has read what it was sent."""
        super().pause_writing()
        self._read_all()
        self._unread = self.transport.get_write_buffer_size()
        self._reading = self.loop.call_later(READ_S, self._look)

    def resume_writing(self) -> None:
        """Go on sending: all was read."""
        self._read_all()
        super().resume_writing()

    def _look(self) -> None:
        """Close the connection unless the client reads."""
        left = self.transport.get_write_buffer_size()
        if self._unread - left < LEAST_READ_BYTES:
            self._reading = None
            # Closed at once, also for the system, which else keeps what nobody reads for minutes.
            self.transport.get_extra_info("socket").setsockopt(SOL_SOCKET, SO_LINGER, _AT_ONCE)
            self.transport.abort()
            return
        self._unread = left
        self._reading = self.loop.call_later(READ_S, self._look)

    def _read_all(self) -> None:
        if self._reading is not None:
            self._reading.cancel()
            self._reading = None

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
