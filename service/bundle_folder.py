"""The folder of the bundles that were promoted: each whole and as its name says, or not there."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from uuid import uuid4

from classifier.domain.errors import BundleError
from classifier.inference.manifest import MANIFEST_NAME, Manifest, read_manifest
from service.synced import sync_folder

UNFINISHED = ".unfinished-"
FOLDER_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,300}")


def parts_of(manifest: Manifest) -> tuple[str, str, str]:
    """Return the names of a bundle's files: nothing else of its folder is ever copied."""
    return MANIFEST_NAME, manifest.network.file, manifest.card


def folder_name(source: Path, manifest: Manifest) -> str:
    """Return `<name>-<version>-<digest>`: the manifest holds the network's own digest."""
    content = (source / MANIFEST_NAME).read_bytes() + (source / manifest.card).read_bytes()
    title = re.sub(r"[^A-Za-z0-9._-]+", "_", f"{manifest.name}-{manifest.version}")[:100]
    return f"{title.lstrip('._-') or 'bundle'}-{hashlib.sha256(content).hexdigest()[:12]}"


class BundleFolder:
    """Installed bundles as plain files, for backups; none of them is run here."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @property
    def place(self) -> str:
        """Where the bundles are."""
        return str(self._folder)

    def read(self, name: str) -> Mapping[str, bytes]:
        """Return the files of a bundle by name.

        Raises BundleError when it is missing, or not what its name and its manifest say.
        """
        return _whole(self._place(name), name)

    def put(self, name: str, content: Mapping[str, bytes]) -> None:
        """Write a bundle so that it survives a power cut; one that is there and whole is left.

        Raises BundleError when the files are not what the name says, or the disk refuses.
        """
        final = self._place(name)
        try:
            if _whole(final, name) == content:
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

    def _write(self, final: Path, content: Mapping[str, bytes]) -> None:
        unfinished = self._folder / f"{UNFINISHED}{uuid4()}"
        try:
            self._write_to(unfinished, final, content)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)

    def _write_to(self, unfinished: Path, final: Path, content: Mapping[str, bytes]) -> None:
        unfinished.mkdir(parents=True)
        for file, data in content.items():
            with (unfinished / file).open("xb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
        if set(_whole(unfinished, final.name)) != set(content):
            raise BundleError(f"bundle {final.name} came with files that do not belong to it")
        sync_folder(unfinished)
        if final.exists():
            os.rename(final, self._folder / f"{UNFINISHED}{uuid4()}")
        os.rename(unfinished, final)
        sync_folder(self._folder)

    def _place(self, name: str) -> Path:
        if not FOLDER_NAME.fullmatch(name):
            raise BundleError(f"{name[:80]!r} is no name of an installed bundle", given=name[:400])
        return self._folder / name


def _whole(folder: Path, name: str) -> dict[str, bytes]:
    manifest = read_manifest(folder)
    try:
        content = {file: (folder / file).read_bytes() for file in parts_of(manifest)}
        found = folder_name(folder, manifest)
    except OSError as error:
        raise BundleError(f"{folder}: can't be read ({error.strerror or error})") from error
    network = hashlib.sha256(content[manifest.network.file]).hexdigest()
    if found != name or network != manifest.network.sha256:
        raise BundleError(f"{folder}: damaged or replaced, it is not what its name says")
    return content
