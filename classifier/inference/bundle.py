"""A model bundle: a directory with bundle.json, its ONNX network and its card.

Bundles that ship are package data of `tallytare_models`, one directory each.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from pathlib import Path

from classifier.errors import BundleError
from classifier.inference.bounds import (
    MOST_CARD_BYTES,
    MOST_NETWORK_BYTES,
    check_size,
    fault_of_text,
)
from classifier.inference.manifest import (
    MANIFEST_NAME,
    Manifest,
    Source,
    file_sha256,
    read_manifest,
)
from classifier.inference.preprocess import Preprocessing
from classifier.inference.session import Session, open_session
from classifier.rules.suggestion_parts import Thresholds

SHIPPED_PACKAGE = "tallytare_models"
DEFAULT_BUNDLE = "household"
FAST_BUNDLE = "household_small"  # smaller, looks once: several times faster, less often right


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """A loaded, checked bundle, ready to run. `embedding_size` is D of the (n, D) embedding."""

    path: Path
    manifest: Manifest
    session: Session
    embedding_size: int

    @property
    def name(self) -> str:
        """The bundle's name."""
        return self.manifest.name

    @property
    def version(self) -> str:
        """The bundle's version, recorded with every capture."""
        return self.manifest.version

    @property
    def created(self) -> date:
        """The day the bundle was exported."""
        return self.manifest.created

    @property
    def labels(self) -> tuple[str, ...]:
        """Form ids in the order of the network's outputs."""
        return tuple(form.id for form in self.manifest.forms)

    @property
    def form_categories(self) -> Mapping[str, Mapping[str, float]]:
        """Form id → category id → share; the shares of a form sum to 1, or are empty."""
        return {form.id: form.categories for form in self.manifest.forms}

    @property
    def preprocessing(self) -> Preprocessing:
        """How pictures become the network's input."""
        return self.manifest.preprocessing

    @property
    def temperature(self) -> float:
        """What logits are divided by before the softmax."""
        return self.manifest.temperature

    @property
    def thresholds(self) -> Thresholds:
        """When to show a route, stop, say "not sure" or "not an item"."""
        return self.manifest.thresholds

    @property
    def sources(self) -> tuple[Source, ...]:
        """The sets of pictures it was trained on."""
        return self.manifest.sources

    def card(self) -> str:
        """Return the model card, as Markdown."""
        return (self.path / self.manifest.card).read_text(encoding="utf-8")


def load_bundle(path: Path) -> Bundle:
    """Load and check the bundle in the directory `path`: manifest, card, hash, network, widths.

    Raises `BundleError`, naming the file, what is wrong and what to do.
    """
    manifest = read_manifest(path)
    network = path / manifest.network.file
    try:
        _check_file(path / manifest.card, MOST_CARD_BYTES)
        _check_file(network, MOST_NETWORK_BYTES)
        _check_card(path / manifest.card)
        given = file_sha256(network)
    except OSError as error:
        raise BundleError(
            f"{network}: can't be read ({error.strerror or error}); give the right to read the "
            "bundle's files, or restore them",
            path=str(network),
        ) from error
    if given != manifest.network.sha256:
        raise BundleError(
            f"{network}: damaged or replaced: its SHA-256 is {given[:12]}..., {MANIFEST_NAME} says "
            f"{manifest.network.sha256[:12]}...; restore the file, or export the bundle again",
            path=str(network),
        )
    session, embedding_size = open_session(network, manifest)
    return Bundle(path, manifest, session, embedding_size)


def check_bundle_categories(bundle: Bundle, category_ids: Collection[str]) -> None:
    """Raise `BundleError` if a form of the bundle leads to a category that isn't known."""
    for form in bundle.manifest.forms:
        for category in form.categories:
            if category not in category_ids:
                raise BundleError(
                    f"{bundle.path / MANIFEST_NAME}: form {form.id} leads to category {category}, "
                    "which the category list hasn't; allowed: the ids of the category list; "
                    "correct the form's categories, or install matching versions",
                    form=form.id,
                    category=category,
                )


def list_bundles() -> dict[str, Path]:
    """Return name → directory of the bundles that ship with the installation."""
    try:
        entries = list(files(SHIPPED_PACKAGE).iterdir())
    except ModuleNotFoundError:
        return {}
    folders = [Path(str(entry)) for entry in entries if entry.joinpath(MANIFEST_NAME).is_file()]
    return {folder.name: folder for folder in sorted(folders)}


def find_bundle(name_or_path: str | Path | None = None) -> Path:
    """Return the directory of a bundle: a shipped name, a directory, or nothing for the default.

    The default is the shipped bundle `DEFAULT_BUNDLE`; without it, the newest that ships.

    Raises `BundleError` if there is none.
    """
    shipped = list_bundles()
    if not name_or_path:
        if DEFAULT_BUNDLE in shipped:
            return shipped[DEFAULT_BUNDLE]
        if not shipped:
            raise BundleError(
                "no model bundle is installed; allowed: a shipped bundle or the directory of one; "
                "install the package again, or name a directory with --bundle"
            )
        return max(shipped.values(), key=lambda path: (read_manifest(path).created, path.name))
    if str(name_or_path) in shipped:
        return shipped[str(name_or_path)]
    path = Path(name_or_path)
    if path.is_dir():
        return path
    known = ", ".join(shipped) or "none is installed"
    raise BundleError(
        f"bundle {str(name_or_path)!r} is neither a shipped bundle nor a directory; shipped: "
        f"{known}; name one of these, or a directory with {MANIFEST_NAME}",
        given=str(name_or_path),
    )


def _check_card(path: Path) -> None:
    try:
        fault = fault_of_text(path.read_text(encoding="utf-8"), MOST_CARD_BYTES)
    except UnicodeDecodeError:
        fault = "it is not UTF-8"
    if fault:
        raise BundleError(f"{path}: can't be shown ({fault}); write the card again", path=str(path))


def _check_file(path: Path, most: int) -> None:
    if not path.is_file():
        raise BundleError(
            f"{path}: missing, though {MANIFEST_NAME} names it; restore the file, or export the "
            "bundle again",
            path=str(path),
        )
    check_size(path, most)
