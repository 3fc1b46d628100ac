"""The folder of the bundles that were promoted: each whole and as its name says, or not there."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from classifier.errors import BundleError
from classifier.inference.bounds import MOST_CARD_BYTES, MOST_NETWORK_BYTES, check_size
from classifier.inference.manifest import MANIFEST_NAME, read_manifest
from service.synced import UNFINISHED, sync_folder, write_synced

FOLDER_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,300}")
_STALE_S = 3600.0


def packed(source: Path) -> tuple[str, dict[str, bytes]]:
    """Return the folder that a bundle is installed under, and its files by name.

    The folder is called `<name>-<version>-<digest>`: the manifest holds the network's own digest.
    Nothing but the files that the manifest names is ever copied.

    Raises BundleError when they can't be read, or the network is not the manifest's.
    """
    manifest = read_manifest(source)
    parts = (MANIFEST_NAME, manifest.network.file, manifest.card)
    try:
        check_size(source / manifest.network.file, MOST_NETWORK_BYTES)
        check_size(source / manifest.card, MOST_CARD_BYTES)
        content = {file: (source / file).read_bytes() for file in parts}
    except OSError as error:
        raise BundleError(f"{source}: can't be read ({error.strerror or error})") from error
    if hashlib.sha256(content[manifest.network.file]).hexdigest() != manifest.network.sha256:
        raise BundleError(f"{source}: damaged or replaced, it is not what its manifest says")
    digest = hashlib.sha256(content[MANIFEST_NAME] + content[manifest.card]).hexdigest()
    title = re.sub(r"[^A-Za-z0-9._-]+", "_", f"{manifest.name}-{manifest.version}")[:100]
    return f"{title.lstrip('._-') or 'bundle'}-{digest[:12]}", content


class BundleFolder:
    """Installed bundles as plain files; none of them is run here."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @property
    def place(self) -> str:
        """Where the bundles are."""
        return str(self._folder)

    def path(self, name: str) -> Path:
        """Return the folder of a bundle, there or not. Raises BundleError for no such name."""
        if not FOLDER_NAME.fullmatch(name):
            raise BundleError(f"{name[:80]!r} is no name of an installed bundle", given=name[:400])
        return self._folder / name

    def read(self, name: str) -> Mapping[str, bytes]:
        """Return the files of a bundle by name.

        Raises BundleError when it is missing, or not what its name and its manifest say.
        """
        return _whole(self.path(name), name)

    def put(self, name: str, content: Mapping[str, bytes]) -> None:
        """Write a bundle so that it survives a power cut; one that is there and whole is left.

        Raises BundleError when the files are not what the name says, or the disk refuses.
        """
        final = self.path(name)
        try:
            _whole(final, name)
            return
        except BundleError:  # missing, or damaged since
            pass
        for file in content:
            if Path(file).name != file or "\\" in file or ":" in file:
                raise BundleError(f"{file[:80]!r} in bundle {name} is no name of a file")
        try:
            self._write(final, content)
        except OSError as error:
            raise BundleError(
                f"{final}: the bundle can't be written ({error.strerror or error}); free some "
                "space or give the right to write, then try again",
                path=str(final),
            ) from error

    def remove(self, name: str) -> None:
        """Delete a bundle that was never promoted."""
        shutil.rmtree(self.path(name), ignore_errors=True)

    def _write(self, final: Path, content: Mapping[str, bytes]) -> None:
        self._sweep()
        with suppress(FileNotFoundError):
            os.rename(final, self._folder / f"{UNFINISHED}{uuid4()}")  # damaged: make room
        unfinished = self._folder / f"{UNFINISHED}{uuid4()}"
        try:
            self._write_to(unfinished, final, content)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)

    def _write_to(self, unfinished: Path, final: Path, content: Mapping[str, bytes]) -> None:
        unfinished.mkdir(parents=True, mode=0o700)
        for file, data in content.items():
            write_synced(unfinished / file, data)
        if set(_whole(unfinished, final.name)) != set(content):
            raise BundleError(f"bundle {final.name} came with files that do not belong to it")
        sync_folder(unfinished)
        try:
            os.rename(unfinished, final)
        except OSError:
            if not final.is_dir():  # else another process has just put the same one there
                raise
        sync_folder(self._folder)

    def _sweep(self) -> None:
        """Remove what was broken off or damaged; what is still being written is younger."""
        for path in self._folder.glob(f"{UNFINISHED}*"):
            with suppress(OSError):  # another process sweeps too
                if time.time() - path.stat().st_mtime > _STALE_S:
                    shutil.rmtree(path, ignore_errors=True)


def _whole(folder: Path, name: str) -> dict[str, bytes]:
    found, content = packed(folder)
    if found != name:
        raise BundleError(f"{folder}: damaged or replaced, it is not what its name says")
    return content
