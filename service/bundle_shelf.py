"""Bundles that can be promoted: those that ship, and copies in the data folder.

A copy is whole or not there: it is written under another name, checked by loading it, and renamed.
"""

from __future__ import annotations

import logging
import os
import shutil
import time
from collections.abc import Collection
from pathlib import Path
from uuid import uuid4

from classifier.domain.errors import BundleError, UnknownIdError
from classifier.inference.bundle import (
    Bundle,
    check_bundle_categories,
    find_bundle,
    list_bundles,
    load_bundle,
)
from classifier.inference.manifest import MANIFEST_NAME, Manifest, read_manifest
from classifier.inference.predict import Predictor
from service.bundle_folder import FOLDER_NAME, UNFINISHED, folder_name, parts_of
from service.store.rows import ModelRecord
from service.synced import copy_synced, sync_folder
from service.usecases.model_desk import LoadedModel, ShelfBundle

logger = logging.getLogger("tallytare")

_STALE_S = 3600.0


class BundleShelf:
    """The bundles of one data folder.

    `start` is the bundle that the settings name; a model that is `given` stands in for it.
    """

    def __init__(
        self,
        folder: Path,
        *,
        start: str,
        category_ids: Collection[str],
        given: LoadedModel | None = None,
    ) -> None:
        self._folder = folder
        self._start = start
        self._given = given
        self._category_ids = category_ids

    def load(self, name: str, /) -> LoadedModel:
        """Load an installed bundle, or for "" the settings' one.

        Raises BundleError; not for the settings' one, without which photos are labelled by hand.
        """
        if name:
            return _loaded(self._checked(self._place(name)))
        if self._given is not None:
            return self._given
        try:
            return _loaded(self._checked(find_bundle(self._start or None)))
        except BundleError as error:
            logger.warning("no suggestions: %s", error.message)
            return LoadedModel(None, None, f"No suggestions: {error.message}")

    def install(self, wanted: str, /, *, paths: bool) -> str:
        """Copy a bundle among those installed and return its folder's name.

        Raises BundleError for one that is damaged or doesn't fit the categories, UnknownIdError
        for a name that nothing bears.
        """
        source = self._source(wanted, paths=paths)
        self._checked(source)
        manifest = read_manifest(source)
        name = folder_name(source, manifest)
        final = self._folder / name
        if source == final:
            return name
        try:
            self._copy(source, manifest, final)
        except OSError as error:
            raise BundleError(
                f"{final}: the bundle can't be copied there ({error.strerror or error}); free some "
                "space or give the right to write, then promote it again; nothing was changed",
                path=str(final),
            ) from error
        return name

    def bundles(self) -> tuple[ShelfBundle, ...]:
        """Return what is installed, then what ships; a damaged one with its problem."""
        own = sorted(self._folder.glob(f"*/{MANIFEST_NAME}")) if self._folder.is_dir() else []
        found = [
            _shelf_bundle(path.parent.name, path.parent, shipped=False)
            for path in own
            if not path.parent.name.startswith(UNFINISHED)
        ]
        found += [_shelf_bundle(name, path, shipped=True) for name, path in list_bundles().items()]
        return tuple(found)

    def _source(self, wanted: str, *, paths: bool) -> Path:
        if FOLDER_NAME.fullmatch(wanted) and (self._folder / wanted / MANIFEST_NAME).is_file():
            return self._folder / wanted
        if paths or wanted in list_bundles():
            return find_bundle(wanted)
        known = ", ".join(each.name for each in self.bundles()) or "none"
        raise UnknownIdError(
            f"there is no bundle {wanted[:80]!r}; allowed: {known}; name one of these, or use "
            "tallytare bundles promote FOLDER on the machine itself",
            bundle=wanted[:400],
        )

    def _place(self, name: str) -> Path:
        if not FOLDER_NAME.fullmatch(name):
            raise BundleError(f"{name[:80]!r} is no name of an installed bundle", given=name[:400])
        return self._folder / name

    def _checked(self, path: Path) -> Bundle:
        bundle = load_bundle(path)
        check_bundle_categories(bundle, self._category_ids)
        return bundle

    def _copy(self, source: Path, manifest: Manifest, final: Path) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        self._sweep()
        if final.is_dir():
            try:
                self._checked(final)
                return
            except BundleError:  # damaged since: put a whole one in its place
                os.rename(final, self._folder / f"{UNFINISHED}{uuid4()}")
        unfinished = self._folder / f"{UNFINISHED}{uuid4()}"
        unfinished.mkdir()
        for part in parts_of(manifest):
            copy_synced(source / part, unfinished / part)
        self._checked(unfinished)
        sync_folder(unfinished)
        try:
            os.rename(unfinished, final)
        except OSError:
            if not final.is_dir():  # else another process has just put the same one there
                raise
        sync_folder(self._folder)

    def _sweep(self) -> None:
        """Remove what broken-off promotions left; one that is still running is younger."""
        for path in self._folder.glob(f"{UNFINISHED}*"):
            if time.time() - path.stat().st_mtime > _STALE_S:
                shutil.rmtree(path, ignore_errors=True)


def _loaded(bundle: Bundle) -> LoadedModel:
    record = ModelRecord(
        name=bundle.name,
        version=bundle.version,
        form_categories=bundle.form_categories,
        thresholds=bundle.thresholds,
    )
    return LoadedModel(Predictor(bundle), record, "")


def _shelf_bundle(name: str, path: Path, *, shipped: bool) -> ShelfBundle:
    try:
        manifest = read_manifest(path)
    except BundleError as error:
        return ShelfBundle(name, name, shipped, error.message)
    return ShelfBundle(name, f"{manifest.name} {manifest.version}", shipped)
