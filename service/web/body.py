"""A request body that is counted and timed while it arrives."""

from __future__ import annotations

import asyncio
import time

from starlette.datastructures import Headers
from starlette.types import Message, Receive

from service.web.errors import Problem

DRAIN_FACTOR = 8
"""A refused body is read on up to so many times its limit: a browser that is still sending shows
"connection reset" instead of our message."""
SILENCE_S = 30.0
"""How long a client that is sending may say nothing."""
WHOLE_BODY_S = 300.0
"""How long a body may take in all: longer than the page waits for its largest photo."""

STRANGER_SILENCE_S = 5.0
STRANGER_WHOLE_S = 10.0
"""The same for those who have not joined: what they may send is a form of two fields."""

MOST_HELD_BYTES = 250_000_000
"""What all bodies that are being received or used may hold in memory together."""


class Held:
    """The bytes of all bodies at present; each is added as it comes and let go with its answer."""

    def __init__(self) -> None:
        self.count = 0


class Body:
    """Passes a body on until it is too large or too slow; `problem` then says so."""

    def __init__(
        self,
        receive: Receive,
        limit: int,
        headers: Headers,
        code: str,
        held: Held,
        *,
        stranger: bool = False,
    ) -> None:
        self._receive = receive
        self._held = held
        self._own = 0
        self._code = code
        self._limit = limit
        self._count = 0
        self._ended = False
        self._silence_s = STRANGER_SILENCE_S if stranger else SILENCE_S
        self._whole_s = STRANGER_WHOLE_S if stranger else WHOLE_BODY_S
        self._deadline = time.monotonic() + self._whole_s
        declared = headers.get("content-length", "")
        self._declared = int(declared) if declared.isascii() and declared.isdigit() else 0
        self.problem: Problem | None = self._too_large() if self._declared > limit else None

    async def receive(self) -> Message:
        """Pass a message on, or tell the app that the client is gone once it is refused."""
        if self.problem is not None:
            return {"type": "http.disconnect"}
        if self._ended:
            return await self._receive()  # now only the end of the connection can come
        try:
            message = await self._next()
        except TimeoutError:
            self.problem = self._too_slow()
            return {"type": "http.disconnect"}
        if self._count > self._limit:
            self.problem = self._too_large()
            return {"type": "http.disconnect"}
        size = len(message.get("body", b""))
        # The first piece always passes: small requests go on while photos wait.
        if self._own and self._held.count + size > MOST_HELD_BYTES:
            self.let_go()  # at once, so that the others can be finished
            self.problem = self._too_many()
            return {"type": "http.disconnect"}
        self._own += size
        self._held.count += size
        return message

    def let_go(self) -> None:
        """Count the body no longer: it was answered."""
        self._held.count -= self._own
        self._own = 0

    async def drain(self) -> None:
        """Read on and throw away, within reason."""
        most = self._limit * DRAIN_FACTOR
        if self._declared > most:
            return
        try:
            while not self._ended and self._count <= most:
                await self._next()
        except TimeoutError:
            return

    async def _next(self) -> Message:
        left = self._deadline - time.monotonic()
        message = await asyncio.wait_for(self._receive(), min(self._silence_s, max(left, 0.0)))
        self._count += len(message.get("body", b""))
        self._ended = message["type"] != "http.request" or not message.get("more_body", False)
        return message

    def _too_large(self) -> Problem:
        return Problem(
            413,
            self._code,
            f"the request is larger than {self._limit:,} bytes: send less at once (a photo: taken "
            "at a lower resolution); nothing was recorded",
            {"allowed_bytes": self._limit},
        )

    def _too_many(self) -> Problem:
        return Problem(
            503,
            "too_many_uploads",
            f"more than {MOST_HELD_BYTES:,} bytes are arriving at once: nothing was recorded; "
            "send it again in a moment",
        )

    def _too_slow(self) -> Problem:
        return Problem(
            408,
            "request_too_slow",
            f"the request stopped after {self._count:,} bytes: allowed are {self._silence_s:.0f} "
            f"seconds of silence and {self._whole_s:.0f} in all; send it again, nearer to the "
            "network",
        )
