"""Names that stand for people and sorts outside the store."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from contextlib import suppress
from pathlib import Path

from classifier.errors import StorageError
from service.synced import draft_of, make_folder_synced, sync_folder, write_synced


class Pseudonyms:
    """The same name always gets the same pseudonym; without the key none leads back to a name."""

    def __init__(self, key: bytes) -> None:
        self._key = key

    def of(self, kind: str, name: str) -> str:
        """Return the pseudonym of a name, empty for an empty one."""
        if not name:
            return ""
        digest = hmac.new(self._key, f"{kind}\0{name}".encode(), hashlib.sha256).digest()
        return f"{kind}-{base64.b32encode(digest)[:8].decode().lower()}"


def load_pseudonyms(data_dir: Path) -> Pseudonyms:
    """Read the key in the data folder, made on the first call.

    Deleting the file makes new exports unlinkable with old ones. Raises StorageError when the key
    can be neither read nor made.
    """
    path = data_dir / "examples" / "pseudonym.key"
    try:
        with suppress(FileNotFoundError):
            if key := path.read_bytes():  # a power cut may have left it empty: that is no secret
                return Pseudonyms(key)
        _make_key(path)
        return Pseudonyms(path.read_bytes())
    except OSError as error:
        raise StorageError(
            f"the key of the pseudonyms, {path}, can't be used ({error.strerror or error}): give "
            "the right to write to the data folder, then export again",
            file=str(path),
        ) from error


def _make_key(path: Path) -> None:
    make_folder_synced(path.parent)
    with draft_of(path) as draft:
        write_synced(draft, secrets.token_bytes(32))
    sync_folder(path.parent)
