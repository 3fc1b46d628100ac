"""One request as a phone sends it, and the two ways in which its network can fail."""

from __future__ import annotations

import http.client
import json
import socket
from dataclasses import dataclass
from typing import Any, Literal
from uuid import uuid4

PATIENCE_S = 20.0
Cut = Literal["half", "answer"] | None
"""The network goes after half of the request, or before the answer is read."""


class NoAnswerError(Exception):
    """The phone does not know whether the request arrived."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    body: Any


@dataclass(frozen=True, slots=True)
class Request:
    """What a phone sends, the same bytes each time that it sends it."""

    path: str
    body: bytes
    kind: str

    def raw(self, port: int) -> bytes:
        """Return head and body."""
        head = (
            f"POST {self.path} HTTP/1.1\r\nHost: localhost:{port}\r\nContent-Type: {self.kind}\r\n"
            f"Content-Length: {len(self.body)}\r\nConnection: close\r\n\r\n"
        )
        return head.encode("ascii") + self.body


def json_request(path: str, content: dict[str, Any]) -> Request:
    """Return a request with JSON."""
    return Request(path, json.dumps(content).encode(), "application/json")


def photo_request(path: str, capture_id: str, jpeg: bytes) -> Request:
    """Return a request with a photo, as a form."""
    edge = uuid4().hex
    body = (
        f'--{edge}\r\nContent-Disposition: form-data; name="capture_id"\r\n\r\n{capture_id}\r\n'
        f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="p.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    ).encode()
    end = f"\r\n--{edge}--\r\n".encode()
    return Request(path, body + jpeg + end, f"multipart/form-data; boundary={edge}")


def send(port: int, request: Request, cut: Cut = None) -> Answer:
    """Send a request to a server on this machine.

    Raises NoAnswerError when no whole answer came.
    """
    raw = request.raw(port)
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as connection:
            if cut == "half":
                connection.sendall(raw[: len(raw) // 2])
                raise NoAnswerError("the network went in mid-request")
            connection.sendall(raw)
            if cut == "answer":
                raise NoAnswerError("the network went before the answer came")
            answer = http.client.HTTPResponse(connection, method="POST")
            answer.begin()
            return Answer(answer.status, json.loads(answer.read()))
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise NoAnswerError(str(error)) from error
