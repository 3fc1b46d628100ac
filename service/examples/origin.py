"""Where an imported photo comes from, as one text: its place, then the digests of its files.

The last digest is that of the very file. Those before it tell which files of other stores that one
was made from, as far as a manifest said so: the pixels are saved again in each store.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

LONGEST = 400
MOST_EARLIER = 3
_MARK = " sha256:"
_DIGEST = "[0-9a-f]{64}"
_ORIGIN = re.compile(f"(.*?)((?:{_MARK}{_DIGEST})+)", re.DOTALL)


def origin_of(where: str, digest: str, made_from: Sequence[str] = ()) -> str:
    """Return the text for a file with a SHA-256 digest; at most 400 characters."""
    tail = "".join(_MARK + each for each in (*made_from[-MOST_EARLIER:], digest))
    return where[: LONGEST - len(tail)] + tail


def read_origin(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the place and the digests that a text tells, the file's own last."""
    found = _ORIGIN.fullmatch(text)
    return (text, ()) if found is None else (found[1], digests_in(found[2]))


def digests_in(text: str) -> tuple[str, ...]:
    """Return the SHA-256 digests in a text, as hexadecimal digits."""
    return tuple(re.findall(rf"\b{_DIGEST}\b", text))
