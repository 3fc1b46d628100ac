"""Requests as no browser writes them: lengths that lie, forms that break, names that climb."""

from __future__ import annotations

import random
import re
import socket
from collections.abc import Callable

BOUND = "xXhostileXx"


def form(capture_id: str, photo: bytes, *, name: str = "IMG_1.jpg") -> bytes:
    """Return a whole multipart body."""
    head = (
        f'--{BOUND}\r\ncontent-disposition: form-data; name="capture_id"\r\n\r\n{capture_id}\r\n'
        f'--{BOUND}\r\ncontent-disposition: form-data; name="photo"; filename="{name}"\r\n'
        "content-type: image/jpeg\r\n\r\n"
    )
    return head.encode("utf-8", "surrogateescape") + photo + f"\r\n--{BOUND}--\r\n".encode()


def head(path: str, host: str, *lines: str) -> bytes:
    """Return the head of a POST with the given lines."""
    given = [f"POST {path} HTTP/1.1", f"host: {host}", "connection: close", *lines, "", ""]
    return "\r\n".join(given).encode()


def _kind(bound: str = BOUND) -> str:
    return f"content-type: multipart/form-data; boundary={bound}"


Wrong = Callable[[str, str, bytes, random.Random], bytes]


def _length(of: Callable[[int, random.Random], object]) -> Wrong:
    def made(path: str, host: str, body: bytes, chance: random.Random) -> bytes:
        lines = [_kind(), f"content-length: {of(len(body), chance)}"]
        return head(path, host, *lines) + body

    return made


def _body(change: Callable[[bytes, random.Random], bytes], bound: str = BOUND) -> Wrong:
    def made(path: str, host: str, body: bytes, chance: random.Random) -> bytes:
        changed = change(body, chance)
        return head(path, host, _kind(bound), f"content-length: {len(changed)}") + changed

    return made


def _lines(*lines: str) -> Wrong:
    def made(path: str, host: str, body: bytes, chance: random.Random) -> bytes:
        del chance
        return head(path, host, *lines, f"content-length: {len(body)}") + body

    return made


def _chunked(pieces: Callable[[bytes, random.Random], bytes]) -> Wrong:
    def made(path: str, host: str, body: bytes, chance: random.Random) -> bytes:
        return head(path, host, _kind(), "transfer-encoding: chunked") + pieces(body, chance)

    return made


WRONG: dict[str, Wrong] = {
    "length too small": _length(lambda size, chance: chance.randrange(size)),
    "length too large": _length(lambda size, chance: size + chance.randrange(1, 10_000)),
    "length of a terabyte": _length(lambda _s, _c: 10**12),
    "length of 5,000 digits": _length(lambda _s, _c: "9" * 5_000),
    "length below zero": _length(lambda size, _c: -size),
    "length in words": _length(lambda _s, _c: "many"),
    "two lengths": _length(lambda size, _c: f"{size}\r\ncontent-length: {size + 1}"),
    "length and chunks": _length(lambda size, _c: f"{size}\r\ntransfer-encoding: chunked"),
    "no length": lambda path, host, body, _c: head(path, host, _kind()) + body,
    "chunk sizes that lie": _chunked(
        lambda body, chance: b"%x\r\n" % (len(body) + chance.randrange(-50, 50)) + body
    ),
    "chunk of all memory": _chunked(lambda body, _c: b"ffffffffffffffff\r\n" + body),
    "chunks of one byte": _chunked(
        lambda body, _c: b"".join(b"1\r\n%c\r\n" % each for each in body[:2_000]) + b"0\r\n\r\n"
    ),
    "form cut off": _body(lambda body, chance: body[: chance.randrange(len(body))]),
    "form without an end": _body(lambda body, _c: body.replace(f"{BOUND}--".encode(), b"")),
    "form of other boundary": _body(lambda body, _c: body, bound="other"),
    "form of 50,000 fields": _body(lambda body, _c: _many_fields(50_000) + body),
    "form with two photos": _body(lambda body, _c: body.replace(b"capture_id", b"photo", 1)),
    "form with bits turned": _body(
        lambda body, chance: (
            bytes(each ^ (1 if chance.random() < 0.01 else 0) for each in body[:400]) + body[400:]
        )
    ),
    "form with a huge head": _body(
        lambda body, _c: body.replace(b"content-type", b"x: " + b"y" * 300_000 + b"\r\nz", 1)
    ),
    "empty boundary": _lines("content-type: multipart/form-data; boundary="),
    "no boundary": _lines("content-type: multipart/form-data"),
    "boundary of 100,000 letters": _lines(_kind("b" * 100_000)),
    "JSON that is none": _lines("content-type: application/json"),
    "said to be gzip": _lines(_kind(), "content-encoding: gzip"),
    "waits for 100": _lines(_kind(), "expect: 100-continue"),
    "10,000 header lines": _lines(_kind(), *(f"x-{n}: {n}" for n in range(10_000))),
    "empty": _body(lambda _b, _c: b""),
}

NAMES = (
    "../../../../etc/passwd",
    "/etc/passwd",
    "..\\..\\boot.ini",
    "C:\\boot.ini",
    "a\x00.jpg",
    "%2e%2e%2fstolen.jpg",
    "con.jpg",
    "a" * 5_000,
    "\udcff\udcfe.jpg",
    "<script>.jpg",
)
IDS = ("", "../../x", "0" * 36, "{7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11}", "x" * 10_000, "\x00")


def _many_fields(count: int) -> bytes:
    one = f'--{BOUND}\r\ncontent-disposition: form-data; name="a"\r\n\r\nb\r\n'.encode()
    return one * count


def exchange(address: tuple[str, int], data: bytes, *, patience_s: float) -> int:
    """Send bytes, end, and return the last status that came; 0: the connection was closed."""
    with socket.create_connection(address, timeout=patience_s) as client:
        answer = b""
        try:
            client.sendall(data)
            client.shutdown(socket.SHUT_WR)
        except OSError:
            pass  # the server has had enough; it may have said why
        try:
            while piece := client.recv(65_536):
                answer += piece
        except ConnectionError:
            pass
    heads = re.findall(rb"^HTTP/1\.1 (\d{3})", answer, flags=re.MULTILINE)
    last = int(heads[-1]) if heads else 0
    return last if last >= 200 else 0  # 100 only invites the body
