"""Bundles that can be promoted: those that ship, and copies in the data folder.

A bundle is copied, then the copy is loaded and run once, before it is recorded as promoted.
"""

from __future__ import annotations

import logging
from collections.abc import Collection
from pathlib import Path

from classifier.errors import BundleError, UnknownIdError
from classifier.inference.bundle import (
    Bundle,
    check_bundle_categories,
    find_bundle,
    list_bundles,
    load_bundle,
)
from classifier.inference.manifest import MANIFEST_NAME, read_manifest
from classifier.inference.predict import Predictor
from service.bundles.folder import FOLDER_NAME, BundleFolder, packed
from service.model_cache import LoadedModel, RegisteredBundle
from service.store.rows import ModelRecord
from service.synced import UNFINISHED

logger = logging.getLogger("tallytare")


class BundleRegistry:
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
        self._installed = BundleFolder(folder)
        self._start = start
        self._given = given
        self._category_ids = category_ids

    def load(self, name: str, /) -> LoadedModel:
        """Load an installed bundle, or for "" the settings' one.

        Raises BundleError; not for the settings' one, without which photos are labelled by hand.
        """
        if name:
            return _loaded(self._checked(self._installed.path(name)))
        if self._given is not None:
            return self._given
        try:
            return _loaded(self._checked(find_bundle(self._start or None)))
        except BundleError as error:
            logger.warning("no suggestions: %s", error.message)
            return LoadedModel(None, None, f"No suggestions: {error.message}")

    def install(self, wanted: str, /, *, paths: bool) -> str:
        """Copy a bundle among those installed and return its folder's name.

        Raises BundleError for one that is damaged, doesn't fit the categories or can't be written,
        UnknownIdError for a name that nothing has.
        """
        source = self._source(wanted, paths=paths)
        name, content = packed(source)
        new = not self._installed.path(name).exists()
        self._installed.put(name, content)
        try:
            # The copy, alone in its folder, is what will answer: loading runs it, too.
            self._checked(self._installed.path(name))
        except BundleError:
            if new:
                self._installed.remove(name)
            raise
        return name

    def bundles(self) -> tuple[RegisteredBundle, ...]:
        """Return what is installed, then what ships; a damaged one with its problem."""
        own = sorted(self._folder.glob(f"*/{MANIFEST_NAME}")) if self._folder.is_dir() else []
        found = [
            _registered(path.parent.name, path.parent, shipped=False)
            for path in own
            if not path.parent.name.startswith(UNFINISHED)
        ]
        found += [_registered(name, path, shipped=True) for name, path in list_bundles().items()]
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

    def _checked(self, path: Path) -> Bundle:
        bundle = load_bundle(path)
        check_bundle_categories(bundle, self._category_ids)
        return bundle


def _loaded(bundle: Bundle) -> LoadedModel:
    record = ModelRecord(
        name=bundle.name,
        version=bundle.version,
        form_categories=bundle.form_categories,
        thresholds=bundle.thresholds,
    )
    return LoadedModel(Predictor(bundle), record, "")


def _registered(name: str, path: Path, *, shipped: bool) -> RegisteredBundle:
    try:
        manifest = read_manifest(path)
    except BundleError as error:
        return RegisteredBundle(name, name, shipped, error.message)
    return RegisteredBundle(name, f"{manifest.name} {manifest.version}", shipped)
